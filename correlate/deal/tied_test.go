package deal

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// tiedPlan is a rack of such bins and blocks with a treatment of whole bins.
func tiedPlan(bins, blocks []string, levels []string, only map[string][]string) Plan {
	p := Plan{Treatments: []Treatment{{Name: "light_level", Levels: levels, SetPer: PerBin, OnlyBins: only}}}
	for i, name := range bins {
		p.Bins = append(p.Bins, Bin{Name: name, Block: blocks[i], Cells: cellsOf(2, 2)})
		for k := range 3 {
			p.Plants = append(p.Plants, Plant{Code: fmt.Sprint(name, k), Start: math.NaN()})
		}
	}
	return p
}

// levelsOf are the levels that the bins got, in their order.
func levelsOf(p Plan, l *Layout) string {
	got := map[string]string{}
	for i, at := range l.Places {
		got[at.Bin] = p.Treatments[0].Levels[l.Labels[0][i]]
	}
	var list []string
	for _, b := range p.Bins {
		list = append(list, got[b.Name])
	}
	return strings.Join(list, " ")
}

// tiedDeals are racks, ties, and the deals that they leave.
var tiedDeals = map[string]struct {
	bins, blocks, levels []string
	only                 map[string][]string
	want                 []string
}{
	"one bin alone can be dim": {
		[]string{"north", "south", "east"},
		[]string{"", "", ""},
		[]string{"low", "high"},
		map[string][]string{"low": {"north"}},
		[]string{"low high high"},
	},
	"one can't": {
		[]string{"a", "b", "c", "d"},
		[]string{"", "", "", ""},
		[]string{"low", "high"},
		map[string][]string{"low": {"b", "c", "d"}},
		[]string{"high low low high", "high low high low", "high high low low"},
	},
	"within blocks": {
		[]string{"a", "b", "c", "d"},
		[]string{"x", "x", "y", "y"},
		[]string{"low", "high"},
		map[string][]string{"high": {"a", "c", "d"}},
		[]string{"high low low high", "high low high low"},
	},
	"more bins than an even deal has": {
		[]string{"a", "b", "c", "d"},
		[]string{"", "", "", ""},
		[]string{"low", "high"},
		map[string][]string{"low": {"a"}, "high": {"b", "c", "d"}},
		[]string{"low high high high"},
	},
}

// Levels go only to bins that can have them, every such deal alike often (against
// deals listed by hand; 3,000 deals of up to 4 kinds: five standard errors), and the
// re-dealing test's list is the same.
func TestTiedLevels(t *testing.T) {
	t.Parallel()
	for name, c := range tiedDeals {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := tiedPlan(c.bins, c.blocks, c.levels, c.only)
			const deals = 3000
			seen := map[string]int{}
			for seed := range uint64(deals) {
				l, err := Lay(p, seed)
				if err != nil {
					t.Fatal(err)
				}
				seen[levelsOf(p, l)]++
			}
			n := float64(len(c.want))
			for _, want := range c.want {
				if share := float64(seen[want]) / deals; math.Abs(share-1/n) > 5*math.Sqrt(1/n*(1-1/n)/deals) {
					t.Errorf("%q in %.4f of the deals, want %.4f", want, share, 1/n)
				}
			}
			if len(seen) != len(c.want) {
				t.Errorf("dealt %v", slices.Sorted(maps.Keys(seen)))
			}
			l, err := Lay(p, 1)
			if err != nil {
				t.Fatal(err)
			}
			text, err := json.Marshal(l.Record)
			if err != nil {
				t.Fatal(err)
			}
			var kept Record
			if err := json.Unmarshal(text, &kept); err != nil {
				t.Fatal(err)
			}
			units, _, level, _ := kept.Units("light_level")
			all, complete := units.All(100)
			var listed []string
			for _, cells := range all {
				var levels []string
				for _, cell := range cells {
					levels = append(levels, c.levels[level(cell)])
				}
				listed = append(listed, strings.Join(levels, " "))
			}
			slices.Sort(listed)
			slices.Sort(c.want)
			if !complete || !slices.Equal(listed, c.want) {
				t.Errorf("listed %q", listed)
			}
			if cut, complete := units.All(1); len(cut) != 1 || complete != (len(c.want) == 1) {
				t.Errorf("cut to %d, complete %v", len(cut), complete)
			}
		})
	}
}

// Without ties that bind, the ways are those of the procedure without ties.
func TestLooseTiesDealAsNone(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(7, 7))
	for range 20 {
		var bins, blocks []string
		for i := range 3 + rng.IntN(5) {
			bins, blocks = append(bins, fmt.Sprint("b", i)), append(blocks, fmt.Sprint("s", rng.IntN(2)))
		}
		levels := []string{"x", "y", "z"}[:2+rng.IntN(2)]
		list := func(only map[string][]string) []string {
			l, err := Lay(tiedPlan(bins, blocks, levels, only), 1)
			if err != nil {
				t.Fatal(err)
			}
			units, _, _, _ := l.Record.Units("light_level")
			all, _ := units.All(1e6)
			var texts []string
			for _, cells := range all {
				texts = append(texts, fmt.Sprint(cells))
			}
			slices.Sort(texts)
			return texts
		}
		if free, loose := list(nil), list(map[string][]string{"x": bins}); !slices.Equal(free, loose) {
			t.Errorf("%v in %v: %d deals, %d with ties that bind nothing", levels, blocks, len(free), len(loose))
		}
	}
}

// Two treatments of whole bins that are dealt together, one of them tied, on a rack
// that is larger than any of ours: within seconds.
func TestTiesOfTwoTreatments(t *testing.T) {
	t.Parallel()
	var bins, blocks []string
	for i := range 18 {
		bins, blocks = append(bins, fmt.Sprint("b", i)), append(blocks, fmt.Sprint("s", i/6))
	}
	p := tiedPlan(bins, blocks, []string{"low", "mid", "high"}, map[string][]string{"low": bins[:9], "high": bins[6:]})
	p.Treatments = append(p.Treatments, Treatment{Name: "feed", Levels: []string{"x", "y"}, SetPer: PerBin})
	l, err := Lay(p, 3)
	if err != nil {
		t.Fatal(err)
	}
	counts := map[string]int{}
	for i, bin := range strings.Fields(levelsOf(p, l)) {
		counts[bin]++
		if bin == "low" && i >= 9 || bin == "high" && i < 6 {
			t.Errorf("%s got %s", bins[i], bin)
		}
	}
	if counts["low"] != 6 || counts["mid"] != 6 || counts["high"] != 6 {
		t.Errorf("%v", counts)
	}
	if want := "low only to b0, b1"; !strings.Contains(l.Record.Procedure, want) {
		t.Errorf("%q is not said: %s", want, l.Record.Procedure)
	}
}

func TestTiesThatCantHold(t *testing.T) {
	t.Parallel()
	bins, blocks := []string{"a", "b", "c"}, []string{"", "", ""}
	for want, c := range map[string]struct {
		per  SetPer
		only map[string][]string
	}{
		`the bin "c" can have no level`: {PerBin, map[string][]string{"low": {"a"}, "high": {"b"}}},
		`a level "loww" that it does`:   {PerBin, map[string][]string{"loww": {"a"}}},
		`is set per plant`:              {PerPlant, map[string][]string{"low": {"a"}}},
		`no bin for the level "low"`:    {PerBin, map[string][]string{"low": {}}},
	} {
		p := tiedPlan(bins, blocks, []string{"low", "high"}, c.only)
		p.Treatments[0].SetPer = c.per
		if _, err := Lay(p, 1); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %s", err, want)
		}
	}
}

// Bins are exchanged only with bins that can have the same levels.
func TestAlike(t *testing.T) {
	t.Parallel()
	tr := Treatment{Levels: []string{"low", "high"}, OnlyBins: map[string][]string{"low": {"b", "d"}}}
	if got := tr.Alike([]string{"a", "b", "c", "d"}); !slices.Equal(got, []int{0, 1, 0, 1}) {
		t.Errorf("%v", got)
	}
}
