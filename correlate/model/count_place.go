package model

import (
	"math"
	"slices"
)

// remains are Pearson's residuals, with the columns under the working weights.
func (f *CountFit) remains() (e []float64, q [][]float64) {
	if f.repeats || f.glm.basis == nil {
		return nil, nil
	}
	// Rows set aside are fitted exactly: zero in every column.
	q = make([][]float64, len(f.glm.basis.q))
	for k, column := range f.glm.basis.q {
		q[k] = make([]float64, len(f.Y))
		at := 0
		for i, used := range f.glm.used {
			if used {
				q[k][i] = column[at]
				at++
			}
		}
	}
	return f.PearsonResiduals(), q
}

// redealing compares each deal by one step of the fit from the model without the
// dealt effects, whose means μ stay the same in all deals: the F of (y − μ)/μ by
// least squares with the weights μ. The test is as exact as with the whole fit,
// since all deals are treated alike.
func (f *CountFit) redealing(dealt []int) *redealing {
	if f.repeats {
		return nil
	}
	var stays []int
	for _, e := range f.Design.Effects {
		if slices.ContainsFunc(e.Factors, func(i int) bool { return slices.Contains(dealt, i) }) {
			continue
		}
		for j := e.First; j < e.End; j++ {
			stays = append(stays, j)
		}
	}
	without := f.columns(stays)
	if err := without.fit(nil); err != nil {
		return nil
	}
	work, root := make([]float64, len(f.Y)), make([]float64, len(f.Y))
	for i, mu := range without.mean {
		if mu > 0 {
			work[i], root[i] = (f.Y[i]-mu)/mu, math.Sqrt(mu)
		}
	}
	return newRedealing(f.Design, work, root, dealt)
}
