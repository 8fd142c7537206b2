package account

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"parstead/light/field"
)

// What is thought of walks under the sun before they are seen. Chosen on simulated
// windowsills and glasshouses, judged on others (light/account, the tests with the tag
// worlds), not published.
const (
	walkNoise     = 0.15 // that only one walk saw: standard deviation of the logarithm,
	noiseWorth    = 1.0  // and of how many places that is worth the readings
	hourReach     = 3.0  // hours over which what an hour does to a place is alike
	hourDoubt     = 2.0  // log evidence that hours must gain to be taken in
	hourWalks     = 4    // walks from which on they may: three lie on a bend as well as on a slope
	patternPlaces = 4.0  // places that the sun lights independently of one another: a slope each way and two edges
	rounds        = 40   // of finding the walks' noises by one another; they hardly move after 20
)

// hourSpreads are the standard deviations that what an hour does may have.
var hourSpreads = []float64{0, 0.1, 0.2, 0.4, 0.8}

// weighed are walks under the sun and how far each is believed. The logarithm of a
// place's ratio, as one of them shows it, is taken as
//
//	y = m + u(hour) + e,  u ~ N(0, σ² C),  e ~ N(0, s²)
//
// with the place's own m, what an hour of the clock does to it on every day, and what
// only that walk saw: a bar's shadow, a cloud between two readings. Levels of walks are free, and each walk's s
// is its own, so that those which agree count, as they do on dull days, and one that
// the others know nothing of hardly does. The s and σ are the likeliest by
// the restricted likelihood of all places and what is thought of them before. For universal kriging see
// Cressie 1993, Statistics for Spatial Data, section 3.4 (from memory).
type weighed struct {
	clock   []float64     // hours, by walk
	sums    *mat.SymDense // mean products of walks' centred logarithms
	square  []float64     // s², by walk
	hour    float64       // σ
	inverse mat.SymDense  // of V = σ² C + diag(s²)
	shares  []float64     // of each walk in m, 1ᵀV⁻¹ over
	all     float64       // its sum
	log     float64       // evidence
}

// weigh finds how far each of the walks is believed.
func weigh(made []field.Map, clock []float64) *weighed {
	sums := productsOf(made)
	var best *weighed
	for _, spread := range hourSpreads {
		if spread > 0 && len(made) < hourWalks {
			break
		}
		w := &weighed{clock: clock, sums: sums, hour: spread, square: make([]float64, len(made)), shares: make([]float64, len(made))}
		for k := range w.square {
			w.square[k] = walkNoise * walkNoise
		}
		w.settle()
		for range rounds {
			w.believe()
			w.settle()
		}
		if spread > 0 {
			w.log -= hourDoubt
		}
		if best == nil || w.log > best.log {
			best = w
		}
	}
	return best
}

// productsOf are the mean products of two walks' logarithms about their means, over the
// places that all of them know.
func productsOf(made []field.Map) *mat.SymDense {
	y := make([][]float64, len(made))
	for p := range made[0].Ratio {
		if slices.ContainsFunc(made, func(m field.Map) bool { return math.IsNaN(m.Ratio[p]) }) {
			continue
		}
		for k, m := range made {
			y[k] = append(y[k], math.Log(m.Ratio[p]))
		}
	}
	sums := mat.NewSymDense(len(made), nil)
	n := float64(len(y[0]))
	if n == 0 {
		return sums
	}
	for k := range y {
		floats.AddConst(-floats.Sum(y[k])/n, y[k])
		for l := range k + 1 {
			sums.SetSym(l, k, floats.Dot(y[k], y[l])/n)
		}
	}
	return sums
}

// believe finds each walk's noise anew by what it is expected to have been beside the
// others, as it stands: a step of the EM algorithm, with noiseWorth places more of walkNoise.
func (w *weighed) believe() {
	n := len(w.square)
	p := mat.NewDense(n, n, nil)
	for k := range n {
		for l := range n {
			p.Set(k, l, w.inverse.At(k, l)-w.shares[k]*w.shares[l]*w.all)
		}
	}
	var psp mat.Dense
	psp.Product(p, w.sums, p)
	for k, s := range w.square {
		seen := s + s*s*(psp.At(k, k)-p.At(k, k))
		w.square[k] = (patternPlaces*seen + noiseWorth*walkNoise*walkNoise) / (patternPlaces + noiseWorth)
	}
}

// settle works out the shares and the evidence of the noises as they stand.
func (w *weighed) settle() {
	n := len(w.square)
	v := mat.NewSymDense(n, nil)
	w.log = 0
	for k, s := range w.square {
		for l := k; l < n; l++ {
			v.SetSym(k, l, w.hour*w.hour*likeHour(w.clock[k]-w.clock[l]))
		}
		v.SetSym(k, k, v.At(k, k)+s)
		w.log -= noiseWorth / 2 * (math.Log(s) + walkNoise*walkNoise/s)
	}
	var c mat.Cholesky
	if !c.Factorize(v) || c.InverseTo(&w.inverse) != nil {
		panic("account: walks without a noise of their own")
	}
	for k := range w.shares {
		w.shares[k] = 0
		for l := range n {
			w.shares[k] += w.inverse.At(k, l)
		}
	}
	w.all = floats.Sum(w.shares)
	floats.Scale(1/w.all, w.shares)
	off := 0.0
	for k := range n {
		for l := range n {
			off += (w.inverse.At(k, l) - w.shares[k]*w.shares[l]*w.all) * w.sums.At(k, l)
		}
	}
	w.log -= patternPlaces / 2 * (c.LogDet() + math.Log(w.all) + off)
}

// likeHour is the correlation of what two hours do to a place.
func likeHour(apart float64) float64 {
	x := apart / hourReach
	return math.Exp(-x * x / 2)
}

// at is the logarithm of place p's ratio at an hour of the clock.
func (w *weighed) at(made []field.Map, p int, hour float64) (log float64) {
	for k, m := range made {
		log += w.shares[k] * math.Log(m.Ratio[p])
	}
	if w.hour == 0 {
		return log
	}
	mean := log
	for k := range made {
		near := w.hour * w.hour * likeHour(hour-w.clock[k])
		for l, m := range made {
			log += near * w.inverse.At(k, l) * (math.Log(m.Ratio[p]) - mean)
		}
	}
	return log
}
