package demo

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
	"parstead/light"
)

func writeFolder(t *testing.T, w *World) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "demo")
	if err := w.WriteFolder(dir); err != nil {
		t.Fatal(err)
	}
	return dir
}

// What the files say is what the world says of itself.
func TestFolderIsTheRack(t *testing.T) {
	t.Parallel()
	for _, c := range []Config{{Seed: 4}, {Seed: 4, Days: MinDays}, {Seed: 4, Quiet: true}} {
		w := newWorld(t, c)
		read, problems := trial.Load(writeFolder(t, w))
		for _, p := range problems {
			if p.Level == trial.LevelError {
				t.Errorf("%+v: %s", c, p)
			}
		}
		if read == nil {
			t.FailNow()
		}
		got, want := read.Rack, w.Rack
		got.Zone, want.Zone = nil, nil                                                             // the same zone, loaded twice
		if d := cmp.Diff(want, got, cmpopts.IgnoreFields(light.SurveyReading{}, "Row")); d != "" { // a world has no sheets
			t.Errorf("%+v: the folder describes another rack (- world, + folder):\n%s", c, d)
		}
		for i, f := range read.Feeds {
			p := w.probes[i]
			if f.Topic != p.Topic || f.Value != p.Pointer || f.Time != p.TimePointer {
				t.Errorf("%s: feed %q %q %q, sensor publishes %q %q %q", p.Name,
					f.Topic, f.Value, f.Time, p.Topic, p.Pointer, p.TimePointer)
			}
		}
	}
}

// The sheets hold the truth, but for the three mistakes of the grower.
func TestSheetsAreTheTruth(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Config{Seed: 6})
	read, _ := trial.Load(writeFolder(t, w))
	if read == nil {
		t.Fatal("the folder can't be read")
	}
	byCode := map[string]*Plant{}
	for i := range w.Plants {
		byCode[w.Plants[i].Code] = &w.Plants[i]
	}
	labels := w.Truth.Labels
	byCode[labels[0]], byCode[labels[1]] = byCode[labels[1]], byCode[labels[0]]
	if len(read.Plants) != len(w.Plants) {
		t.Fatalf("%d plants in the folder, %d in the world", len(read.Plants), len(w.Plants))
	}
	lost := 0
	for i := range read.Plants {
		got, p := &read.Plants[i], &w.Plants[i]
		if got.Code != p.Code || got.Place != p.Dealt || got.Guard != p.Guard() {
			t.Fatalf("plant %d: %s at %s, want %s at %s", i, got.Code, got.Place, p.Code, p.Dealt)
		}
		if d := cmp.Diff(until(p.stays, w.Rack.Day(got.Date).Until), got.Stays); d != "" {
			t.Errorf("%s: stays (- world, + folder):\n%s", p.Code, d)
		}
		if p.Lost() {
			lost++
			if got.Status != analysis.Lost || got.LostOn != p.LostOn || got.Cause != p.Cause {
				t.Errorf("%s: %s on %s by %q, want lost on %s by %q", p.Code, got.Status, got.LostOn, got.Cause, p.LostOn, p.Cause)
			}
			continue
		}
		if p.Guard() {
			continue
		}
		found := byCode[p.Code]
		want := found.BiomassG
		if p.Code == w.Truth.Typed {
			want = round(10*want, 0.01)
		}
		if cell := got.Values["biomass_g"]; cell.Value != want {
			t.Errorf("%s: %v g, want %v", p.Code, cell.Value, want)
		}
		if p.Species == Streptocarpus && got.Values["plantlets"].Value != float64(found.Plantlets) {
			t.Errorf("%s: %v plantlets, want %d", p.Code, got.Values["plantlets"].Value, found.Plantlets)
		}
		if p.Leaves[1] > 0 && got.Values["leaves"].Value != float64(p.Leaves[1]) {
			t.Errorf("%s: %v leaves, want %d", p.Code, got.Values["leaves"].Value, p.Leaves[1])
		}
	}
	if lost != RotSphagnum+RotElsewhere+1 {
		t.Errorf("%d plants lost, want 14", lost)
	}
}

// until cuts a plant's stays at the end of its last light day.
func until(stays []light.Stay, end time.Time) []light.Stay {
	var cut []light.Stay
	for _, s := range stays {
		if part, ok := s.During.Within(light.Span{Until: end}); ok {
			cut = append(cut, light.Stay{Position: s.Position, During: part})
		}
	}
	return cut
}

func TestOneSeedOneFolder(t *testing.T) {
	t.Parallel()
	a, b := writeFolder(t, newWorld(t, Config{Seed: 8})), writeFolder(t, newWorld(t, Config{Seed: 8}))
	for _, name := range []string{"trial.toml", "plants.csv", "layout.csv", "survey.csv", "counts.csv", "moves.csv", "harvest.csv"} {
		one, err := os.ReadFile(filepath.Join(a, name))
		if err != nil {
			t.Fatal(err)
		}
		two, err := os.ReadFile(filepath.Join(b, name))
		if err != nil {
			t.Fatal(err)
		}
		if string(one) != string(two) {
			t.Errorf("%s differs between two worlds of one seed", name)
		}
	}
}

// A folder is written once: what is there is never written over.
func TestFolderKeepsWhatIsThere(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	mine := filepath.Join(dir, "harvest.csv")
	if err := os.WriteFile(mine, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := newWorld(t, Config{Days: MinDays}).WriteFolder(dir); err == nil {
		t.Error("wrote over a file")
	}
	if text, _ := os.ReadFile(mine); string(text) != "mine" {
		t.Errorf("the file now holds %q", text)
	}
}

// The scenario: half of every bin's positions are read twice on three of four
// walks, and a repeat differs by the meter's noise of 6 %.
func TestSurveySheet(t *testing.T) {
	t.Parallel()
	dir := writeFolder(t, newWorld(t, Config{Seed: 4}))
	text, err := os.ReadFile(filepath.Join(dir, "survey.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	blank, twice := 0, map[string][]float64{}
	for _, row := range rows[1:] {
		if row[0] == "" {
			blank++
			continue
		}
		v, err := strconv.ParseFloat(row[4], 64)
		if err != nil {
			t.Fatal(err)
		}
		key := strings.Join(append([]string{row[0][:10]}, row[1:4]...), " ")
		twice[key] = append(twice[key], v)
	}
	cells := 6*56 + 40
	if want := cells - 2; blank != want {
		t.Errorf("%d readings without a time of their own, want %d", blank, want)
	}
	var sum, n float64
	for _, v := range twice {
		if len(v) == 2 {
			d := (v[0] - v[1]) / (v[0] + v[1]) * 2
			sum, n = sum+d*d/2, n+1
		}
	}
	if want := 3 * float64(cells) / 2; n != want {
		t.Errorf("%v positions were read twice, want %v", n, want)
	}
	// The standard error of the variance is its √(2/n).
	if got := sum / n; got < 0.06*0.06*0.8 || got > 0.06*0.06*1.2 {
		t.Errorf("repeats differ by a variance of %.5f, want 0.0036", got)
	}
}
