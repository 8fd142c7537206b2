package report

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"parstead/correlate/several"
)

// twoTrials are the small trial twice, the second with other values.
func twoTrials(tb testing.TB) []several.Trial {
	tb.Helper()
	list := make([]several.Trial, 2)
	for k := range list {
		r := trial(tb)
		for i := range r.Input.Plants {
			r.Input.Plants[i] = fmt.Sprint(k, r.Input.Plants[i])
		}
		for i, v := range r.Input.Outcomes[0].Values {
			r.Input.Outcomes[0].Values[i] = v * (1 + 0.03*float64(k*(i%5)))
		}
		r = analysed(tb, r)
		list[k] = several.Trial{
			Name: []string{"spring", "autumn & later"}[k], Folder: fmt.Sprint(k), Days: 90, Window: "the whole trial", WindowDays: 90,
			Input: r.Input, Result: r.Result,
		}
	}
	return list
}

// Each picture shows what the comparison holds: every trial and both means, in
// the drawing's words and in its table, to the last digit.
func TestComparedPictures(t *testing.T) {
	t.Parallel()
	trials := twoTrials(t)
	c, err := several.Compare(trials)
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "new", "pictures")
	if err := WriteCompared(dir, c); err != nil {
		t.Fatal(err)
	}
	want := map[string]bool{} // rows of tables
	for _, e := range c.Comparisons {
		for _, in := range e.Trials {
			value := in.Value()
			low, high := ends(in.CI95.Closed())
			want[strings.Join([]string{e.Treatment, e.A, e.B, in.Trial, exactOf(value), low, high, in.Verdict}, "|")] = true
		}
		if p := e.Pooled; p != nil {
			low, high := ends(p.TrialsLikeThese.CI95)
			value := p.TrialsLikeThese.Value()
			want[strings.Join([]string{e.Treatment, e.A, e.B, "trials like these", exactOf(value), low, high, ""}, "|")] = true
		}
	}
	for _, s := range c.Light {
		for _, in := range s.Trials {
			low, high := ends(in.CI95)
			want[strings.Join([]string{"", "", "", in.Trial, exactOf(in.Slope.Slope), low, high, ""}, "|")] = true
		}
	}
	if len(want) < 10 {
		t.Fatalf("only %d rows to show", len(want))
	}
	files, err := filepath.Glob(filepath.Join(dir, "*.csv"))
	if err != nil || len(files) < 3 {
		t.Fatalf("%d pictures, %v", len(files), err)
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(strings.NewReader(string(text))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range rows[1:] {
			delete(want, strings.Join(row, "|"))
		}
		stem := strings.TrimSuffix(file, ".csv")
		drawing, err := os.ReadFile(stem + ".svg")
		if err != nil {
			t.Fatal(err)
		}
		words := wellFormed(t, stem, drawing)
		for _, name := range []string{"spring", "autumn & later", "dashed"} {
			if !strings.Contains(words, name) {
				t.Errorf("%s does not name %s", stem, name)
			}
		}
		if info, err := os.Stat(stem + ".png"); err != nil || info.Size() < 5000 {
			t.Errorf("%s.png: %v", stem, err)
		}
	}
	for row := range want {
		t.Errorf("in no picture: %s", row)
	}
}

func TestComparedPicturesOfNothing(t *testing.T) {
	t.Parallel()
	trials := twoTrials(t)
	for i := range trials[1].Result.Outcomes {
		trials[1].Result.Outcomes[i].Comparisons, trials[1].Result.Outcomes[i].Light = nil, nil
	}
	c, err := several.Compare(trials)
	if err != nil {
		t.Fatal(err)
	}
	if err := WriteCompared(t.TempDir(), c); err == nil || !strings.Contains(err.Error(), "nothing to draw") {
		t.Errorf("%v", err)
	}
}
