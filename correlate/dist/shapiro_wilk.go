package dist

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Errors of ShapiroWilk.
var (
	ErrSampleSize = errors.New("the normality test needs 3 to 5000 values")
	ErrConstant   = errors.New("the normality test needs values that differ")
)

// ShapiroWilk tests whether a sample comes from a normal distribution.
//
//	W = (Σ aᵢ x₍ᵢ₎)² / Σ (xᵢ − x̄)²
//
// The weights a are approximated from the expected normal order statistics
// Φ⁻¹((i − 3/8)/(n + 1/4)), and p, the chance of a smaller W, from a normal
// distribution fitted to a function of ln(1 − W); exactly for n = 3.
//
// Errors: ErrSampleSize, ErrConstant (also where the spread is lost in rounding:
// range below 1e-10 of the largest size). A value that is not finite panics.
//
// Reference: Royston (1995). Applied Statistics 44:547–551 (algorithm AS R94).
// The coefficients of its polynomials are checked by what R 4.2.2 gives, not
// against the printed page.
func ShapiroWilk(sample []float64) (w, p float64, err error) {
	n := len(sample)
	if n < 3 || n > 5000 {
		return 0, 0, ErrSampleSize
	}
	x := slices.Clone(sample)
	slices.Sort(x)
	span := x[n-1] - x[0]
	if !(math.Abs(x[0]) <= math.MaxFloat64/4 && math.Abs(x[n-1]) <= math.MaxFloat64/4) {
		panic("dist: the normality test needs finite values")
	}
	if span <= 1e-10*math.Max(math.Abs(x[0]), math.Abs(x[n-1])) {
		return 0, 0, ErrConstant
	}
	a := shapiroWeights(n)
	mean, middle := 0.0, x[0]/2+x[n-1]/2
	for i := range x {
		x[i] = (x[i] - middle) / span
		mean += x[i] / float64(n)
	}
	// With both sides normed, 1 − W is a sum of squares: no cancellation near 1.
	var sxx, saa, sax float64
	for i, v := range x {
		sxx += (v - mean) * (v - mean)
		saa += a[i] * a[i]
		sax += a[i] * (v - mean)
	}
	root := math.Sqrt(sxx * saa)
	oneMinus := (root - sax) * (root + sax) / (sxx * saa)
	w = 1 - oneMinus
	return w, shapiroP(w, oneMinus, n), nil
}

// shapiroWeights are the antisymmetric weights a of n ordered values.
func shapiroWeights(n int) []float64 {
	a := make([]float64, n)
	if n == 3 {
		a[0], a[2] = -math.Sqrt(0.5), math.Sqrt(0.5)
		return a
	}
	size := float64(n)
	half := n / 2
	m := make([]float64, half) // of the smaller half: negative
	sum := 0.0
	for i := range m {
		m[i] = distuv.UnitNormal.Quantile((float64(i+1) - 0.375) / (size + 0.25))
		sum += 2 * m[i] * m[i]
	}
	u := 1 / math.Sqrt(size)
	root := math.Sqrt(sum)
	first := polynomial(u, 0, 0.221157, -0.147981, -2.07119, 4.434685, -2.706056) - m[0]/root
	given, scale := 1, 0.0
	a[n-1] = first
	if n > 5 {
		second := polynomial(u, 0, 0.042981, -0.293762, -1.752461, 5.682633, -3.582633) - m[1]/root
		given = 2
		scale = math.Sqrt((sum - 2*m[0]*m[0] - 2*m[1]*m[1]) / (1 - 2*first*first - 2*second*second))
		a[n-2] = second
	} else {
		scale = math.Sqrt((sum - 2*m[0]*m[0]) / (1 - 2*first*first))
	}
	for i := given; i < half; i++ {
		a[n-1-i] = -m[i] / scale
	}
	for i := range half {
		a[i] = -a[n-1-i]
	}
	return a
}

func shapiroP(w, oneMinus float64, n int) float64 {
	if n == 3 {
		return math.Max(0, 6/math.Pi*(math.Asin(math.Sqrt(w))-math.Asin(math.Sqrt(0.75))))
	}
	size := float64(n)
	y := math.Log(oneMinus)
	var mean, sd float64
	if n <= 11 {
		gamma := polynomial(size, -2.273, 0.459)
		if y >= gamma {
			return 0
		}
		y = -math.Log(gamma - y)
		mean = polynomial(size, 0.544, -0.39978, 0.025054, -6.714e-4)
		sd = math.Exp(polynomial(size, 1.3822, -0.77857, 0.062767, -0.0020322))
	} else {
		l := math.Log(size)
		mean = polynomial(l, -1.5861, -0.31082, -0.083751, 0.0038915)
		sd = math.Exp(polynomial(l, -0.4803, -0.082676, 0.0030302))
	}
	return 0.5 * math.Erfc((y-mean)/sd/math.Sqrt2)
}

// polynomial is c₀ + c₁x + c₂x² + ….
func polynomial(x float64, c ...float64) float64 {
	sum := 0.0
	for _, k := range slices.Backward(c) {
		sum = sum*x + k
	}
	return sum
}
