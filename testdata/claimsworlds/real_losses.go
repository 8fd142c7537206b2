package claimsworlds

import "math"

// realLosses: losses that hide or make a difference.
func realLosses() []World {
	hidden := active("medium", []float64{0, 0, -0.20}, "peat", "coir", "bark")
	hide := lossWorld("real-losses-hide", "Bark truly takes 18 % of the mass, and kills the small ones: its survivors look nearly as big as the rest.",
		false, MustAdmit, hidden, []float64{-4, -4, 0}, -1.8)
	plain := active("medium", []float64{0, math.Log(1.3), 0}, "peat", "coir", "bark")
	fair := lossWorld("real-losses-fair", "Coir truly gives 30 % more; a third of bark dies, whatever its size.",
		false, MustHold, plain, []float64{-3, -3, math.Log(0.5)}, 0)
	return []World{hide, fair}
}
