package dist

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Wilson is the score interval for a share of which yes in n were observed: all
// π for which |p − π| ≤ z √(π(1−π)/n), with p = yes/n and z the two-sided normal
// point of the given level.
//
//	[p + z²/2n ± z √(p(1−p)/n + z²/4n²)] / (1 + z²/n)
//
// It keeps inside [0, 1] and stays honest with no events or few. Wilson panics
// unless 0 ≤ yes ≤ n, n > 0 and 0 < level < 1.
//
// Reference: Wilson (1927). J. Amer. Statist. Assoc. 22:209–212.
func Wilson(yes, n int, level float64) (low, high float64) {
	if n <= 0 || yes < 0 || yes > n || !(level > 0 && level < 1) {
		panic("dist: Wilson's interval needs 0 <= yes <= n, n > 0 and a level between 0 and 1")
	}
	z := -distuv.UnitNormal.Quantile((1 - level) / 2)
	size := float64(n)
	p := float64(yes) / size
	centre := p + z*z/(2*size)
	half := z * math.Sqrt(p*(1-p)/size+z*z/(4*size*size))
	low, high = (centre-half)/(1+z*z/size), (centre+half)/(1+z*z/size)
	// The ends are exact where the share is.
	if yes == 0 {
		low = 0
	}
	if yes == n {
		high = 1
	}
	return low, high
}
