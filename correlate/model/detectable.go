package model

import (
	"math"

	"parstead/correlate/dist"
)

// fewestForPromise is the degrees of freedom of a standard error under which it is too
// badly known to say what it would have shown.
const fewestForPromise = 2

const power = 0.8

// Detectable is the smallest true difference that the pair's interval would show in
// four cases of five; NaN where that can't be said.
//
//	P(T > c) = 0.8,  T non-central t on ν with δ = difference/se
//	δ · se · (1 + 1.05/ν)
//
// ν is that of se; where slopes carry a part of it, that of the two parts of the
// half-width by their shares w of its square, 1/(w²/ν₁ + (1−w)²/ν₂), since the
// half-width decides (by the shares of se² too little is promised: shown in 75 %).
// c is half the interval's width in standard errors. The last factor makes up for se,
// which is itself estimated: promised from one trial's se, the difference is shown in
// 79 to 81 % of next trials at two to six levels and two degrees of freedom and more
// (TestPromisedDifferenceIsShown).
func (p Pair) Detectable() float64 {
	df := p.Freedom()
	if p.Carried != nil {
		df = p.widthDF
	}
	return p.detectable(p.Critical, df, p.shown)
}

// widthDF is the degrees of freedom of a half-width, squared, whose share w comes from
// the scatter.
func widthDF(w float64, e Estimate) float64 {
	return 1 / (w*w/e.DF + (1-w)*(1-w)/e.Carried.DF)
}

func (e Estimate) detectable(critical, df float64, s *shown) float64 {
	if !(critical > 0) || math.IsInf(critical, 1) || !(e.SE > 0) {
		return math.NaN()
	}
	if math.IsInf(df, 1) {
		return (critical + math.Sqrt2*math.Erfinv(2*power-1)) * e.SE
	}
	if !(df > fewestForPromise-1e-9) {
		return math.NaN()
	}
	return s.at(df, critical) * e.SE * (1 + 1.05/df)
}

// shown remembers the non-centrality that was found last: pairs of one family ask for
// the same. Nil remembers nothing.
type shown struct{ df, critical, delta float64 }

// at is the non-centrality δ at which T on df exceeds c in four cases of five.
func (s *shown) at(df, critical float64) float64 {
	if s == nil {
		s = &shown{}
	}
	if s.df != df || s.critical != critical {
		short := func(delta float64) float64 { return power - dist.NoncentralT{Nu: df, Delta: delta}.Survival(critical) }
		lo, hi := 0.0, critical+3
		first, last := short(lo), short(hi)
		for last > 0 {
			lo, first = hi, last
			hi *= 1.5
			last = short(hi)
		}
		*s = shown{df, critical, dist.Root(short, lo, first, hi, last, 1e-12)}
	}
	return s.delta
}
