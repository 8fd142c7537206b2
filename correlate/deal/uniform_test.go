package deal

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

const deals = 10_000

// evenly demands that every allowed deal came up, no other did, and that the
// counts are those of a uniform draw: Pearson's chi-square over the enumerated
// deals, at 1 in 1,000 for a fixed seed.
func evenly(t *testing.T, allowed map[string]bool, drawn map[string]int) {
	t.Helper()
	expected := float64(deals) / float64(len(allowed))
	if expected < 5 {
		t.Fatalf("%d allowed deals are too many for the test", len(allowed))
	}
	var chi2 float64
	for d, n := range drawn {
		if !allowed[d] {
			t.Fatalf("dealt %s, which the constraints forbid", d)
		}
		chi2 += float64(n * n)
	}
	chi2 = chi2/expected - deals
	p := distuv.ChiSquared{K: float64(len(allowed) - 1)}.Survival(chi2)
	t.Logf("%d allowed deals, chi-square %.1f, p %.3f", len(allowed), chi2, p)
	if p < 0.001 {
		t.Errorf("not uniform: chi-square %.1f on %d degrees of freedom, p %.2g", chi2, len(allowed)-1, p)
	}
}

// permutations calls visit with every order of 0..n-1.
func permutations(n int, visit func([]int)) {
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	var from func(int)
	from = func(i int) {
		if i == n {
			visit(order)
			return
		}
		for j := i; j < n; j++ {
			order[i], order[j] = order[j], order[i]
			from(i + 1)
			order[i], order[j] = order[j], order[i]
		}
	}
	from(0)
}

func labellings(n, levels int, visit func([]int)) {
	labels := make([]int, n)
	for {
		visit(labels)
		i := 0
		for ; i < n; i++ {
			if labels[i]++; labels[i] < levels {
				break
			}
			labels[i] = 0
		}
		if i == n {
			return
		}
	}
}

// Six plants on two bins of three lit positions, two levels. What is allowed
// is written out anew from the package's comment: the two smallest plants stand
// at the dimmest position of either bin (the shorter sets), the next two share
// a bin, so do the largest two; a pair gets both levels, and so do the two
// smallest.
func TestLayoutIsUniformOverTheAllowedDeals(t *testing.T) {
	t.Parallel()
	p := Plan{Treatments: []Treatment{{Name: "medium", Levels: []string{"coir", "bark"}, SetPer: PerPlant}}}
	for _, name := range []string{"upper", "lower"} {
		p.Bins = append(p.Bins, Bin{Name: name, Cells: []Cell{{1, 1, 0.9, false}, {1, 2, 1.0, false}, {1, 3, 1.1, false}}})
	}
	for i := range 6 {
		p.Plants = append(p.Plants, Plant{Code: fmt.Sprint(i), Start: float64(i)})
	}
	allowed := map[string]bool{}
	permutations(6, func(cell []int) { // cell[plant] = 3·bin + position
		bin := func(plant int) int { return cell[plant] / 3 }
		if cell[0]%3 != 0 || cell[1]%3 != 0 || bin(2) != bin(3) || bin(4) != bin(5) {
			return
		}
		labellings(6, 2, func(label []int) {
			if label[0] != label[1] && label[2] != label[3] && label[4] != label[5] {
				allowed[fmt.Sprint(cell, label)] = true
			}
		})
	})
	drawn := map[string]int{}
	for seed := range uint64(deals) {
		l, err := Lay(p, seed)
		if err != nil {
			t.Fatal(err)
		}
		cell := make([]int, 6)
		for i, at := range l.Places {
			cell[i] = at.Column - 1
			if at.Bin == "lower" {
				cell[i] += 3
			}
		}
		drawn[fmt.Sprint(cell, l.Labels[0])]++
	}
	evenly(t, allowed, drawn)
}

// Bins of two plants under three levels, in blocks: only shorter sets.
func TestLabelsAreUniformOverTheAllowedDeals(t *testing.T) {
	t.Parallel()
	kept := Record{
		Treatments: []Treatment{{Name: "medium", Levels: []string{"a", "b", "c"}, SetPer: PerPlant}},
		Decks: []DeckKept{{Treatments: []string{"medium"}, Groups: []GroupKept{{Bins: []BinKept{
			{Bin: "1", Block: "x", Rest: []string{"0", "1"}},
			{Bin: "2", Block: "x", Rest: []string{"2", "3"}},
			{Bin: "3", Block: "y", Rest: []string{"4", "5"}},
			{Bin: "4", Block: "y", Rest: []string{"6", "7"}},
		}}}}},
	}
	even := func(labels []int) bool {
		counts := make([]int, 3)
		for _, l := range labels {
			counts[l]++
		}
		return slices.Max(counts)-slices.Min(counts) <= 1
	}
	allowed := map[string]bool{}
	labellings(8, 3, func(l []int) {
		if l[0] != l[1] && l[2] != l[3] && l[4] != l[5] && l[6] != l[7] && even(l[:4]) && even(l[4:]) && even(l) {
			allowed[fmt.Sprint(l)] = true
		}
	})
	redeal := kept.Redeal([]string{"0", "1", "2", "3", "4", "5", "6", "7"})
	rng := rand.New(rand.NewPCG(4, 4))
	labels := [][]int{make([]int, 8)}
	drawn := map[string]int{}
	for range deals {
		redeal.Deal(rng, labels)
		drawn[fmt.Sprint(labels[0])]++
	}
	evenly(t, allowed, drawn)
}

// Three light levels over three shelves of two bins: incomplete blocks.
func TestWholeBinsAreUniformOverTheAllowedDeals(t *testing.T) {
	t.Parallel()
	kept := DeckKept{Treatments: []string{"light_level"}}
	for i, shelf := range []string{"1", "1", "2", "2", "3", "3"} {
		kept.Units = append(kept.Units, UnitKept{Name: fmt.Sprint(i), Block: shelf})
	}
	units := kept.unitDeal([]Treatment{{Name: "light_level", Levels: []string{"low", "mid", "high"}, SetPer: PerBin}})
	allowed := map[string]bool{}
	labellings(6, 3, func(l []int) {
		counts := make([]int, 3)
		for _, x := range l {
			counts[x]++
		}
		if l[0] != l[1] && l[2] != l[3] && l[4] != l[5] && slices.Max(counts) == 2 {
			allowed[fmt.Sprint(l)] = true
		}
	})
	all, complete := units.All(9999)
	if !complete || len(all) != len(allowed) {
		t.Errorf("listed %d deals, complete %v, want %d", len(all), complete, len(allowed))
	}
	for _, d := range all {
		if !allowed[fmt.Sprint(d)] {
			t.Errorf("listed %v", d)
		}
	}
	rng := rand.New(rand.NewPCG(6, 6))
	drawn := map[string]int{}
	for range deals {
		drawn[fmt.Sprint(units.Deal(rng))]++
	}
	evenly(t, allowed, drawn)
	if some, complete := units.All(10); complete || len(some) != 10 {
		t.Errorf("a limit of 10 gave %d, complete %v", len(some), complete)
	}
}

// The number of ways to fill rows with different cells is counted by brute
// force, beside the count that the draw rests on.
func TestExtrasCountTheWays(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		k     int
		sizes []int
		left  []int
	}{
		{3, []int{2, 2, 2}, []int{2, 2, 2}},
		{4, []int{1, 3, 2}, []int{2, 2, 1, 1}},
		{5, []int{4, 3, 2, 1}, []int{2, 2, 2, 2, 2}},
	} {
		want := 0
		var fill func(row int, left []int)
		fill = func(row int, left []int) {
			if row == len(c.sizes) {
				want++
				return
			}
			for mask := range 1 << c.k {
				rest := slices.Clone(left)
				n := 0
				for cell := range c.k {
					if mask>>cell&1 == 1 {
						rest[cell]--
						n++
					}
				}
				if n == c.sizes[row] && slices.Min(rest) >= 0 {
					fill(row+1, rest)
				}
			}
		}
		fill(0, c.left)
		if got := newExtras(c.k, c.sizes).count(0, c.left); got != float64(want) {
			t.Errorf("%v from %v: %v ways, want %d", c.sizes, c.left, got, want)
		}
	}
}

func TestNaNStartsAreDealtAtRandom(t *testing.T) {
	t.Parallel()
	p := Plan{
		Bins:       []Bin{{Name: "only", Cells: cellsOf(1, 4)}},
		Treatments: []Treatment{{Name: "m", Levels: []string{"a", "b"}, SetPer: PerPlant}},
	}
	for i := range 4 {
		p.Plants = append(p.Plants, Plant{Code: fmt.Sprint(i), Start: math.NaN()})
	}
	first := map[int]int{}
	for seed := range uint64(400) {
		l, err := Lay(p, seed)
		if err != nil {
			t.Fatal(err)
		}
		first[l.Places[0].Column]++
	}
	for c := 1; c <= 4; c++ {
		if first[c] < 60 { // expected 100, standard deviation 8.7
			t.Errorf("the first plant got column %d %d times in 400", c, first[c])
		}
	}
}
