package daemon

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/racktest"
	"parstead/light"
	"parstead/light/watch"
	"parstead/store"
)

func events(tb testing.TB, db *store.DB, kinds ...light.Kind) []light.Event {
	tb.Helper()
	view, err := db.View()
	if err != nil {
		tb.Fatal(err)
	}
	defer func() { _ = view.Close() }()
	log, err := view.Events(tb.Context())
	if err != nil {
		tb.Fatal(err)
	}
	return slices.DeleteFunc(slices.Clone(log), func(e light.Event) bool { return !slices.Contains(kinds, e.Kind) })
}

func has(w *watched, condition watch.Kind) bool {
	return slices.ContainsFunc(w.holding(), func(c watch.Condition) bool { return c.Kind == condition })
}

// Each kind of entry lands in the log with its stamp and in its sheet, in the
// way the grower's other sheets are written, and is in use at once.
func TestEntriesReachLogAndSheets(t *testing.T) {
	t.Parallel()
	dir := racktest.EntryTrial(t, "")
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	ana := racktest.NewPhone(t, w.PageURL(), "Ana")
	ana.Stored("1 count plant=P1 outcome=leaves value=4", "2 count plant=P2 outcome=rooted value=yes age=90")
	clock.Move(time.Hour)
	ana.Stored("3 harvest plant=P1 outcome=mass_g value=2,5 day=2026-08-05")
	if p, _ := w.trial.Load().Plant("P1"); p.Values["mass_g"].Value != 2.5 || p.Date.String() != "2026-08-05" {
		t.Errorf("not in use at once: %v on %v", p.Values, p.Date)
	}
	ana.Stored("4 harvest plant=P1 outcome=mass_g value=2.75 day=2026-08-05", "5 again plant=P1 outcome=mass_g value=2.7")
	lost := ana.Stored("6 lost plant=P2 cause=rot day=2026-08-04")
	if !strings.Contains(lost[0].Says, "status lost") {
		t.Errorf("%+v", lost[0])
	}
	ana.Stored("7 lost plant=P4 cause=pest day=2026-08-05", "8 alive plant=P4")
	ana.Stored("9 move plant=P3 bin=upper row=2 column=3", "10 note plant=P4 kind=treated text=soap_spray", "11 note kind=lamp_cleaned bin=upper")
	clock.Move(time.Minute)
	ana.Stored("12 move plant=P3 bin=lower row=1 column=2 swap=P4")

	want := map[string]string{
		"counts.csv":  "time;plant;outcome;value\r\n2026-08-05T12:00:00Z;P1;leaves;4\r\n2026-08-05T11:58:30Z;P2;rooted;yes\r\n",
		"harvest.csv": "plant;date;status;lost_on;cause;mass_g;mass_g_again\r\nP1;2026-08-05;;;;2,75;2,7\r\nP2;;lost;2026-08-04;rot;;\r\n",
		"moves.csv":   "time;plant;bin;row;column\r\n2026-08-05T13:00:00Z;P3;upper;2;3\r\n2026-08-05T13:01:00Z;P3;lower;1;2\r\n2026-08-05T13:01:00Z;P4;upper;2;3\r\n",
	}
	for file, text := range want {
		if diff := cmp.Diff(text, racktest.Text(t, dir, file)); diff != "" {
			t.Errorf("%s, -want +got:\n%s", file, diff)
		}
	}
	var lines []string
	for _, e := range events(t, w.db, light.Entered, light.Treated, light.LampCleaned) {
		lines = append(lines, fmt.Sprintf("%s %s %s %s: %s", e.At.Format("15:04:05"), e.Kind, e.Bin, e.Plant, e.Text))
	}
	if diff := cmp.Diff([]string{
		"12:00:00 entered  P1: leaves 4; in counts.csv (Ana)",
		"11:58:30 entered  P2: rooted yes; in counts.csv (Ana)",
		"13:00:00 entered  P1: mass_g 2.5, date 2026-08-05; in harvest.csv (Ana)",
		"13:00:00 entered  P1: mass_g 2.75, was 2,5; in harvest.csv (Ana)",
		"13:00:00 entered  P1: mass_g_again 2.7; in harvest.csv (Ana)",
		"13:00:00 entered  P2: status lost, lost_on 2026-08-04, cause rot; in harvest.csv (Ana)",
		"13:00:00 entered  P4: status lost, lost_on 2026-08-05, cause pest; in harvest.csv (Ana)",
		"13:00:00 entered  P4: status cleared, was lost, lost_on cleared, was 2026-08-05, cause cleared, was pest; in harvest.csv (Ana)",
		"13:00:00 entered  P3: P3 to upper, row 2, column 3; in moves.csv (Ana)",
		"13:00:00 treated  P4: soap spray (Ana)",
		"13:00:00 lamp_cleaned upper : (Ana)",
		"13:01:00 entered  P3: P3 to lower, row 1, column 2; P4 to upper, row 2, column 3; in moves.csv (Ana)",
	}, lines); diff != "" {
		t.Errorf("log, -want +got:\n%s", diff)
	}
	clock.Move(time.Minute) // no state serves twice
	// What was scored is kept back until the harvest is in; what became of a plant is not.
	if body := w.get("/"); !strings.Contains(body, "status lost, lost_on 2026-08-04, cause rot; in harvest.csv (Ana)") || !strings.Contains(body, "kept back until its harvest is in") || strings.Contains(body, "mass_g 2.75") {
		t.Error("the page's log has no such entry, or one that is to be kept back")
	}
	if has(w, watch.Files) || has(w, watch.Entries) {
		t.Errorf("conditions %v", w.holding())
	}
	w.stop()
}

// What can't be stored is told in a sentence, and nothing of it is kept.
func TestWrongEntriesAreTold(t *testing.T) {
	t.Parallel()
	dir := racktest.EntryTrial(t, "")
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	p := racktest.NewPhone(t, w.PageURL(), "")
	for entry, says := range map[string]string{
		"1 count plant=P9 outcome=leaves value=4":                `The trial has no plant "P9": find it by its bin.`,
		"2 count plant=P1 outcome=leaves value=2.5":              "Leaves of plant P1 is 2.5, and counts are 0, 1, 2, ...; write a whole number, or leave the cell blank.",
		"3 count plant=P1 outcome=leaves value=x":                `Leaves of plant P1 "x" is not a number`,
		"4 count plant=P1 outcome=leaves":                        "The value is blank",
		"5 count plant=P1 outcome=length value=4":                `The trial has no outcome "length"`,
		"6 count plant=P1 outcome=leaves value=4 age=864000":     "lies outside the trial",
		"7 harvest plant=P1 outcome=rooted value=perhaps":        "neither yes nor no",
		"8 harvest plant=P1 outcome=mass_g value=2 day=tomorrow": "no date of the calendar",
		"9 lost plant=P1 cause=frost day=2026-08-05":             "choose one of rot, pest, dried, accident, unknown",
		"10 alive plant=P1":                                      "P1 is not written down as lost",
		"11 move plant=P1 bin=upper row=1 column=2":              "stand at one place",
		"12 move plant=P1 bin=upper row=2 column=2 swap=P2":      "P1 and P2 can't change places: P2 stands elsewhere now",
		"13 again plant=P1 outcome=mass_g value=4":               "a second mass_g but no first",
		"14 note kind=started text=x":                            "is not a kind of note",
		"15 note kind=mute text=x":                               "use parstead note",
		"16 note text=":                                          "the note is blank",
		"17 note bin=middle text=x":                              `no bin "middle"`,
		"18 eat plant=P1":                                        "is nothing that can be entered",
	} {
		a := p.Send(entry)[0]
		if a.State != page.Wrong || !strings.Contains(strings.ToLower(a.Says), strings.ToLower(says)) {
			t.Errorf("%s: %+v", entry, a)
		}
	}
	if n := len(events(t, w.db, light.Entered, light.Other)); n > 0 {
		t.Errorf("%d entries in the log", n)
	}
	for _, file := range []string{"counts.csv", "harvest.csv", "moves.csv"} {
		if text := racktest.Text(t, dir, file); text != "" {
			t.Errorf("%s: %q", file, text)
		}
	}
	// A warning of check is a remark.
	p.Stored("20 lost plant=P1 cause=dried day=2026-08-05")
	if a := p.Stored("21 harvest plant=P1 outcome=mass_g value=2")[0]; len(a.Remarks) != 1 || !strings.Contains(a.Remarks[0], "the 2 here is not used") {
		t.Errorf("%+v", a)
	}
	// While the files have a mistake the phone has to keep what belongs in a sheet.
	racktest.WriteFiles(t, dir, map[string]string{"survey.csv": "time,bin\n"})
	answers := p.Send("22 harvest plant=P3 outcome=mass_g value=2", "23 note text=x")
	if a := answers[0]; a.State != page.Later || !strings.Contains(a.Says, "survey.csv:1:1") {
		t.Errorf("%+v", a)
	}
	if answers[1].State != page.Stored {
		t.Errorf("%+v", answers[1])
	}
	w.stop()
}

// Screens show no treatment, to nobody who scores.
func TestEntryIsBlind(t *testing.T) {
	t.Parallel()
	w := watchFolder(t, racktest.EntryTrial(t, ""), Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
	p := racktest.NewPhone(t, w.PageURL(), "")
	for _, path := range []string{"/enter", "/enter/offer.json", "/enter/bin?bin=upper", "/enter/plant?plant=P1", "/enter/value?plant=P1&what=count&outcome=leaves", "/enter/lost?plant=P1", "/enter/move?plant=P1&bin=upper"} {
		answer, err := p.Get(p.Base + path)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(answer.Body)
		if err = errors.Join(err, answer.Body.Close()); err != nil || answer.StatusCode != http.StatusOK || !strings.Contains(string(body), "upper") {
			t.Errorf("%s: %s %v", path, answer.Status, err)
		}
		for _, word := range []string{"medium", "coir", "bark"} {
			if strings.Contains(string(body), word) {
				t.Errorf("%s tells of %s", path, word)
			}
		}
	}
	w.stop()
}
