package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/trial"
	"parstead/light"
	"parstead/light/watch"
)

// desk takes in what is entered at the page: first it goes into the trial's log,
// then into the sheet. What the log has and a sheet could not take yet is tried
// again until it has it; that the sheets have it is then logged too.
type desk struct {
	d       *Daemon
	drafted func() // tests save a sheet before the draft is written

	shown atomic.Pointer[entriesShown] // kept apart: nobody who looks waits for a sheet

	mu      sync.Mutex             // held while sheets are read and written
	stored  map[string]storedEntry // by the entry's own id
	waiting []waitingEntry         // in the log, not yet in the sheets
	unfiled []waitingEntry         // in the sheets, which is not logged yet
	recent  []waitingEntry         // of a day, that wait no more
	undone  []waitingEntry         // of these, that they have not
	why     string                 // the sheets can't be written
	since   time.Time              // of the first that waits, by the daemon's clock
	tried   time.Time              // by the machine's clock, as the next
	last    time.Time              // that an entry came
}

// storedEntry is an entry of the log as its phone knows it.
type storedEntry struct {
	answer  page.Answer
	content string // what was entered, for comparison; "" where the log does not say
}

// waitingEntry is an entry of the log with what it changes in the sheets.
type waitingEntry struct {
	id      uint64
	entered time.Time
	changes []trial.Change
}

// entriesShown is what the page tells of entries.
type entriesShown struct {
	undone  []waitingEntry
	waiting int
	why     string
	since   time.Time
}

// release ends what was done under mu, and lets the page tell of it.
func (k *desk) release() {
	k.shown.Store(&entriesShown{slices.Clone(k.undone), len(k.waiting), k.why, k.since})
	k.mu.Unlock()
}

// enteredData is what the log keeps of an entry beside its text.
type enteredData struct {
	ID      string         `json:"id"`
	Content string         `json:"content,omitempty"`
	Who     string         `json:"who,omitempty"`
	Changes []trial.Change `json:"changes,omitempty"`
}

// filedData names the entries of the log that the sheets have.
type filedData struct {
	Entries []uint64 `json:"entries"`
}

// newDesk begins with what the log holds.
func newDesk(d *Daemon, log []light.Event) (*desk, error) {
	k := &desk{d: d, stored: map[string]storedEntry{}}
	k.shown.Store(&entriesShown{})
	waiting := map[uint64]waitingEntry{}
	for _, e := range log {
		switch {
		case e.Kind == light.Filed:
			var f filedData
			if err := json.Unmarshal(e.Data, &f); err != nil {
				return nil, fmt.Errorf("log entry %d: %w", e.ID, err)
			}
			for _, id := range f.Entries {
				if w, ok := waiting[id]; ok && d.options.Clock.Now().Sub(w.entered) < undoneShown {
					k.recent = append(k.recent, w)
				}
				delete(waiting, id)
			}
		case e.Withdraws != 0:
			delete(waiting, e.Withdraws)
		case slices.Contains(light.Kinds(), e.Kind), e.Kind == light.Entered:
			var data enteredData
			if len(e.Data) == 0 {
				continue // not from the page
			}
			if err := json.Unmarshal(e.Data, &data); err != nil {
				return nil, fmt.Errorf("log entry %d: %w", e.ID, err)
			}
			k.stored[data.ID] = storedEntry{page.Answer{ID: data.ID, State: page.Stored, Says: e.Text}, data.Content}
			if len(data.Changes) > 0 {
				waiting[e.ID] = waitingEntry{e.ID, e.Written, data.Changes}
			}
		}
	}
	for _, id := range slices.Sorted(maps.Keys(waiting)) {
		k.waiting = append(k.waiting, waiting[id])
	}
	return k, nil
}

// Stored is the answer to an entry that was stored.
func (k *desk) Stored(id string) (page.Answer, bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	e, ok := k.stored[id]
	return e.answer, ok
}

// Take stores entries. It answers each.
func (k *desk) Take(ctx context.Context, who string, entries []page.Entry) []page.Answer {
	k.mu.Lock()
	defer k.release()
	k.last = time.Now()
	answers := make([]page.Answer, len(entries))
	draft, err := k.draft(ctx)
	of := map[uint64]int{} // answers by the entries of the log that they are to
	for i, e := range entries {
		a := &answers[i]
		*a = page.Answer{ID: e.ID, State: page.Later}
		if before, ok := k.stored[e.ID]; ok {
			*a = before.answer
			if before.content != "" && before.content != e.Content() {
				// Gone back to in the browser, and sent once more with another value.
				*a = page.Answer{ID: e.ID, State: page.Wrong, Says: "something else was stored from this screen before (" + before.answer.Says + "). Look whether this is right, and store it once more."}
			}
			continue
		}
		if err != nil && e.What != page.Note {
			a.Says = sentence(err)
			continue
		}
		event, changes, remarks, wrong := k.event(draft, who, e)
		if wrong != nil {
			a.State, a.Says = page.Wrong, sentence(wrong)
			continue
		}
		id, failed := k.d.db.AddEvent(ctx, event)
		if failed != nil {
			// The draft has what the log has not: no more of it may be used.
			err = fmt.Errorf("the log can't be written: %w", failed)
			a.Says = sentence(err)
			continue
		}
		a.State, a.Says, a.Remarks = page.Stored, event.Text, remarks
		k.stored[e.ID] = storedEntry{*a, e.Content()}
		if len(changes) > 0 {
			k.d.live.passed(id)
			k.waiting = append(k.waiting, waitingEntry{id, event.Written, changes})
			of[id] = i
		}
	}
	if len(of) > 0 {
		k.file(ctx)
	}
	for _, w := range k.waiting {
		if i, ok := of[w.id]; ok {
			answers[i].Remarks = append(slices.Clone(answers[i].Remarks), "It is in the log and goes into the sheet as soon as it can: "+k.why)
		}
	}
	return answers
}

// sentence is an error as it is shown to a grower: a problem without its place.
func sentence(err error) string {
	if p, ok := errors.AsType[trial.Problem](err); ok && !errors.Is(err, trial.ErrUnusable) {
		return p.Says + "; " + p.Mend + "."
	}
	return err.Error() + "."
}

// draft is the folder with all that waits. What can't be put into the sheets any
// more is logged as such, and waits no longer.
func (k *desk) draft(ctx context.Context) (*trial.Draft, error) {
	draft, err := trial.NewDraft(k.d.trial.Load().Dir)
	if err != nil {
		return nil, err
	}
	if done, err := draft.Again(merged(k.waiting)...); err == nil && done {
		return draft, nil
	}
	var left []waitingEntry
	for _, group := range byLine(k.waiting) {
		done, err := draft.Again(merged(group)...)
		if done {
			left = append(left, group...)
			continue
		}
		says := "somebody has written something else there since"
		if err != nil {
			says = sentence(err)
		}
		for _, w := range group {
			if err := k.log(ctx, fmt.Sprintf("entry %d is not put into the sheet: %s", w.id, says), w); err != nil {
				return nil, err
			}
		}
		k.recent, k.undone = append(k.recent, group...), append(k.undone, group...)
	}
	k.waiting = left
	return draft, nil
}

func merged(waiting []waitingEntry) []trial.Change {
	var all []trial.Change
	for _, w := range waiting {
		all = append(all, w.changes...)
	}
	return trial.Merge(all)
}

// byLine groups the entries that are for one plant's line of harvest; others
// stand alone.
func byLine(waiting []waitingEntry) [][]waitingEntry {
	var groups [][]waitingEntry
	of := map[string]int{}
	for _, w := range waiting {
		c := w.changes[0]
		if i, known := of[c.Plant()]; known && c.Sheet == trial.HarvestSheet {
			groups[i] = append(groups[i], w)
			continue
		}
		if c.Sheet == trial.HarvestSheet {
			of[c.Plant()] = len(groups)
		}
		groups = append(groups, []waitingEntry{w})
	}
	return groups
}

// writes is how often a sheet is drafted anew because somebody saves it just then.
const writes = 5

// file writes what waits into the sheets and takes them into use.
func (k *desk) file(ctx context.Context) {
	k.tried = time.Now()
	before := len(k.unfiled)
	var err error
	for range writes {
		var draft *trial.Draft
		if draft, err = k.draft(ctx); err != nil {
			break
		}
		if k.drafted != nil {
			k.drafted()
		}
		err = draft.Write()
		k.written(err)
		if !errors.Is(err, trial.ErrChanged) {
			break
		}
	}
	if len(k.unfiled) > before {
		k.d.adoptOwn()
	}
	if err == nil {
		k.why = ""
		return
	}
	if k.why == "" {
		k.since = k.d.options.Clock.Now()
		k.d.options.Log.Warn("entries not in the sheets yet", "entries", len(k.waiting), "error", err)
	}
	k.why = sentence(err)
}

// written takes those out of the waiting whose sheets a draft could write.
func (k *desk) written(err error) {
	failed, partly := errors.AsType[trial.Unwritten](err)
	var left []waitingEntry
	for _, w := range k.waiting {
		if _, fails := failed[w.changes[0].Sheet]; fails || err != nil && !partly {
			left = append(left, w)
			continue
		}
		k.unfiled, k.recent = append(k.unfiled, w), append(k.recent, w)
	}
	k.waiting = left
}

// fileQuiet is how long no entry has come before it is logged that the sheets
// have them: one line for a round through the bins, not one a plant.
const fileQuiet = time.Minute

// keep does what is due: it tries again to write what waits, and logs what is
// written. While entries are taken in, that is left for the next time.
func (k *desk) keep(ctx context.Context, again time.Duration) {
	if !k.mu.TryLock() {
		return
	}
	defer k.release()
	if len(k.waiting) > 0 && time.Since(k.tried) > again {
		k.file(ctx)
	}
	if len(k.unfiled) > 0 && time.Since(k.last) > fileQuiet {
		k.settle(ctx)
	}
}

// end logs what is written, before the store closes.
func (k *desk) end() error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if len(k.unfiled) > 0 {
		k.settle(context.Background())
	}
	return nil
}

func (k *desk) settle(ctx context.Context) {
	n := len(k.unfiled)
	text := fmt.Sprintf("%d entries are in the sheets", n)
	if n == 1 {
		text = "1 entry is in the sheets"
	}
	if err := k.log(ctx, text, k.unfiled...); err != nil {
		k.d.options.Log.Warn("not logged what is in the sheets", "error", err)
		return
	}
	k.unfiled = nil
	k.forget()
}

// forget drops what is no longer looked for in the sheets.
func (k *desk) forget() {
	now := k.d.options.Clock.Now()
	k.recent = slices.DeleteFunc(k.recent, func(w waitingEntry) bool { return now.Sub(w.entered) >= undoneShown })
}

// log notes that nothing more is to be done for entries.
func (k *desk) log(ctx context.Context, text string, done ...waitingEntry) error {
	var f filedData
	for _, w := range done {
		f.Entries = append(f.Entries, w.id)
	}
	data, err := json.Marshal(f)
	if err != nil {
		return err
	}
	id, err := k.d.db.AddEvent(ctx, light.Event{Kind: light.Filed, Text: text, Data: data})
	if err == nil {
		k.d.live.passed(id)
	}
	return err
}

// undoneShown is how long it is looked whether the sheets still have an entry.
const undoneShown = 24 * time.Hour

// look finds out, when somebody else has changed the sheets, which entries of
// the last day they have no more: an older copy may have been saved over them.
func (k *desk) look() {
	k.mu.Lock()
	defer k.release()
	k.forget()
	k.undone = nil
	draft, err := trial.NewDraft(k.d.trial.Load().Dir)
	if err != nil {
		return // the condition of the files tells
	}
	for _, group := range byLine(k.recent) {
		if undone, err := draft.Undone(merged(group)...); err != nil {
			k.d.options.Log.Warn("not known whether the sheets still have what was entered", "error", err)
		} else if undone {
			k.undone = append(k.undone, group...)
		}
	}
}

// notices are what the page says of entries beside the conditions.
func (k *desk) notices() []string {
	var ids []string
	for _, w := range k.shown.Load().undone {
		if k.d.options.Clock.Now().Sub(w.entered) < undoneShown {
			ids = append(ids, fmt.Sprint(w.id))
		}
	}
	if len(ids) == 0 {
		return nil
	}
	return []string{fmt.Sprintf("The sheets don't have what was entered at the page as %s of the log. Removed on purpose, that is well; if an older copy was saved over it, or something else stands there, enter it again.", strings.Join(ids, ", "))}
}

// waitsLong is how long entries may wait before that is a condition: a sheet may
// be open in a spreadsheet for a while.
const waitsLong = 15 * time.Minute

// condition tells when entries have waited for long.
func (k *desk) condition(now time.Time) (watch.Condition, bool) {
	is := k.shown.Load()
	if is.why == "" || now.Sub(is.since) < waitsLong {
		return watch.Condition{}, false
	}
	return watch.Condition{
		Kind: watch.Entries, Since: is.since,
		Says: fmt.Sprintf("What was entered at the page (%d) is in the log but not yet in the sheets.", is.waiting),
		Do:   is.why,
	}, true
}
