package correlate

import (
	"fmt"
	"strings"
	"testing"

	"parstead/correlate/analysis"
)

// Multinomial coefficients by hand: six bins on three levels of two can be dealt in
// 6!/(2!)³ = 90 ways, of which 3! only change the names of levels; eight on two levels
// of four in 70, two of which are alike; four on levels of one and three in 4.
func TestDealsThatComeToTheSame(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		labels       []int
		deals, alike float64
		tooFew       bool
	}{
		{[]int{0, 0, 1, 1, 2, 2}, 90, 6, true},
		{[]int{0, 1, 0, 1, 0, 1, 0, 1}, 70, 2, false},
		{[]int{0, 1, 1, 1}, 4, 1, true},
		{[]int{0, 0, 1, 1, 1, 1, 1}, 21, 1, false},
	} {
		var all [][]int
		arrangements(c.labels, func(d []int) { all = append(all, d) })
		w := listed(all, c.labels)
		if w != (ways{c.deals, c.alike}) || w.tooFew() != c.tooFew {
			t.Errorf("%v: %v, too few %v", c.labels, w, w.tooFew())
		}
	}
}

// arrangements calls visit with every ordering, alike ones too.
func arrangements(labels []int, visit func([]int)) {
	var with func(rest, done []int)
	with = func(rest, done []int) {
		if len(rest) == 0 {
			visit(append([]int(nil), done...))
			return
		}
		for i, l := range rest {
			with(append(append([]int(nil), rest[:i]...), rest[i+1:]...), append(append([]int(nil), done...), l))
		}
	}
	with(labels, nil)
}

// Three plants against three: 20 deals, two of which come to the same, can give no p
// under 0.1, so that none is given and nothing is said to speak against the difference.
// Four against four can.
func TestAFewPlantsAreNotDealtAnew(t *testing.T) {
	t.Parallel()
	for each, given := range map[int]bool{3: false, 4: true} {
		in := &Input{Table: true}
		f := Factor{Name: "medium", Levels: []string{"bark", "coir"}}
		o := Outcome{Name: "mass_g", Kind: Measure, Scale: Natural}
		for i := range 2 * each {
			in.Plants = append(in.Plants, fmt.Sprint("p", i))
			f.Codes = append(f.Codes, i%2)
			o.Values = append(o.Values, 10+float64(i%3)/10+5*float64(i%2))
		}
		in.Treatments, in.Outcomes = []Treatment{{Factor: f, SetPer: PerPlant}}, []Outcome{o}
		r := result(t, in, Options{Seed: 1})
		e := analysis.Find(r.Outcomes[0].Effects, analysis.TreatmentTerm(0))
		if e.P == nil || *e.P > 0.001 || (e.PRedealt != nil) != given {
			t.Errorf("%d a level: %+v", each, e)
		}
		says := fmt.Sprint(r.Answer, r.Outcomes[0].Findings, r.Outcomes[0].Checks)
		if strings.Contains(says, "bear out") || strings.Contains(says, "other side of 0.05") {
			t.Error(says)
		}
		if !given && !strings.Contains(says, "of only 20 ways to do so 2 come to the same") {
			t.Error(says)
		}
	}
}
