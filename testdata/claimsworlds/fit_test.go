//go:build worlds

package claimsworlds

import (
	"math"
	"slices"
)

// fit is one pooled regression over many trials: identity, log or logit link,
// with the hidden nuisance as offset where the estimand holds the bin.
type fit struct {
	rows    [][]float64
	y, off  []float64
	trial   []int
	scale   Scale
	terms   []string
	count   bool
	dropped int
	levels  map[string][]string // by term, from the first trial
}

// nuisances are held by the hidden offset and not by columns.
var nuisances = []string{"bin", "shelf", "mother"}

func column(t Trial, name string, truly bool) *Column {
	if truly {
		if c := Find(t.Hidden, name+"_true"); c != nil {
			return c
		}
	}
	if c := Find(t.Table, name); c != nil {
		return c
	}
	return Find(t.Hidden, name)
}

// assemble lays out the regression that estimates e without bias.
func assemble(trials []Trial, e Estimand) *fit {
	f := &fit{scale: e.Scale, levels: map[string][]string{}}
	truly := e.On == AllPlants
	f.terms = []string{e.Factor}
	offset := false
	for _, h := range e.Held {
		if slices.Contains(nuisances, h) {
			offset = true
		} else if h != e.WhereColumn {
			f.terms = append(f.terms, h)
		}
	}
	if slices.Contains(e.Held, "bin") {
		for _, b := range trials[0].Roles.BinTreatments {
			if !slices.Contains(f.terms, b) {
				f.terms = append(f.terms, b)
			}
		}
	}
	o := outcomeOf(trials[0], e.Outcome)
	f.count = o.Kind == "count"
	for k, t := range trials {
		f.addTrial(t, k, e, o, truly, offset)
	}
	return f
}

func outcomeOf(t Trial, name string) Outcome {
	for _, o := range t.Roles.Outcomes {
		if o.Name == name {
			return o
		}
	}
	panic("no outcome " + name)
}

func (f *fit) addTrial(t Trial, k int, e Estimand, o Outcome, truly, offset bool) {
	y := Find(t.Hidden, o.Name+"_all").Numbers
	if !truly {
		y = Find(t.Table, o.Name).Numbers
	}
	nuisance := Find(t.Hidden, o.Name+"_nuisance")
	where := Find(t.Table, e.WhereColumn)
	for i := range y {
		if math.IsNaN(y[i]) || where != nil && where.Labels[i] != e.WhereLevel {
			continue
		}
		row := []float64{1}
		for _, term := range f.terms {
			row = append(row, f.code(t, term, i, truly)...)
		}
		if slices.ContainsFunc(row, math.IsNaN) {
			f.dropped++
			continue
		}
		v, off := y[i], 0.0
		if o.Log {
			v = math.Log(v)
		}
		if offset && nuisance != nil {
			off = nuisance.Numbers[i]
		}
		f.rows, f.y, f.off, f.trial = append(f.rows, row), append(f.y, v), append(f.off, off), append(f.trial, k)
	}
}

// code turns a term into numbers: dummies of labels, centred light, products.
func (f *fit) code(t Trial, term string, i int, truly bool) []float64 {
	if term == "light×medium" {
		l := f.code(t, "light", i, truly)[0]
		out := []float64{l}
		for _, d := range f.code(t, "medium", i, truly) {
			out = append(out, l*d)
		}
		return out
	}
	c := column(t, term, truly)
	if c == nil {
		panic("no column " + term)
	}
	if c.Labels == nil {
		if term == "light" || term == "light_true" {
			return []float64{c.Numbers[i] - meanLight}
		}
		return []float64{c.Numbers[i]}
	}
	levels := f.levels[term]
	if levels == nil {
		levels = levelsOf(c.Labels)
		f.levels[term] = levels
	}
	if !slices.Contains(levels, c.Labels[i]) {
		panic("a level is missing from the first trial: " + c.Labels[i])
	}
	out := make([]float64, len(levels)-1)
	if k := slices.Index(levels, c.Labels[i]); k > 0 {
		out[k-1] = 1
	}
	// A level that never has an event has no finite coefficient.
	if f.scale != Difference && neverEvents[c.Labels[i]] && (term == "hormone") {
		out = append(out[:0], math.NaN())
	}
	if term == "hormone" && f.hasNever(levels) && len(out) > 1 {
		out = out[1:] // "none" is gone, so the next level is the base
	}
	return out
}

// neverEvents are labels of levels truly at zero, set by the test per world.
var neverEvents = map[string]bool{}

func (f *fit) hasNever(levels []string) bool {
	return slices.ContainsFunc(levels, func(l string) bool { return neverEvents[l] })
}

func levelsOf(labels []string) []string {
	out := slices.Clone(labels)
	slices.Sort(out)
	out = slices.Compact(out)
	if k := slices.Index(out, "none"); k > 0 {
		out = slices.Insert(slices.Delete(out, k, k+1), 0, "none")
	}
	return out
}

// link gives the mean and its slope at a linear predictor.
func (f *fit) link(eta float64) (mean, slope float64) {
	switch {
	case f.scale == LogOdds:
		p := expit(eta)
		return p, p * (1 - p)
	case f.scale == LogRatio && f.count:
		m := math.Exp(eta)
		return m, m
	}
	return eta, 1
}

// solve runs Newton's method and the sandwich clustered by trial.
func (f *fit) solve() (beta []float64, cov [][]float64) {
	p := len(f.rows[0])
	beta = make([]float64, p)
	var bread [][]float64
	for range 25 {
		info, score := square(p), make([]float64, p)
		for r, x := range f.rows {
			m, w := f.link(dot(x, beta) + f.off[r])
			for i := range x {
				score[i] += x[i] * (f.y[r] - m)
				for j := range x {
					info[i][j] += w * x[i] * x[j]
				}
			}
		}
		bread = inverse(info)
		biggest := 0.0
		for i := range beta {
			d := dot(bread[i], score)
			beta[i] += d
			biggest = math.Max(biggest, math.Abs(d))
		}
		if biggest < 1e-9 {
			break
		}
	}
	return beta, f.sandwich(beta, bread)
}

func (f *fit) sandwich(beta []float64, bread [][]float64) [][]float64 {
	p := len(beta)
	meat := square(p)
	for start := 0; start < len(f.rows); {
		score := make([]float64, p)
		r := start
		for ; r < len(f.rows) && f.trial[r] == f.trial[start]; r++ {
			m, _ := f.link(dot(f.rows[r], beta) + f.off[r])
			for i, x := range f.rows[r] {
				score[i] += x * (f.y[r] - m)
			}
		}
		for i := range score {
			for j := range score {
				meat[i][j] += score[i] * score[j]
			}
		}
		start = r
	}
	return times(times(bread, meat), bread)
}
