package model

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Spread is a standard deviation with its 95 % interval.
type Spread struct {
	SD   float64
	CI95 [2]float64
	DF   float64
}

// PlantSpread is how plants of one model spread.
//
//	s² = RSS/ν,  ν s²/χ²
func (f *Fit) PlantSpread() (s Spread, ok bool) {
	if f.Exact || f.DF < 1 {
		return Spread{}, false
	}
	chi := distuv.ChiSquared{K: float64(f.DF)}
	s = Spread{SD: f.SD(), DF: float64(f.DF)}
	for i, p := range []float64{0.975, 0.025} {
		s.CI95[i] = math.Sqrt(f.RSS / chi.Quantile(p))
	}
	return s, true
}

// BinSpread is how far bins differ by themselves, block and the treatments of whole
// units taken into account: t are the terms of the fit. It is found from the bins'
// adjusted means m, whose covariance the plants make is s² C.
//
//	MS = mᵀ M m/ν,  c = tr(M C)/ν,  σ² = max(0, MS − c s²)
//
// M takes off what block and treatments of whole units explain among bins. In balanced
// trials these are the classical components of variance. The interval is
//
//	ν (MS − c s² F₍.₉₇₅₎)/χ²₍.₉₇₅₎ to ν (MS − c s² F₍.₀₂₅₎)/χ²₍.₀₂₅₎
//
// OK is false where no bin is left to judge by.
//
// Searle, Casella, McCulloch (1992), Variance Components, chapter 5, for expected
// mean squares; Williams (1962), Biometrika 49:278–281, for the interval (both from
// memory).
func (f *Fit) BinSpread(t Terms) (s Spread, ok bool) {
	d := f.Design
	if d.bin < 0 || f.Exact || f.DF < 1 {
		return Spread{}, false
	}
	bins := d.Factors[d.bin]
	u := wholeUnits(bins, t)
	over := Terms{Block: u.block()}
	for _, tr := range t.Treatments {
		if tr.SetPer != PerPlant {
			over.Treatments = append(over.Treatments, Treatment{u.pick(tr.Factor), PerPlant})
		}
	}
	between, err := NewDesign(len(bins.Levels), over)
	if err != nil {
		return Spread{}, false
	}
	means, g := make([]float64, len(bins.Levels)), make([][]float64, len(bins.Levels))
	for b := range means {
		w := d.Weights(At{d.bin, b})
		means[b], g[b] = f.Linear(w).Value, f.basis.solveT(w)
	}
	m, err := between.Fit(means)
	if err != nil || m.DF < 1 {
		return Spread{}, false
	}
	trace := 0.0
	for _, own := range g {
		trace += dot(own, own)
	}
	for _, q := range m.basis.q {
		sum := make([]float64, len(g[0]))
		for b, own := range g {
			for k, v := range own {
				sum[k] += q[b] * v
			}
		}
		trace -= dot(sum, sum)
	}
	df := float64(m.DF)
	plants := trace / df * f.MeanSquare()
	s = Spread{SD: math.Sqrt(max(0, m.RSS/df-plants)), DF: df}
	chi, ratio := distuv.ChiSquared{K: df}, distuv.F{D1: df, D2: float64(f.DF)}
	for i, p := range []float64{0.975, 0.025} {
		s.CI95[i] = math.Sqrt(max(0, m.RSS-df*plants*ratio.Quantile(p)) / chi.Quantile(p))
	}
	return s, true
}
