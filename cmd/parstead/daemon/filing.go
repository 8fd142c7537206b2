package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
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

// filing takes in what is entered at the page: first it goes into the trial's log,
// then into the sheet. What the log has and a sheet could not take yet is tried
// again until it has it; that the sheets have it is then logged too.
type filing struct {
	trial    func() *trial.Trial                                // that is in force
	addEvent func(context.Context, light.Event) (uint64, error) // writes the trial's log
	adopt    func()                                             // takes the written sheets into use
	now      func() time.Time
	logger   *slog.Logger
	drafted  func() // tests save a sheet before the draft is written

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
func (f *filing) release() {
	f.shown.Store(&entriesShown{slices.Clone(f.undone), len(f.waiting), f.why, f.since})
	f.mu.Unlock()
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

// begin takes over what the log holds.
func (f *filing) begin(log []light.Event) error {
	f.stored = map[string]storedEntry{}
	f.shown.Store(&entriesShown{})
	waiting := map[uint64]waitingEntry{}
	for _, e := range log {
		switch {
		case e.Kind == light.Filed:
			var filed filedData
			if err := json.Unmarshal(e.Data, &filed); err != nil {
				return fmt.Errorf("log entry %d: %w", e.ID, err)
			}
			for _, id := range filed.Entries {
				if w, ok := waiting[id]; ok && f.now().Sub(w.entered) < undoneShown {
					f.recent = append(f.recent, w)
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
				return fmt.Errorf("log entry %d: %w", e.ID, err)
			}
			f.stored[data.ID] = storedEntry{page.Answer{ID: data.ID, State: page.Stored, Says: e.Text}, data.Content}
			if len(data.Changes) > 0 {
				waiting[e.ID] = waitingEntry{e.ID, e.Written, data.Changes}
			}
		}
	}
	for _, id := range slices.Sorted(maps.Keys(waiting)) {
		f.waiting = append(f.waiting, waiting[id])
	}
	return nil
}

// Stored is the answer to an entry that was stored.
func (f *filing) Stored(id string) (page.Answer, bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	e, ok := f.stored[id]
	return e.answer, ok
}

// Take stores entries. It answers each.
func (f *filing) Take(ctx context.Context, who string, entries []page.Entry) []page.Answer {
	f.mu.Lock()
	defer f.release()
	f.last = time.Now()
	answers := make([]page.Answer, len(entries))
	draft, err := f.draft(ctx)
	of := map[uint64]int{} // answers by the entries of the log that they are to
	for i, e := range entries {
		a := &answers[i]
		*a = page.Answer{ID: e.ID, State: page.Later}
		if before, ok := f.stored[e.ID]; ok {
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
		event, changes, remarks, wrong := f.event(draft, who, e)
		if wrong != nil {
			a.State, a.Says = page.Wrong, sentence(wrong)
			continue
		}
		id, failed := f.addEvent(ctx, event)
		if failed != nil {
			// The draft has what the log has not: no more of it may be used.
			err = fmt.Errorf("the log can't be written: %w", failed)
			a.Says = sentence(err)
			continue
		}
		a.State, a.Says, a.Remarks = page.Stored, event.Text, remarks
		f.stored[e.ID] = storedEntry{*a, e.Content()}
		if len(changes) > 0 {
			f.waiting = append(f.waiting, waitingEntry{id, event.Written, changes})
			of[id] = i
		}
	}
	if len(of) > 0 {
		f.file(ctx)
	}
	for _, w := range f.waiting {
		if i, ok := of[w.id]; ok {
			answers[i].Remarks = append(slices.Clone(answers[i].Remarks), "It is in the log and goes into the sheet as soon as it can: "+f.why)
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
func (f *filing) draft(ctx context.Context) (*trial.Draft, error) {
	draft, err := trial.NewDraft(f.trial().Dir)
	if err != nil {
		return nil, err
	}
	if done, err := draft.Again(merged(f.waiting)...); err == nil && done {
		return draft, nil
	}
	var left []waitingEntry
	for _, group := range byLine(f.waiting) {
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
			if err := f.log(ctx, fmt.Sprintf("entry %d is not put into the sheet: %s", w.id, says), w); err != nil {
				return nil, err
			}
		}
		f.recent, f.undone = append(f.recent, group...), append(f.undone, group...)
	}
	f.waiting = left
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
		if i, known := of[c.Plant()]; known && c.PerPlant() {
			groups[i] = append(groups[i], w)
			continue
		}
		if c.PerPlant() {
			of[c.Plant()] = len(groups)
		}
		groups = append(groups, []waitingEntry{w})
	}
	return groups
}

// writes is how often a sheet is drafted anew because somebody saves it just then.
const writes = 5

// file writes what waits into the sheets and takes them into use.
func (f *filing) file(ctx context.Context) {
	f.tried = time.Now()
	before := len(f.unfiled)
	var err error
	for range writes {
		var draft *trial.Draft
		if draft, err = f.draft(ctx); err != nil {
			break
		}
		if f.drafted != nil {
			f.drafted()
		}
		err = draft.Write()
		f.written(err)
		if !errors.Is(err, trial.ErrChanged) {
			break
		}
	}
	if len(f.unfiled) > before {
		f.adopt()
	}
	if err == nil {
		f.why = ""
		return
	}
	if f.why == "" {
		f.since = f.now()
		f.logger.Warn("entries not in the sheets yet", "entries", len(f.waiting), "error", err)
	}
	f.why = sentence(err)
}

// written takes those out of the waiting whose sheets a draft could write.
func (f *filing) written(err error) {
	failed, partly := errors.AsType[trial.Unwritten](err)
	var left []waitingEntry
	for _, w := range f.waiting {
		if _, fails := failed[w.changes[0].Sheet]; fails || err != nil && !partly {
			left = append(left, w)
			continue
		}
		f.unfiled, f.recent = append(f.unfiled, w), append(f.recent, w)
	}
	f.waiting = left
}

// fileQuiet is how long no entry has come before it is logged that the sheets
// have them: one line for a round through the bins, not one a plant.
const fileQuiet = time.Minute

// keep does what is due: it tries again to write what waits, and logs what is
// written. While entries are taken in, that is left for the next time.
func (f *filing) keep(ctx context.Context, again time.Duration) {
	if !f.mu.TryLock() {
		return
	}
	defer f.release()
	if len(f.waiting) > 0 && time.Since(f.tried) > again {
		f.file(ctx)
	}
	if len(f.unfiled) > 0 && time.Since(f.last) > fileQuiet {
		f.logFiled(ctx)
	}
}

// endPatience is how long an end waits for sheets that are being read or written.
const endPatience = 2 * time.Second

// end logs what is written, before the store closes.
func (f *filing) end() error {
	for begun := time.Now(); !f.mu.TryLock(); time.Sleep(10 * time.Millisecond) {
		if time.Since(begun) > endPatience { // it waits for a disk that hangs
			f.logger.Error("not logged what is in the sheets: they are still being read or written; the next start finds out")
			return nil
		}
	}
	defer f.mu.Unlock()
	if len(f.unfiled) > 0 {
		f.logFiled(context.Background())
	}
	return nil
}

func (f *filing) logFiled(ctx context.Context) {
	n := len(f.unfiled)
	text := fmt.Sprintf("%d entries are in the sheets", n)
	if n == 1 {
		text = "1 entry is in the sheets"
	}
	if err := f.log(ctx, text, f.unfiled...); err != nil {
		f.logger.Warn("not logged what is in the sheets", "error", err)
		return
	}
	f.unfiled = nil
	f.forget()
}

// forget drops what is no longer looked for in the sheets.
func (f *filing) forget() {
	now := f.now()
	f.recent = slices.DeleteFunc(f.recent, func(w waitingEntry) bool { return now.Sub(w.entered) >= undoneShown })
}

// log notes that nothing more is to be done for entries.
func (f *filing) log(ctx context.Context, text string, done ...waitingEntry) error {
	var filed filedData
	for _, w := range done {
		filed.Entries = append(filed.Entries, w.id)
	}
	data, err := json.Marshal(filed)
	if err != nil {
		return err
	}
	_, err = f.addEvent(ctx, light.Event{Kind: light.Filed, Text: text, Data: data})
	return err
}

// undoneShown is how long it is looked whether the sheets still have an entry.
const undoneShown = 24 * time.Hour

// look finds out, when somebody else has changed the sheets, which entries of
// the last day they have no more: an older copy may have been saved over them.
func (f *filing) look() {
	f.mu.Lock()
	defer f.release()
	f.forget()
	f.undone = nil
	draft, err := trial.NewDraft(f.trial().Dir)
	if err != nil {
		return // the condition of the files tells
	}
	for _, group := range byLine(f.recent) {
		if undone, err := draft.Undone(merged(group)...); err != nil {
			f.logger.Warn("not known whether the sheets still have what was entered", "error", err)
		} else if undone {
			f.undone = append(f.undone, group...)
		}
	}
}

// notices are what the page says of entries beside the conditions.
func (f *filing) notices() []string {
	var ids []string
	for _, w := range f.shown.Load().undone {
		if f.now().Sub(w.entered) < undoneShown {
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
func (f *filing) condition(now time.Time) (watch.Condition, bool) {
	is := f.shown.Load()
	if is.why == "" || now.Sub(is.since) < waitsLong {
		return watch.Condition{}, false
	}
	return watch.Condition{
		Kind: watch.Entries, Since: is.since,
		Says: fmt.Sprintf("What was entered at the page (%d) is in the log but not yet in the sheets.", is.waiting),
		Do:   is.why,
	}, true
}
