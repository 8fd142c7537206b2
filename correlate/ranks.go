package correlate

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"

	"parstead/correlate/analysis"
)

// correlations are the rank correlations of every two outcomes within
// treatments, for each value of analyse_by.
func (in question) correlations(levels []int) []Correlation {
	var list []Correlation
	for _, level := range levels {
		for a := range in.Outcomes {
			for b := a + 1; b < len(in.Outcomes); b++ {
				if c, ok := in.correlate(&in.Outcomes[a], &in.Outcomes[b], level); ok {
					list = append(list, c)
				}
			}
		}
	}
	return list
}

// correlate ranks both outcomes among the plants that share all treatments,
// takes each cell's mean rank off and correlates what is left over all cells.
// Ranks are in units of the cell's size plus one, so that cells weigh by their
// number of plants.
//
// One rank mean a cell is lost: m = n − cells + 1 plants stand for the test
// (Student's t of rho on m − 2 degrees of freedom) and for the interval
// tanh(artanh rho ± z √((1 + rho²/2)/(m − 3))).
//
// Bonett, Wright (2000), Psychometrika 65:23–28, for the interval's width.
func (in question) correlate(a, b *Outcome, level int) (Correlation, bool) {
	cells := map[string][]int{}
	var order []string
	n := 0
	for i := range in.Plants {
		if !in.among(a, level, i) || !in.among(b, level, i) || math.IsNaN(a.Values[i]) || math.IsNaN(b.Values[i]) ||
			in.Status != nil && in.Status[i] != Harvested || in.LeaveOut != nil && in.LeaveOut[i] != "" {
			continue
		}
		key := make([]byte, 0, 2*len(in.Treatments))
		for _, t := range in.Treatments {
			key = append(key, byte(t.Codes[i]), byte(t.Codes[i]>>8))
		}
		if cells[string(key)] == nil {
			order = append(order, string(key))
		}
		cells[string(key)] = append(cells[string(key)], i)
		n++
	}
	c := Correlation{A: a.Name, B: b.Name, N: n}
	if in.By != nil {
		c.Of = map[string]string{in.By.Name: in.By.Levels[level]}
	}
	var sab, saa, sbb float64
	for _, key := range order {
		rows := cells[key]
		ra, rb := centredRanks(pick(a.Values, rows)), centredRanks(pick(b.Values, rows))
		for k := range rows {
			sab += ra[k] * rb[k]
			saa += ra[k] * ra[k]
			sbb += rb[k] * rb[k]
		}
	}
	if n == 0 {
		return c, false
	}
	if !(saa > 0 && sbb > 0) {
		return c, true // nothing varies within treatments: no rho
	}
	rho := max(-1, min(1, sab/math.Sqrt(saa*sbb)))
	c.Rho = analysis.Known(rho)
	m := float64(n - len(order) + 1)
	if m > 3 && math.Abs(rho) < 1 {
		half := 1.959963984540054 * math.Sqrt((1+rho*rho/2)/(m-3))
		c.CI95 = &[2]float64{math.Tanh(math.Atanh(rho) - half), math.Tanh(math.Atanh(rho) + half)}
		// P(|T| ≥ t) with t² = rho² (m − 2)/(1 − rho²): the incomplete beta of 1 − rho².
		c.P = analysis.Known(mathext.RegIncBeta((m-2)/2, 0.5, 1-rho*rho))
	}
	return c, true
}

// centredRanks are the values' ranks less their mean, ties sharing theirs, over
// the number of values plus one.
func centredRanks(x []float64) []float64 {
	order := make([]int, len(x))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(x[i], x[j]) })
	ranks := make([]float64, len(x))
	mean := float64(len(x)-1) / 2
	for from := 0; from < len(order); {
		to := from
		for to < len(order) && x[order[to]] == x[order[from]] {
			to++
		}
		for _, i := range order[from:to] {
			ranks[i] = (float64(from+to-1)/2 - mean) / float64(len(x)+1)
		}
		from = to
	}
	return ranks
}
