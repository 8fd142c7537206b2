package model

import (
	"math"

	"parstead/correlate/dist"
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
func Compare(model Model, d *Design, family Family) (Means, error) {
	m := Means{Family: family}
	weights := make([][]float64, len(family.Cells))
	for i, cell := range family.Cells {
		weights[i] = d.Weights(cell...)
		m.Adjusted = append(m.Adjusted, model.Linear(weights[i]))
	}
	size := len(family.Cells)
	if family.Within > 0 {
		size = 0
		for _, cell := range family.Cells {
			if family.together(cell, family.Cells[0]) {
				size++
			}
		}
	}
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
	if m.Pairs, err = model.pairs(differences, size); err != nil {
		return m, err
	}
	if family.Within == 0 {
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

func (f *Fit) pairs(list []Difference, means int) ([]Pair, error) {
	return tukey(f.Linear, list, means)
}

func (f *CountFit) pairs(list []Difference, means int) ([]Pair, error) {
	return tukey(f.Linear, list, means)
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

// studentized keeps one studentized range for pairs of one family.
type studentized struct {
	r      *dist.StudentizedRange
	df     float64
	q95    float64
	groups int
}

// pair tests an estimated difference among the given number of means. Two
// means are compared by Student's t, which is the same.
func (s *studentized) pair(a, b int, e Estimate, groups int) Pair {
	p := Pair{A: a, B: b, Estimate: e, PSingle: e.P()}
	if groups == 2 {
		p.P, p.CI95 = p.PSingle, e.CI95()
		return p
	}
	if s.r == nil || s.df != e.DF || s.groups != groups {
		s.r, s.df, s.groups = dist.NewStudentizedRange(groups, e.DF), e.DF, groups
		s.q95 = s.r.InverseSurvival(0.05)
	}
	p.P = s.r.Survival(math.Sqrt2 * math.Abs(e.Value) / e.SE)
	p.CI95 = e.within(s.q95 / math.Sqrt2)
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
