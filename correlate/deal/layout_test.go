package deal

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func cellsOf(rows, columns int) []Cell {
	var cells []Cell
	for r := range rows {
		for c := range columns {
			cells = append(cells, Cell{r + 1, c + 1, math.NaN(), false})
		}
	}
	return cells
}

// random is a plan with everything in it.
func random(rng *rand.Rand) Plan {
	p := Plan{}
	room := 0
	for b := range 2 + rng.IntN(5) {
		bin := Bin{
			Name: fmt.Sprint("bin", b), Block: fmt.Sprint("shelf", b/2), Reservoir: fmt.Sprint("tank", b%2),
			Cells: cellsOf(3+rng.IntN(5), 3+rng.IntN(5)),
		}
		if rng.IntN(2) == 0 {
			for i := range bin.Cells {
				bin.Cells[i].Light = rng.Float64()
			}
		}
		bin.Cells[rng.IntN(len(bin.Cells))].Sensor = true
		room += len(bin.Cells)
		p.Bins = append(p.Bins, bin)
	}
	for i := range room - rng.IntN(room/3) {
		plant := Plant{Code: fmt.Sprint("p", i), Group: fmt.Sprint("species", rng.IntN(2)), Start: rng.ExpFloat64()}
		plant.Guard = i%7 == 0
		p.Plants = append(p.Plants, plant)
	}
	p.Treatments = []Treatment{
		{"medium", []string{"a", "b", "c"}, PerPlant, nil},
		{"spray", []string{"no", "yes"}, PerPlant, nil},
		{"lamp", []string{"low", "high"}, PerBin, nil},
		{"feed", []string{"x", "y"}, PerReservoir, nil},
	}
	return p
}

func TestLayoutKeepsItsConstraints(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 2))
	for seed := range uint64(60) {
		p := random(rng)
		l, err := Lay(p, seed)
		if err != nil {
			t.Fatal(err)
		}
		taken := map[Place]bool{}
		type tally map[string][]int
		counts := map[string]tally{"bin": {}, "block": {}, "all": {}}
		binOf := map[string]Bin{}
		for _, b := range p.Bins {
			binOf[b.Name] = b
		}
		for i, at := range l.Places {
			bin := binOf[at.Bin]
			if taken[at] || !slices.ContainsFunc(bin.Cells, func(c Cell) bool { return c.Row == at.Row && c.Column == at.Column }) {
				t.Fatalf("seed %d: plant %d at %v", seed, i, at)
			}
			taken[at] = true
			if p.Plants[i].Guard {
				if l.Labels[0][i] != -1 || l.Labels[1][i] != -1 {
					t.Fatalf("seed %d: a guard got a treatment", seed)
				}
				continue
			}
			cell := l.Labels[0][i]*2 + l.Labels[1][i]
			for kind, key := range map[string]string{"bin": at.Bin, "block": bin.Block, "all": ""} {
				key = p.Plants[i].Group + " " + key
				if counts[kind][key] == nil {
					counts[kind][key] = make([]int, 6)
				}
				counts[kind][key][cell]++
			}
			for j := range i {
				if l.Places[j].Bin == at.Bin && l.Labels[2][j] != l.Labels[2][i] {
					t.Fatalf("seed %d: bin %s has two lamp levels", seed, at.Bin)
				}
				if binOf[l.Places[j].Bin].Reservoir == bin.Reservoir && l.Labels[3][j] != l.Labels[3][i] {
					t.Fatalf("seed %d: reservoir %s has two feeds", seed, bin.Reservoir)
				}
			}
		}
		if !strings.Contains(l.Record.Procedure, "every combination of medium and spray") {
			t.Logf("seed %d: dealt one by one", seed)
			continue
		}
		for kind, tallies := range counts {
			for key, n := range tallies {
				if slices.Max(n)-slices.Min(n) > 1 {
					t.Fatalf("seed %d: %s %s holds %v of the cells", seed, kind, key, n)
				}
			}
		}
	}
}

// The procedure is worded for what was dealt.
func TestProcedureNamesWhatWasDealt(t *testing.T) {
	t.Parallel()
	medium, spray := Treatment{"medium", []string{"a", "b"}, PerPlant, nil}, Treatment{"spray", []string{"c", "d"}, PerPlant, nil}
	for _, c := range []struct {
		treatments []Treatment
		want       string
	}{
		{[]Treatment{medium}, "within a set every level of medium fell on one plant"},
		{[]Treatment{medium, spray}, "within a set every combination of medium and spray fell on one plant"},
	} {
		p := Plan{Treatments: c.treatments, Bins: []Bin{{Name: "upper", Cells: cellsOf(4, 4)}}}
		for i := range 16 {
			p.Plants = append(p.Plants, Plant{Code: fmt.Sprint(i), Start: float64(i)})
		}
		l, err := Lay(p, 1)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(l.Record.Procedure, c.want) {
			t.Errorf("%q lacks %q", l.Record.Procedure, c.want)
		}
	}
}

// Guards take the corners, sensors' cells stay free, sizes are spread alike
// over bins and treatments.
func TestLayoutSpreadsSizesAndKeepsCornersForGuards(t *testing.T) {
	t.Parallel()
	p := Plan{Treatments: []Treatment{{"medium", []string{"a", "b", "c", "d"}, PerPlant, nil}}}
	for b := range 3 {
		bin := Bin{Name: fmt.Sprint(b), Cells: cellsOf(5, 5)}
		bin.Cells[12].Sensor = true
		p.Bins = append(p.Bins, bin)
	}
	for i := range 72 {
		p.Plants = append(p.Plants, Plant{Code: fmt.Sprint(i), Start: float64(i), Guard: i >= 60})
	}
	l, err := Lay(p, 9)
	if err != nil {
		t.Fatal(err)
	}
	mean := map[string]float64{}
	for i, at := range l.Places {
		corner := (at.Row == 1 || at.Row == 5) && (at.Column == 1 || at.Column == 5)
		if corner != p.Plants[i].Guard {
			t.Errorf("plant %d (guard %v) at %v", i, p.Plants[i].Guard, at)
		}
		if at.Row == 3 && at.Column == 3 {
			t.Errorf("plant %d stands on the sensor", i)
		}
		if !p.Plants[i].Guard {
			mean["bin "+at.Bin] += p.Plants[i].Start / 20
			mean[fmt.Sprint("level ", l.Labels[0][i])] += p.Plants[i].Start / 15
		}
	}
	for of, m := range mean {
		if math.Abs(m-29.5) > 4 { // at random: standard deviation about 3.9 to 4.5
			t.Errorf("%s: mean rank of size %.1f, over all 29.5", of, m)
		}
	}
	if want := "around the rim"; !strings.Contains(l.Record.Procedure, want) {
		t.Errorf("procedure %q does not say %q", l.Record.Procedure, want)
	}
}

func TestRecordReadsBack(t *testing.T) {
	t.Parallel()
	p := random(rand.New(rand.NewPCG(3, 3)))
	l, err := Lay(p, 77)
	if err != nil {
		t.Fatal(err)
	}
	again, err := Lay(p, 77)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(l, again); diff != "" {
		t.Errorf("the same seed dealt differently: %s", diff)
	}
	written, err := json.Marshal(l.Record)
	if err != nil {
		t.Fatal(err)
	}
	var read Record
	if err := json.Unmarshal(written, &read); err != nil {
		t.Fatal(err)
	}
	codes := make([]string, len(p.Plants))
	for i := range codes {
		codes[i] = p.Plants[i].Code
	}
	deal := func(r Record) [][]int {
		re := r.Redeal(codes)
		labels := [][]int{slices.Repeat([]int{-1}, len(codes)), slices.Repeat([]int{-1}, len(codes))}
		re.Clone().Deal(rand.New(rand.NewPCG(8, 8)), labels)
		return labels
	}
	if diff := cmp.Diff(deal(l.Record), deal(read)); diff != "" {
		t.Errorf("the record does not read back: %s", diff)
	}
	if _, names, level, ok := read.Units("feed"); !ok || len(names) != 2 || level(1) != 1 {
		t.Errorf("units of feed: %v, %v", names, ok)
	}
	if _, _, _, ok := read.Units("medium"); ok {
		t.Error("medium was dealt to whole units")
	}
}

func TestImpossiblePlans(t *testing.T) {
	t.Parallel()
	bins := []Bin{{Name: "b", Cells: cellsOf(1, 2)}}
	for want, p := range map[string]Plan{
		"no plants":                {Bins: bins},
		"3 plants do not fit on 2": {Bins: bins, Plants: []Plant{{Code: "1"}, {Code: "2"}, {Code: "3"}}},
		`"1" is listed twice`:      {Bins: bins, Plants: []Plant{{Code: "1"}, {Code: "1"}}},
		"fewer than two levels":    {Bins: bins, Plants: []Plant{{Code: "1"}}, Treatments: []Treatment{{"m", []string{"a"}, PerPlant, nil}}},
		`bin "b" names none`:       {Bins: bins, Plants: []Plant{{Code: "1"}}, Treatments: []Treatment{{"m", []string{"a", "b"}, PerReservoir, nil}}},
	} {
		if _, err := Lay(p, 1); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %s", err, want)
		}
	}
}
