package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/racktest"
	"parstead/cmd/parstead/trial"
	"parstead/light"
	"parstead/light/watch"
	"parstead/store"
)

// An entry that is sent again, now or after a restart, is stored once.
func TestRepeatedEntriesAreStoredOnce(t *testing.T) {
	t.Parallel()
	dir := racktest.EntryTrial(t, "")
	const entry, note = "1 count plant=P1 outcome=leaves value=4", "2 note text=x"
	for range 3 {
		w := watchFolder(t, dir, Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
		p := racktest.NewPhone(t, w.PageURL(), "")
		var g sync.WaitGroup
		for range 4 {
			g.Go(func() {
				if answers, err := p.Try(entry, entry, note); err != nil || slices.ContainsFunc(answers, func(a page.Answer) bool { return a.State != page.Stored || a.Says == "" }) {
					t.Errorf("%+v %v", answers, err)
				}
			})
		}
		g.Wait()
		if n := len(events(t, w.db, light.Entered, light.Other)); n != 2 {
			t.Errorf("%d entries in the log", n)
		}
		w.stop()
	}
	if got, want := racktest.Text(t, dir, "counts.csv"), "time;plant;outcome;value\r\n2026-08-05T12:00:00Z;P1;leaves;4\r\n"; got != want {
		t.Errorf("counts.csv %q", got)
	}
}

// While a spreadsheet program has a sheet open, entries wait in the log, also
// over a restart; then they go into what it has saved.
func TestEntriesWaitForAnOpenSheet(t *testing.T) {
	t.Parallel()
	dir := racktest.EntryTrial(t, "")
	mark := filepath.Join(dir, ".~lock.harvest.csv#")
	racktest.WriteFiles(t, dir, map[string]string{"harvest.csv": "plant,mass_g\nP3,1.5\n", filepath.Base(mark): ""})
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	p := racktest.NewPhone(t, w.PageURL(), "")
	a := p.Stored("1 harvest plant=P1 outcome=mass_g value=2 day=2026-08-30", "2 harvest plant=P1 outcome=mass_g value=2.25 day=2026-08-30", "3 harvest plant=P2 outcome=mass_g value=3 day=2026-08-30")
	if len(a[0].Remarks) != 1 || !strings.Contains(a[0].Remarks[0], "is open in a spreadsheet program") || !strings.Contains(a[0].Remarks[0], mark[len(dir)+1:]) {
		t.Errorf("%+v", a[0])
	}
	if text := racktest.Text(t, dir, "harvest.csv"); text != "plant,mass_g\nP3,1.5\n" {
		t.Errorf("written all the same: %q", text)
	}
	// Other sheets don't wait for it.
	if a := p.Stored("11 count plant=P1 outcome=leaves value=6"); len(a[0].Remarks) > 0 || !strings.Contains(racktest.Text(t, dir, "counts.csv"), ",P1,leaves,6\n") {
		t.Errorf("%+v %q", a, racktest.Text(t, dir, "counts.csv"))
	}
	clock.Move(waitsLong + time.Minute)
	racktest.Eventually(t, "the condition", func() bool { return has(w, watch.Entries) })
	w.stop()
	// The spreadsheet saves what it had, and more.
	racktest.WriteFiles(t, dir, map[string]string{"harvest.csv": "plant,mass_g,remarks\nP3,1.75,\nP2,,small\n"})
	if err := os.Remove(mark); err != nil {
		t.Fatal(err)
	}
	w = watchFolder(t, dir, Options{Clock: clock.Ingest()})
	const want = "plant,mass_g,remarks\nP3,1.75,\nP2,3,small\nP1,2.25,\n"
	racktest.Eventually(t, "the entries in the sheet", func() bool { return racktest.Text(t, dir, "harvest.csv") == want })
	racktest.Eventually(t, "it to be in use", func() bool { x, _ := w.trial.Load().Plant("P1"); return x.Values["mass_g"].Value == 2.25 })
	racktest.Eventually(t, "the end of the condition", func() bool { return !has(w, watch.Entries) })
	w.stop()
	// What the grower makes of the sheet afterwards stays, and is told for a day.
	w = watchFolder(t, dir, Options{Clock: clock.Ingest()})
	if notices := w.filing.notices(); len(notices) > 0 {
		t.Errorf("%v", notices)
	}
	w.looked()
	racktest.WriteFiles(t, dir, map[string]string{"harvest.csv": "plant,mass_g\nP3,9\n"})
	racktest.Eventually(t, "a word of what is gone", func() bool { return len(w.filing.notices()) == 1 })
	clock.Move(3 * time.Second) // no state serves twice
	if body := w.get("/"); !strings.Contains(body, "have what was entered at the page as") {
		t.Error("the page does not say so")
	}
	clock.Move(undoneShown)
	if notices := w.filing.notices(); len(notices) > 0 {
		t.Errorf("a day later: %v", notices)
	}
	clock.Set(racktest.Midday.Add(waitsLong + time.Hour))
	racktest.NewPhone(t, w.PageURL(), "").Stored("4 harvest plant=P4 outcome=mass_g value=4 day=2026-08-30")
	if text := racktest.Text(t, dir, "harvest.csv"); text != "plant,mass_g\nP3,9\nP4,4\n" {
		t.Errorf("%q", text)
	}
	w.stop()
}

// A sheet that somebody saves just as an entry is written into it keeps both.
func TestASheetThatIsSavedJustThen(t *testing.T) {
	t.Parallel()
	dir := racktest.EntryTrial(t, "")
	w := watchFolder(t, dir, Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
	p := racktest.NewPhone(t, w.PageURL(), "")
	saves := 0
	w.filing.mu.Lock()
	w.filing.drafted = func() {
		if saves++; saves != writes { // one too few, then one too many
			racktest.WriteFiles(t, dir, map[string]string{"harvest.csv": fmt.Sprintf("plant,mass_g\nP3,%d\n", saves)})
		}
	}
	w.filing.mu.Unlock()
	if a := p.Stored("1 harvest plant=P1 outcome=mass_g value=2 day=2026-08-30"); len(a[0].Remarks) > 0 {
		t.Errorf("%+v", a)
	}
	if got, want := racktest.Text(t, dir, "harvest.csv"), fmt.Sprintf("plant,mass_g\nP3,%d\nP1,2\n", writes-1); got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if a := p.Stored("2 count plant=P1 outcome=leaves value=2", "3 harvest plant=P2 outcome=mass_g value=3 day=2026-08-30"); len(a[0].Remarks) > 0 || len(a[1].Remarks) != 1 || !strings.Contains(a[1].Remarks[0], "has changed meanwhile") {
		t.Errorf("%+v", a)
	}
	w.filing.mu.Lock()
	w.filing.drafted = nil
	w.filing.mu.Unlock()
	racktest.Eventually(t, "the entry in the sheet", func() bool { return strings.HasSuffix(racktest.Text(t, dir, "harvest.csv"), "\nP2,3\n") })
	w.stop()
}

// What the grower removes or corrects in a sheet while nothing runs does not come
// back at the next start.
func TestFiledEntriesDoNotComeBack(t *testing.T) {
	t.Parallel()
	dir := racktest.EntryTrial(t, "")
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	racktest.NewPhone(t, w.PageURL(), "").Stored("1 count plant=P1 outcome=leaves value=4", "2 harvest plant=P1 outcome=mass_g value=2 day=2026-08-30")
	w.stop()
	const counts, harvest = "time,plant,outcome,value\n", "plant,mass_g\nP1,\n"
	racktest.WriteFiles(t, dir, map[string]string{"counts.csv": counts, "harvest.csv": harvest})
	w = watchFolder(t, dir, Options{Clock: clock.Ingest()})
	racktest.NewPhone(t, w.PageURL(), "").Stored("3 harvest plant=P2 outcome=mass_g value=3 day=2026-08-30")
	if got := racktest.Text(t, dir, "counts.csv") + racktest.Text(t, dir, "harvest.csv"); got != counts+harvest+"P2,3\n" {
		t.Errorf("%q", got)
	}
	w.stop()
}

// An entry that is in the log and not in the sheet, because the daemon ended
// between the two, is put there at the next start; but not over what somebody
// has written there since.
func TestLoggedEntriesReachTheSheets(t *testing.T) {
	t.Parallel()
	dir := racktest.EntryTrial(t, "")
	racktest.WriteFiles(t, dir, map[string]string{"harvest.csv": "plant,mass_g\nP1,1\nP2,7\n"})
	logged(t, dir,
		enteredData{ID: "00000000000000-1", Changes: []trial.Change{{Sheet: "counts", Cells: []trial.Set{{Heading: "time", Value: "2026-08-04T10:00:00Z"}, {Heading: "plant", Value: "P1"}, {Heading: "outcome", Value: "leaves"}, {Heading: "value", Value: "4"}}}}},
		enteredData{ID: "00000000000000-2", Changes: []trial.Change{{Sheet: "harvest", Cells: []trial.Set{{Heading: "plant", Value: "P1"}, {Heading: "mass_g", Value: "2", Before: "1"}}}}},
		enteredData{ID: "00000000000000-3", Changes: []trial.Change{{Sheet: "harvest", Cells: []trial.Set{{Heading: "plant", Value: "P2"}, {Heading: "mass_g", Value: "2", Before: "1"}}}}},
		enteredData{ID: "00000000000000-4", Changes: []trial.Change{{Sheet: "harvest", Cells: []trial.Set{{Heading: "plant", Value: "P9"}, {Heading: "mass_g", Value: "2"}}}}},
	)
	w := watchFolder(t, dir, Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
	racktest.Eventually(t, "the entries in the sheets", func() bool {
		return racktest.Text(t, dir, "harvest.csv") == "plant,mass_g\nP1,2\nP2,7\n" && strings.Contains(racktest.Text(t, dir, "counts.csv"), "P1,leaves,4")
	})
	racktest.Eventually(t, "a word of what could not be put there", func() bool {
		notices := w.filing.notices()
		return len(notices) == 1 && strings.Contains(notices[0], " as 3, 4 of the log")
	})
	w.stop()
	db, err := store.Open(filepath.Join(dir, store.FileName), store.Options{Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	var texts []string
	for _, e := range events(t, db, light.Filed) {
		texts = append(texts, e.Text)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	all := strings.Join(texts, "\n")
	for _, want := range []string{"entry 3 is not put into the sheet: somebody has written something else there since", `entry 4 is not put into the sheet: no plant has the code "P9"`, "2 entries are in the sheets"} {
		if strings.Count(all, want) != 1 {
			t.Errorf("the log does not say once %q:\n%s", want, all)
		}
	}
}

// logged writes entries into the log of a trial that nothing watches.
func logged(tb testing.TB, dir string, entries ...enteredData) {
	tb.Helper()
	db, err := store.OpenWriter(tb.Context(), dir, store.Options{Now: func() time.Time { return racktest.Midday }})
	if err != nil {
		tb.Fatal(err)
	}
	for _, e := range entries {
		data, err := json.Marshal(e)
		if err == nil {
			_, err = db.AddEvent(tb.Context(), light.Event{Kind: light.Entered, Text: "entered", Data: data})
		}
		if err != nil {
			tb.Fatal(err)
		}
	}
	if err := db.Close(); err != nil {
		tb.Fatal(err)
	}
}

// The code can be set, changed and taken away while the daemon runs.
func TestTheCodeIsReadAgain(t *testing.T) {
	t.Parallel()
	dir := racktest.EntryTrial(t, "")
	w := watchFolder(t, dir, Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
	p := racktest.NewPhone(t, w.PageURL(), "")
	p.Stored("1 note text=x")
	racktest.WriteFiles(t, dir, map[string]string{"entry-code": "another\n"})
	racktest.Eventually(t, "the new code", func() bool {
		_, err := p.Try("1 note text=x")
		return err != nil && strings.Contains(err.Error(), "the code has changed")
	})
	config := racktest.Text(t, dir, "trial.toml")
	racktest.WriteFiles(t, dir, map[string]string{"trial.toml": strings.Replace(config, "code_file", "# code_file", 1)})
	racktest.Eventually(t, "no code", func() bool {
		_, err := p.Try("1 note text=x")
		return err != nil && strings.Contains(err.Error(), "no entry code is set")
	})
	if n := len(events(t, w.db, light.Other)); n != 1 {
		t.Errorf("%d notes", n)
	}
	w.stop()
}

// A failing log stores nothing and says so; the phone keeps the entry.
func TestAnEntryThatCantBeLogged(t *testing.T) {
	t.Parallel()
	dir := racktest.EntryTrial(t, "")
	w := watchFolder(t, dir, Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
	ended, end := context.WithCancel(t.Context())
	end()
	a := w.filing.Take(ended, "", []page.Entry{{ID: "00000000000000-1", What: page.Count, Plant: "P1", Outcome: "leaves", Value: "4"}})[0]
	if a.State != page.Later || !strings.Contains(a.Says, "the log can't be written") || racktest.Text(t, dir, "counts.csv") != "" {
		t.Errorf("%+v, %q", a, racktest.Text(t, dir, "counts.csv"))
	}
	racktest.NewPhone(t, w.PageURL(), "").Stored("1 count plant=P1 outcome=leaves value=5")
	if text := racktest.Text(t, dir, "counts.csv"); strings.Count(text, "\r\n") != 2 {
		t.Errorf("%q", text)
	}
	w.stop()
}

// What was entered at the page stands in a sheet: the log can't hide it, whoever
// holds the database. A note from the page can be withdrawn.
func TestWhatWasEnteredIsNotWithdrawn(t *testing.T) {
	t.Parallel()
	dir := racktest.EntryTrial(t, "")
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	racktest.NewPhone(t, w.PageURL(), "").Stored("1 count plant=P1 outcome=leaves value=4", "2 note text=x")
	entered, note := events(t, w.db, light.Entered)[0].ID, events(t, w.db, light.Other)[0].ID
	withdraw := func(id uint64) error {
		db, err := store.OpenWriter(t.Context(), dir, store.Options{Now: clock.At})
		if err != nil {
			t.Fatal(err)
		}
		_, err = db.AddEvent(t.Context(), light.Event{Kind: light.Withdrawn, Withdraws: id})
		return errors.Join(err, db.Close())
	}
	refused := func(when string) {
		if err := withdraw(entered); err == nil || !strings.Contains(err.Error(), "correct the value in the sheet, or enter it anew at the page") {
			t.Errorf("%s: %v", when, err)
		}
	}
	refused("through the daemon")
	if err := withdraw(note); err != nil {
		t.Error(err)
	}
	w.stop()
	refused("without a daemon")
}

// While a sheet takes long to write, the page answers and the daemon goes on.
func TestASlowSheetHoldsNobodyUp(t *testing.T) {
	t.Parallel()
	w := watchFolder(t, racktest.EntryTrial(t, ""), Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
	p := racktest.NewPhone(t, w.PageURL(), "")
	begun, end := make(chan struct{}), make(chan struct{})
	w.filing.mu.Lock()
	w.filing.drafted = sync.OnceFunc(func() { close(begun); <-end })
	w.filing.mu.Unlock()
	var g sync.WaitGroup
	g.Go(func() {
		if _, err := p.Try("1 count plant=P1 outcome=leaves value=4"); err != nil {
			t.Error(err)
		}
	})
	<-begun
	free := make(chan struct{})
	go func() {
		defer close(free)
		w.filing.keep(t.Context(), 0)
		w.filing.notices()
		w.filing.condition(racktest.Midday)
		for _, path := range []string{"", "enter"} {
			if answer, err := p.Get(w.PageURL() + path); err != nil || answer.Body.Close() != nil || answer.StatusCode != http.StatusOK {
				t.Errorf("%q: %v", path, err)
			}
		}
	}()
	select {
	case <-free:
	case <-time.After(10 * time.Second):
		t.Error("everybody waits for the sheet")
	}
	close(end)
	g.Wait()
	<-free
	w.stop()
}

// A screen that a browser goes back to sends its id again: with another value
// that is no repetition, and must not be taken for stored.
func TestAnotherEntryOfTheSameID(t *testing.T) {
	t.Parallel()
	dir := racktest.EntryTrial(t, "")
	for range 2 { // before and after a restart
		w := watchFolder(t, dir, Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
		a := racktest.NewPhone(t, w.PageURL(), "").Send("1 count plant=P1 outcome=leaves value=4", "1 count plant=P1 outcome=leaves value=5", "1 count plant=P1 outcome=leaves value=4 age=9")
		if a[0].State != page.Stored || a[1].State != page.Wrong || !strings.Contains(a[1].Says, "leaves 4; in counts.csv") || a[2].State != page.Stored {
			t.Errorf("%+v", a)
		}
		w.stop()
	}
	if text := racktest.Text(t, dir, "counts.csv"); strings.Count(text, "P1") != 1 {
		t.Errorf("%q", text)
	}
}
