package trial_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"parstead/cmd/parstead/atomicfile"
	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
)

// change is one of "sheet heading=value heading=value".
func change(text string) trial.Change {
	words := strings.Fields(text)
	c := trial.Change{Sheet: words[0]}
	for _, w := range words[1:] {
		heading, value, _ := strings.Cut(w, "=")
		c.Cells = append(c.Cells, trial.Set{Heading: heading, Value: value})
	}
	return c
}

// write makes the changes and writes them.
func write(tb testing.TB, dir string, changes ...string) {
	tb.Helper()
	d, err := trial.NewDraft(dir)
	if err != nil {
		tb.Fatal(err)
	}
	for _, c := range changes {
		if _, _, err := d.Make(change(c)); err != nil {
			tb.Fatalf("%s: %v", c, err)
		}
	}
	if err := d.Write(); err != nil {
		tb.Fatal(err)
	}
}

// What is not changed stays as the grower's program wrote it, byte by byte.
func TestDraftKeepsTheGrowersWay(t *testing.T) {
	t.Parallel()
	const mar = "2026-03-10T12:00:00Z"
	for _, c := range []struct{ name, file, before, changes, after string }{
		{"a count", "counts.csv", "time,plant,outcome,value\n2026-03-05 12:00,A1,leaves,2\n", "counts time=" + mar + " plant=A2 outcome=leaves value=3", "time,plant,outcome,value\n2026-03-05 12:00,A1,leaves,2\n" + mar + ",A2,leaves,3\n"},
		{"columns in another order, and more", "counts.csv", "Plant;value;remarks;Outcome;TIME\r\nA1;2;\"a; b\";leaves;2026-03-05 12:00\r\n", "counts time=" + mar + " plant=A2 outcome=leaves value=3", "Plant;value;remarks;Outcome;TIME\r\nA1;2;\"a; b\";leaves;2026-03-05 12:00\r\nA2;3;;leaves;" + mar + "\r\n"},
		{"no line end at the end", "counts.csv", "time,plant,outcome,value", "counts time=" + mar + " plant=A2 outcome=leaves value=3", "time,plant,outcome,value\n" + mar + ",A2,leaves,3\n"},
		{"byte-order mark", "harvest.csv", "\ufeffplant,leaves\r\nA1,3\r\n", "harvest plant=A1 leaves=4", "\ufeffplant,leaves\r\nA1,4\r\n"},
		{"lone carriage returns", "harvest.csv", "plant,leaves\rA1,3\rA2,5\r", "harvest plant=A1 leaves=14", "plant,leaves\rA1,14\rA2,5\r"},
		{"decimal comma as the sheet has it", "harvest.csv", "plant;biomass_g\nA1;1,5\n", "harvest plant=A2 biomass_g=2.25", "plant;biomass_g\nA1;1,5\nA2;2,25\n"},
		{"decimal point as the sheet has it", "harvest.csv", "plant;biomass_g\nA1;1.5\n", "harvest plant=A2 biomass_g=2.25", "plant;biomass_g\nA1;1.5\nA2;2.25\n"},
		{"semicolons and no number yet", "harvest.csv", "plant;biomass_g\n", "harvest plant=A2 biomass_g=2.25", "plant;biomass_g\nA2;2,25\n"},
		{"tabs and no number yet", "harvest.csv", "plant\tbiomass_g\n", "harvest plant=A2 biomass_g=2.25", "plant\tbiomass_g\nA2\t2.25\n"},
		{"a cell amid quotes and blanks", "harvest.csv", "\"plant\", remarks ,leaves,rooted\n\"A1\",\"said \"\"no\"\",\nlate\", 3 ,yes\n\n,,,\n", "harvest plant=A1 leaves=4", "\"plant\", remarks ,leaves,rooted\n\"A1\",\"said \"\"no\"\",\nlate\",4,yes\n\n,,,\n"},
		{"the same value in another writing stays", "harvest.csv", "plant;biomass_g\nA1;1,50\n", "harvest plant=A1 biomass_g=1.5", "plant;biomass_g\nA1;1,50\n"},
		{"a new column", "harvest.csv", "plant,leaves\nA1,3\nA2,5\n", "harvest plant=A2 rooted=yes", "plant,leaves,rooted\nA1,3,\nA2,5,yes\n"},
		{"a new column behind blank cells", "harvest.csv", "plant,leaves\nA1,3,\nA2,5\n", "harvest plant=A2 rooted=yes", "plant,leaves,rooted\nA1,3,\nA2,5,yes\n"},
		{"a sheet begun in the way of the layout", "harvest.csv", "", "harvest plant=A2 status=lost lost_on=2026-03-10 cause=rot", "plant,date,status,lost_on,cause\nA2,,lost,2026-03-10,rot\n"},
		{"a line of which nothing is left", "harvest.csv", "\ufeffplant;status;lost_on;cause\r\nA1;;;\r\n\"A2\";lost;2026-03-10;\"rot\"\r\nA3;lost;2026-03-11;\r\n", "harvest plant=A2 status= lost_on= cause=", "\ufeffplant;status;lost_on;cause\r\nA1;;;\r\nA3;lost;2026-03-11;\r\n"},
		{"the last line, without its end", "harvest.csv", "plant,status\nA1,lost\nA2,lost", "harvest plant=A2 status= cause=", "plant,status,cause\nA1,lost,\n"},
		{"a line with more in it", "harvest.csv", "plant,status,leave_out\nA2,lost,late\n", "harvest plant=A2 status=", "plant,status,leave_out\nA2,,late\n"},
		{"a line that was not there", "harvest.csv", "plant,status\nA1,lost\n", "harvest plant=A2 status= cause=", "plant,status\nA1,lost\n"},
		{"moves of one time", "moves.csv", "", "moves time=" + mar + " plant=A1 bin=upper row=2 column=2;moves time=" + mar + " plant=A2 bin=upper row=1 column=1", "time,plant,bin,row,column\n" + mar + ",A1,upper,2,2\n" + mar + ",A2,upper,1,1\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			var edits []edit
			if c.before != "" {
				edits = append(edits, edit{c.file, "", c.before})
			}
			dir := folder(t, edits...)
			write(t, dir, strings.Split(c.changes, ";")...)
			got, err := os.ReadFile(filepath.Join(dir, c.file))
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(c.after, string(got)); diff != "" {
				t.Errorf("-want +got:\n%s", diff)
			}
			if _, err := trial.Open(dir); err != nil {
				t.Error(err)
			}
		})
	}
}

// A sheet that is not there yet is written as the grower's others are.
func TestDraftBeginsASheetInTheGrowersWay(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	layout := "\ufeff" + strings.NewReplacer(",", ";", "\n", "\r\n").Replace(sound["layout.csv"])
	if err := os.WriteFile(filepath.Join(dir, "layout.csv"), []byte(layout), 0o600); err != nil {
		t.Fatal(err)
	}
	write(t, dir, "harvest plant=A1 biomass_g=2.5")
	got, err := os.ReadFile(filepath.Join(dir, "harvest.csv"))
	if want := "\ufeffplant;date;status;lost_on;cause;biomass_g\r\nA1;;;;;2,5\r\n"; err != nil || string(got) != want {
		t.Errorf("%v: %q, want %q", err, got, want)
	}
}

// What check would complain of is not made, and is told as check tells it.
func TestDraftRefusesWhatCheckWould(t *testing.T) {
	t.Parallel()
	for made, says := range map[string]string{
		"counts time=2026-03-10T12:00:00Z plant=A9 outcome=leaves value=3":               `no plant has the code "A9"`,
		"counts time=2026-03-10T12:00:00Z plant=A1 outcome=leaves value=2.5":             "counts are 0, 1, 2",
		"counts time=2026-03-10T12:00:00Z plant=A1 outcome=leaves value=many":            "is not a number",
		"counts time=2026-03-10T12:00:00Z plant=A1 outcome=length value=3":               `no outcome "length"`,
		"counts time=2027-03-10T12:00:00Z plant=A1 outcome=leaves value=3":               "lies outside the trial",
		"counts time=2026-03-10T12:00:00Z plant=A1 outcome=rooted value=perhaps":         "neither yes nor no",
		"harvest plant=A1 biomass_g=-1":                                                  "has no logarithm",
		"harvest plant=A1 biomass_g=0":                                                   "has no logarithm",
		"harvest plant=A1 biomass_g_again=3":                                             "a second biomass_g but no first",
		"harvest plant=A1 status=lost lost_on=2026-03-10 cause=frost":                    "the cause of plant A1 can't be",
		"harvest plant=A1 status=lost lost_on=2025-03-10":                                "lies outside the trial",
		"harvest plant=A1 colour=red":                                                    `knows no column "colour"`,
		"moves time=2026-03-10T12:00:00Z plant=A1 bin=upper row=1 column=2":              "stand at one place",
		"moves time=2026-03-10T12:00:00Z plant=A1 bin=upper row=9 column=2":              "off the grid",
		"moves time=2026-03-10T12:00:00Z plant=A1 bin=middle row=1 column=2":             `no bin "middle"`,
		"counts time=2026-03-10T12:00:00Z plant=A1 outcome=biomass_g value=1e999":        "too large",
		"counts time=2026-03-10T12:00:00Z plant=A1 outcome=leaves value=1\nx,A2,leaves,": "not a number",
	} {
		t.Run(made, func(t *testing.T) {
			t.Parallel()
			dir := folder(t)
			d, err := trial.NewDraft(dir)
			if err != nil {
				t.Fatal(err)
			}
			c := change(strings.SplitN(made, "\n", 2)[0])
			if _, more, ok := strings.Cut(made, "\n"); ok {
				c.Cells[3].Value += "\n" + more
			}
			_, _, err = d.Make(c)
			problem, ok := errors.AsType[trial.Problem](err)
			if !ok || !strings.Contains(problem.Says, says) || problem.Mend == "" {
				t.Errorf("got %v, want a problem that says %q", err, says)
			}
			// The draft is as before: a sound change is made, and nothing else.
			if _, _, err := d.Make(change("harvest plant=A1 leaves=3")); err != nil {
				t.Fatal(err)
			}
			if err := d.Write(); err != nil {
				t.Fatal(err)
			}
			if got, err := os.ReadFile(filepath.Join(dir, "harvest.csv")); err != nil || string(got) != "plant,date,status,lost_on,cause,leaves\nA1,,,,,3\n" {
				t.Errorf("%v: %q", err, got)
			}
			for _, file := range []string{"counts.csv", "moves.csv"} {
				if _, err := os.Stat(filepath.Join(dir, file)); err == nil {
					t.Errorf("%s was written", file)
				}
			}
		})
	}
}

func TestDraftTellsWhatStoodThereAndWhatFollows(t *testing.T) {
	t.Parallel()
	d, err := trial.NewDraft(folder(t, edit{"harvest.csv", "", "plant;biomass_g;status\nA1;1,50;lost\n"}))
	if err != nil {
		t.Fatal(err)
	}
	made, remarks, err := d.Make(change("harvest plant=A1 biomass_g=2.5"))
	if err != nil {
		t.Fatal(err)
	}
	want := []trial.Set{{Heading: "plant", Value: "A1"}, {Heading: "biomass_g", Value: "2.5", Before: "1,50"}}
	if diff := cmp.Diff(want, made[0].Cells, cmp.AllowUnexported(trial.Set{})); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
	if len(remarks) != 1 || !strings.Contains(remarks[0].Says, "the 2.5 here is not used") {
		t.Errorf("remarks %v", remarks)
	}
}

// Two plants change places: either move alone would put two at one place.
func TestDraftMakesAllOrNone(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	d, err := trial.NewDraft(dir)
	if err != nil {
		t.Fatal(err)
	}
	const at = "moves time=2026-03-10T12:00:00Z "
	there, back := change(at+"plant=A1 bin=upper row=1 column=2"), change(at+"plant=A2 bin=upper row=1 column=1")
	if _, _, err := d.Make(there, change("harvest plant=A9 leaves=2")); err == nil {
		t.Error("no error")
	}
	if _, _, err := d.Make(there, back); err != nil {
		t.Fatal(err)
	}
	if moves := d.Trial().Moves; len(moves) != 2 {
		t.Errorf("moves %v", moves)
	}
	if done, err := d.Again(there, back); !done || err != nil || len(d.Trial().Moves) != 2 {
		t.Errorf("again: %v %v %v", done, err, d.Trial().Moves)
	}
}

func TestDraftOfABrokenFolder(t *testing.T) {
	t.Parallel()
	_, err := trial.NewDraft(folder(t, edit{"harvest.csv", "", "plant,leaves\nA1,two\n"}))
	if !errors.Is(err, trial.ErrUnusable) || !strings.Contains(err.Error(), "harvest.csv:2:4") {
		t.Errorf("got %v", err)
	}
}

// Nothing is written over what somebody else has saved meanwhile, and nothing
// into a sheet that a spreadsheet program has open.
func TestDraftWaitsForOthers(t *testing.T) {
	t.Parallel()
	dir := folder(t, edit{"harvest.csv", "", "plant,leaves\nA1,3\n"})
	path := filepath.Join(dir, "harvest.csv")
	d, err := trial.NewDraft(dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := d.Make(change("harvest plant=A2 leaves=4")); err != nil {
		t.Fatal(err)
	}
	for _, mark := range []string{".~lock.harvest.csv#", "~$harvest.csv", "~$arvest.csv", "~$rvest.csv"} {
		mark := filepath.Join(dir, mark)
		if err := os.WriteFile(mark, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := d.Write(); !errors.Is(err, trial.ErrOpen) || !strings.Contains(err.Error(), filepath.Base(mark)) {
			t.Errorf("with %s: %v", filepath.Base(mark), err)
		}
		if err := os.Remove(mark); err != nil {
			t.Fatal(err)
		}
	}
	const saved = "plant,leaves\nA1,3\nA3,9\n"
	if err := os.WriteFile(path, []byte(saved), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := d.Write(); !errors.Is(err, trial.ErrChanged) {
		t.Errorf("over another's file: %v", err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if err := d.Write(); !errors.Is(err, trial.ErrChanged) {
		t.Errorf("where it was removed: %v", err)
	}
	fresh := folder(t)
	if d, err = trial.NewDraft(fresh); err != nil {
		t.Fatal(err)
	}
	if _, _, err := d.Make(change("harvest plant=A2 leaves=4")); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(fresh, "harvest.csv"), []byte(saved), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := d.Write(); !errors.Is(err, trial.ErrChanged) {
		t.Errorf("where another made it: %v", err)
	}
	left, err := filepath.Glob(filepath.Join(dir, "*"+atomicfile.Ending))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v %v", left, err)
	}
}

func TestDraftKeepsRightsAndLinks(t *testing.T) {
	t.Parallel()
	if runtime.GOOS == "windows" {
		t.Skip("no such rights here")
	}
	dir, elsewhere := folder(t), filepath.Join(t.TempDir(), "kept.csv")
	if err := os.WriteFile(elsewhere, []byte("plant,leaves\nA1,3\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(elsewhere, 0o664); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(elsewhere, filepath.Join(dir, "harvest.csv")); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(filepath.Join(dir, "trial.toml"), 0o640); err != nil {
		t.Fatal(err)
	}
	// A link that somebody laid where the draft is written leads nowhere.
	trap := filepath.Join(t.TempDir(), "trap")
	if err := os.Symlink(trap, filepath.Join(dir, "counts.csv"+atomicfile.Ending)); err != nil {
		t.Fatal(err)
	}
	write(t, dir, "harvest plant=A2 leaves=4", "counts time=2026-03-10T12:00:00Z plant=A1 outcome=leaves value=3")
	info, err := os.Stat(elsewhere)
	if err != nil || info.Mode().Perm() != 0o664 {
		t.Errorf("%v %v", info.Mode(), err)
	}
	if text, err := os.ReadFile(elsewhere); err != nil || string(text) != "plant,leaves\nA1,3\nA2,4\n" {
		t.Errorf("%v: %q", err, text)
	}
	if info, err := os.Stat(filepath.Join(dir, "counts.csv")); err != nil || info.Mode().Perm() != 0o640 {
		t.Errorf("a new sheet has not the rights of trial.toml: %v", err)
	}
	if _, err := os.Lstat(trap); err == nil {
		t.Error("a draft went through a link")
	}
}

// A change that was logged but perhaps not written is made once.
func TestDraftAgain(t *testing.T) {
	t.Parallel()
	set := trial.Change{Sheet: "harvest", Cells: []trial.Set{{Heading: "plant", Value: "A1"}, {Heading: "leaves", Value: "4", Before: "3"}}}
	count := change("counts time=2026-03-10T12:00:00Z plant=A1 outcome=leaves value=3")
	cleared := trial.Change{Sheet: "harvest", Cells: []trial.Set{{Heading: "plant", Value: "A1"}, {Heading: "status", Before: "lost"}}}
	for _, c := range []struct {
		name, file, before string
		change             trial.Change
		done               bool
		after              string
	}{
		{"not written", "harvest.csv", "plant,leaves\nA1,3\n", set, true, "plant,leaves\nA1,4\n"},
		{"written", "harvest.csv", "plant,leaves\nA1,4\n", set, true, "plant,leaves\nA1,4\n"},
		{"changed by hand since", "harvest.csv", "plant,leaves\nA1,7\n", set, false, "plant,leaves\nA1,7\n"},
		{"cleared with its line", "harvest.csv", "plant,status\nA2,lost\n", cleared, true, "plant,status\nA2,lost\n"},
		{"not cleared yet", "harvest.csv", "plant,status\nA1,lost\nA2,lost\n", cleared, true, "plant,status\nA2,lost\n"},
		{"no such line", "harvest.csv", "plant,leaves\nA2,7\n", set, true, "plant,leaves\nA2,7\nA1,4\n"},
		{"count not written", "counts.csv", "time,plant,outcome,value\n", count, true, "time,plant,outcome,value\n2026-03-10T12:00:00Z,A1,leaves,3\n"},
		{"count written", "counts.csv", "time,plant,outcome,value\n2026-03-10T12:00:00Z,A1,leaves,3\n", count, true, "time,plant,outcome,value\n2026-03-10T12:00:00Z,A1,leaves,3\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			dir := folder(t, edit{c.file, "", c.before})
			d, err := trial.NewDraft(dir)
			if err != nil {
				t.Fatal(err)
			}
			done, err := d.Again(c.change)
			if err != nil || done != c.done {
				t.Errorf("done %v, %v", done, err)
			}
			if err := d.Write(); err != nil {
				t.Fatal(err)
			}
			if got, err := os.ReadFile(filepath.Join(dir, c.file)); err != nil || string(got) != c.after {
				t.Errorf("%v: %q, want %q", err, got, c.after)
			}
		})
	}
}

// Of changes that follow one another, none, some or all may have been written.
func TestDraftAgainOfSeveral(t *testing.T) {
	t.Parallel()
	set := func(before, value string) trial.Change {
		return trial.Change{Sheet: "harvest", Cells: []trial.Set{{Heading: "plant", Value: "A1"}, {Heading: "leaves", Value: value, Before: before}}}
	}
	for stands, done := range map[string]bool{"": true, "3": true, "4": true, "5": true, "9": false} {
		dir := folder(t, edit{"harvest.csv", "", "plant,leaves\nA1," + stands + "\n"})
		d, err := trial.NewDraft(dir)
		if err != nil {
			t.Fatal(err)
		}
		rooted := change("harvest plant=A1 rooted=no")
		merged := trial.Merge([]trial.Change{set("", "3"), change("harvest plant=A2 leaves=1"), set("3", "4"), rooted, set("4", "5")})
		if len(merged) != 2 {
			t.Fatalf("%+v", merged)
		}
		if got, err := d.Again(merged...); got != done || err != nil {
			t.Errorf("with %q: %v %v", stands, got, err)
		}
		if err := d.Write(); err != nil {
			t.Fatal(err)
		}
		want := "plant,leaves,rooted\nA1,5,no\nA2,1,\n"
		if !done {
			want = "plant,leaves\nA1,9\n"
		}
		if got, err := os.ReadFile(filepath.Join(dir, "harvest.csv")); err != nil || string(got) != want {
			t.Errorf("with %q: %v %q", stands, err, got)
		}
	}
}

// In a workbook the other sheets, formats and formulas stay.
func TestDraftOfAWorkbook(t *testing.T) {
	t.Parallel()
	book := excelize.NewFile()
	defer func() { _ = book.Close() }()
	bold, err := book.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}, NumFmt: 49})
	if err != nil {
		t.Fatal(err)
	}
	for cell, v := range map[string]any{"A1": "plant", "B1": "leaves", "C1": "remarks", "A2": "A1", "B2": 3, "C2": "fine", "A4": "A2"} {
		if err := book.SetCellValue("Sheet1", cell, v); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(book.SetCellStyle("Sheet1", "A2", "A2", bold), book.SetCellFormula("Sheet1", "B4", "B2+1")); err != nil {
		t.Fatal(err)
	}
	if _, err := book.NewSheet("notes"); err != nil {
		t.Fatal(err)
	}
	if err := book.SetCellValue("notes", "B7", "mine"); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := book.Write(&b); err != nil {
		t.Fatal(err)
	}
	// The formula has no value yet: the sheet is refused as it stands.
	if _, err := trial.NewDraft(folder(t, edit{"harvest.xlsx", "", b.String()})); !errors.Is(err, trial.ErrUnusable) {
		t.Errorf("a formula without a value: %v", err)
	}
	if err := errors.Join(book.SetCellValue("Sheet1", "B4", 4)); err != nil {
		t.Fatal(err)
	}
	b.Reset()
	if err := book.Write(&b); err != nil {
		t.Fatal(err)
	}
	dir := folder(t, edit{"harvest.xlsx", "", b.String()})
	write(t, dir, "harvest plant=A4 status=lost cause=rot")
	write(t, dir, "harvest plant=A4 status= cause=", "harvest plant=A1 leaves=5", "harvest plant=A3 leaves=6 rooted=yes biomass_g=2.5", "harvest plant=A2 biomass_g=0.94")
	read, err := trial.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	for code, want := range map[string]map[string]float64{"A1": {"leaves": 5}, "A2": {"leaves": 4, "biomass_g": 0.94}, "A3": {"leaves": 6, "rooted": 1, "biomass_g": 2.5}} {
		p, _ := read.Plant(code)
		for outcome, x := range want {
			if p.Values[outcome].Value != x {
				t.Errorf("%s of %s is %v, want %v", outcome, code, p.Values[outcome].Value, x)
			}
		}
		if len(p.Values) != len(want) {
			t.Errorf("%s has %v", code, p.Values)
		}
	}
	if p, _ := read.Plant("A4"); p.HasHarvest {
		t.Error("A4 still has a line of the harvest")
	}
	after, err := excelize.OpenFile(filepath.Join(dir, "harvest.xlsx"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = after.Close() }()
	if v, err := after.GetCellValue("notes", "B7"); err != nil || v != "mine" {
		t.Errorf("the other sheet holds %q, %v", v, err)
	}
	if s, err := after.GetCellStyle("Sheet1", "A2"); err != nil || s != bold {
		t.Errorf("style %d, %v", s, err)
	}
	if kind, err := after.GetCellType("Sheet1", "B2"); err != nil || kind != excelize.CellTypeUnset && kind != excelize.CellTypeNumber {
		t.Errorf("a number is written as %v, %v", kind, err)
	}
}

// Whatever the sheet looks like: a change is there when it is read again, and
// nothing else has changed.
func FuzzDraft(f *testing.F) {
	f.Add("plant,leaves\nA1,3\n", "A2", "7")
	f.Add("\ufeffplant;date;biomass_g;leaves\r\nA1;2026-06-10;1,5;\r\n\"A2\";;\"2,5\";3\r\n;;;\r\n", "A2", "0")
	f.Add("plant\tleaves\tremarks\rA1\t3\t\"x \"\" y\"\r", "A1", "12")
	f.Add("leaves,plant,\n1,A1,\n,A2,,\n", "A1", "2")
	f.Fuzz(func(t *testing.T, text, code, leaves string) {
		dir := folder(t)
		if err := os.WriteFile(filepath.Join(dir, "harvest.csv"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		before, err := trial.Open(dir)
		if err != nil {
			t.Skip("no sound sheet")
		}
		d, err := trial.NewDraft(dir)
		if err != nil {
			t.Fatalf("a sound folder has no draft: %v", err)
		}
		c := trial.Change{Sheet: "harvest", Cells: []trial.Set{{Heading: "plant", Value: code}, {Heading: "leaves", Value: leaves}}}
		_, _, err = d.Make(c)
		if err == nil {
			err = d.Write()
		}
		after, broken := trial.Open(dir)
		if broken != nil {
			t.Fatalf("a sound folder is broken: %v", broken)
		}
		for i := range before.Plants {
			was, is := before.Plants[i], after.Plants[i]
			if err == nil && is.Code == code {
				if got := is.Values["leaves"].Value; is.Status == analysis.Harvested && strings.TrimSpace(leaves) != "" && !sameNumber(leaves, got) {
					t.Errorf("%q was entered and %v is there", leaves, got)
				}
				delete(was.Values, "leaves")
				delete(is.Values, "leaves")
				was.HasHarvest, was.Status = is.HasHarvest, is.Status
			}
			if len(was.Values) == 0 && len(is.Values) == 0 {
				was.Values, is.Values = nil, nil
			}
			if diff := cmp.Diff(was, is); diff != "" {
				t.Errorf("plant %s has changed:\n%s", was.Code, diff)
			}
		}
	})
}

// sameNumber tells whether a text is a number that was read so.
func sameNumber(text string, x float64) bool {
	y, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(text), ",", ".", 1), 64)
	return err == nil && x == y
}
