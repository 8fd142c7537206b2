package model

import (
	"math"
	"slices"
)

// Means are the adjusted means of a family with all their comparisons.
type Means struct {
	Family
	Adjusted []Estimate // a cell each
	Letters  []string   // cells that share a letter were not shown to differ; "" in a family compared in parts
	Pairs    []Pair
}

// Pair is one comparison: cell A, the later, against cell B, the earlier.
type Pair struct {
	A, B     int     // into Family.Cells
	Estimate         // A − B
	P        float64 // over all pairs of the family
	CI95     [2]float64
	PSingle  float64 // of this pair alone
	Critical float64 // half the width of CI95 in standard errors
	widthDF  float64 // of CI95's half-width, where slopes carry a part of it
	shown    *shown
	// Eventless tells that one of the two has no event, or of yes/no answers that all are
	// alike on it: the estimate is ±Inf and so is one end of CI95; both ends are, and the
	// estimate is NaN, where neither level bounds it. The p of counts is exact then.
	Eventless bool
	TooFew    bool // no p and no interval: too few rows are left to measure the spread by
}

// Difference is a difference of two cells as a linear function of coefficients.
type Difference struct {
	A, B int // into Family.Cells
	W    []float64
}

// Compare gives a family's adjusted means and compares every pair of them, so
// that all comparisons hold at once. Letters follow p < 0.05. Pairs are in the
// order of A, then B; a pair without a standard error is left out, and it
// counts as not different.
//
// Where slopes adjusted the rows and these leave one degree of freedom, three
// means and more are not compared: no interval holds there.
func Compare(model Model, d *Design, family Family) (Means, error) {
	m := Means{Family: family}
	weights := make([][]float64, len(family.Cells))
	for i, cell := range family.Cells {
		weights[i] = d.Weights(cell...)
		m.Adjusted = append(m.Adjusted, model.Linear(weights[i]))
	}
	size := family.compared()
	if size < 2 {
		return m, nil
	}
	var differences []Difference
	for a := range family.Cells {
		for b := range a {
			if !family.together(family.Cells[a], family.Cells[b]) {
				continue
			}
			w := make([]float64, len(d.Columns))
			for j := range w {
				w[j] = weights[a][j] - weights[b][j]
			}
			differences = append(differences, Difference{a, b, w})
		}
	}
	var err error
	if m.Pairs, err = model.pairs(family, differences, size); err != nil {
		return m, err
	}
	if family.Within == 0 && !slices.ContainsFunc(m.Pairs, func(p Pair) bool { return p.TooFew }) {
		m.Letters = m.letters()
	}
	return m, nil
}

// tukey compares pairs by the studentized range of as many means as are
// compared with one another, on the degrees of freedom of the estimates.
//
//	p = P(Q ≥ √2 |d| / se),  d ± q₀.₉₅ se / √2
//
// Tukey (1953); Kramer (1956), Biometrics 12:307–310.
func tukey(linear func(w []float64) Estimate, list []Difference, means int) ([]Pair, error) {
	var q studentized
	var pairs []Pair
	for _, d := range list {
		if e := linear(d.W); e.OK() {
			pairs = append(pairs, q.pair(d.A, d.B, e, means))
		}
	}
	return pairs, nil
}

func (f *Fit) pairs(_ Family, list []Difference, means int) ([]Pair, error) {
	pairs, err := tukey(f.Linear, list, means)
	return f.carrier.refuse(pairs, means, f.DF), err
}

// refuse takes p and interval from pairs that no interval holds for.
func (c *carrier) refuse(pairs []Pair, means, df int) []Pair {
	if c == nil || means < 3 || df > 1 {
		return pairs
	}
	for i := range pairs {
		p := &pairs[i]
		p.P, p.PSingle, p.Critical, p.TooFew = math.NaN(), math.NaN(), math.NaN(), true
		p.CI95 = [2]float64{math.NaN(), math.NaN()}
	}
	return pairs
}

// compared is how many cells are compared with one another.
func (f Family) compared() int {
	if f.Within == 0 {
		return len(f.Cells)
	}
	n := 0
	for _, cell := range f.Cells {
		if f.together(cell, f.Cells[0]) {
			n++
		}
	}
	return n
}

// together tells whether two cells may be compared.
func (f Family) together(a, b []At) bool {
	for i := range f.Within {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// studentized keeps the studentized ranges for pairs of one family.
type studentized struct {
	own   critical
	two   twoPart
	q95   float64
	shown shown
}

// pair tests an estimated difference among the given number of means. Two
// means are compared by Student's t, which is the same.
func (s *studentized) pair(a, b int, e Estimate, groups int) Pair {
	p := Pair{A: a, B: b, Estimate: e, PSingle: e.P(), shown: &s.shown}
	switch {
	case groups == 2:
		p.P, p.Critical = p.PSingle, e.critical()
	case e.Carried != nil:
		two := s.two.of(groups, e)
		p.P, p.Critical = two.p(math.Abs(e.Value), e.Carried), two.half(0.05, e.Carried)/e.SE
	default:
		if s.own.means != groups || s.own.df != e.DF {
			s.q95 = s.own.of(groups, e.DF).r.InverseSurvival(0.05)
		}
		p.P, p.Critical = s.own.r.Survival(math.Sqrt2*math.Abs(e.Value)/e.SE), s.q95/math.Sqrt2
	}
	if e.Carried != nil {
		w := s.two.of(groups, e).scatter.point(0.05) * e.Carried.Scatter / (p.Critical * e.SE)
		p.widthDF = widthDF(w*w, e)
	}
	p.CI95 = e.within(p.Critical)
	return p
}

func (m Means) letters() []string {
	means := make([]float64, len(m.Adjusted))
	for i, e := range m.Adjusted {
		means[i] = e.Value
	}
	differ := make([][2]int, 0, len(m.Pairs))
	for _, p := range m.Pairs {
		if p.P < 0.05 {
			differ = append(differ, [2]int{p.A, p.B})
		}
	}
	return Letters(means, differ)
}
