package field

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"parstead/light"
)

// grid is a bin's places by light.Bin.Index, row by row.
type grid struct {
	rows, columns           int
	pitchRows, pitchColumns float64 // cm
}

// pitchNotSaid is the distance of places in cm where the trial does not say (common
// practice, no source).
const pitchNotSaid = 6

func gridOf(bin light.Bin) grid {
	g := grid{bin.Rows, bin.Columns, bin.PitchRows, bin.PitchColumns}
	if g.pitchRows <= 0 || g.pitchColumns <= 0 {
		g.pitchRows, g.pitchColumns = pitchNotSaid, pitchNotSaid
	}
	return g
}

func (g grid) places() int    { return g.rows * g.columns }
func (g grid) width() float64 { return float64(g.columns) * g.pitchColumns }
func (g grid) depth() float64 { return float64(g.rows) * g.pitchRows }

// correlation is that of all pairs of places where it depends only on how far
// two lie apart along columns and along rows, in cm.
func (g grid) correlation(at func(x, y float64) float64) *mat.SymDense {
	apart := make([]float64, g.places()) // by rows and columns between two places
	for i := range apart {
		apart[i] = at(float64(i%g.columns)*g.pitchColumns, float64(i/g.columns)*g.pitchRows)
	}
	k := mat.NewSymDense(g.places(), nil)
	raw := k.RawSymmetric()
	for i := range g.places() {
		row := raw.Data[i*raw.Stride:]
		for j := i; j < g.places(); j++ {
			row[j] = apart[(j/g.columns-i/g.columns)*g.columns+abs(j%g.columns-i%g.columns)]
		}
	}
	return k
}

func abs(x int) int { return max(x, -x) }

// bowl is the fall-off from the middle to the edges, −(u² + v²) with u and v from
// −1 to 1 across the bin, less its mean and over its standard deviation; nothing
// in a bin of one place.
func (g grid) bowl() []float64 {
	b := make([]float64, g.places())
	for i := range b {
		u := float64(2*(i%g.columns)+1-g.columns) / float64(g.columns)
		v := float64(2*(i/g.columns)+1-g.rows) / float64(g.rows)
		b[i] = -(u*u + v*v)
	}
	floats.AddConst(-floats.Sum(b)/float64(len(b)), b)
	if sd := floats.Norm(b, 2) / math.Sqrt(float64(len(b))); sd > alike {
		floats.Scale(1/sd, b)
	} else {
		clear(b)
	}
	return b
}

// alike is the spread within which numbers differ by rounding only.
const alike = 1e-9

// centred takes a covariance about the mean over all places and scales it to a
// mean variance of 1; nothing where all places are one.
func centred(k *mat.SymDense) *mat.SymDense {
	n := k.SymmetricDim()
	ones, means := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
	for i := range n {
		ones.SetVec(i, 1/float64(n))
	}
	means.MulVec(k, ones)
	m := means.RawVector().Data
	all := floats.Sum(m) / float64(n)
	c := mat.NewSymDense(n, nil)
	from, to := k.RawSymmetric(), c.RawSymmetric()
	trace := 0.0
	for i := range n {
		for j := i; j < n; j++ {
			to.Data[i*to.Stride+j] = from.Data[i*from.Stride+j] - m[i] - m[j] + all
		}
		trace += to.Data[i*to.Stride+i] / float64(n)
	}
	if trace < alike {
		return mat.NewSymDense(n, nil)
	}
	c.ScaleSym(1/trace, c)
	return c
}

// matern is the Matérn correlation of order 5/2 at a distance over its range,
// twice differentiable, as a lamp's light on a floor is smooth:
//
//	ρ(h) = (1 + a + a²/3) exp(−a),  a = √5 h
//
// Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, eq. 4.17
// (from memory).
func matern(h float64) float64 {
	a := math.Sqrt(5) * h
	return (1 + a + a*a/3) * math.Exp(-a)
}
