package model

import (
	"errors"
	"iter"
	"math"
	"slices"
)

// Beside fits the counts with one more covariate beside the others and gives
// its estimate, on the scale of the natural log, with its variance inflation:
// that of the columns, which does not depend on the counts.
func (f *CountFit) Beside(name string, x []float64) (e Estimate, vif float64, err error) {
	d := *f.Design
	d.Columns = append([]Column(nil), d.Columns...)
	d.Effects = append([]Effect(nil), d.Effects...)
	if err := d.number(name, KindCovariate, x); err != nil {
		return Estimate{}, 0, err
	}
	exposure := make([]float64, len(f.offset))
	for i, o := range f.offset {
		exposure[i] = math.Exp(o)
	}
	with, err := d.Count(f.Y, exposure)
	if err != nil {
		return Estimate{}, 0, err
	}
	plain, err := d.Fit(x)
	if err != nil && !errors.Is(err, ErrNoSpread) && !errors.Is(err, ErrTooAlike) {
		return Estimate{}, 0, err
	}
	list := with.Coefficients()
	e = list[len(list)-1].Estimate
	if !e.OK() {
		return Estimate{}, 0, errors.New("one of its two sides has no event: the ratio has no estimate")
	}
	return e, plain.Inflation(len(d.Columns) - 1), nil
}

// Moran gives Moran's I of the Pearson residuals, with p by permuting them
// within groups and projecting through the model's working weights again (see
// Fit.Moran). ok is false without neighbours or where the fit is exact.
func (f *CountFit) Moran(n Neighbours, groups []int, deals int, seed uint64) (a Autocorrelation, ok bool) {
	if f.Exact || f.glm.basis == nil {
		return a, false
	}
	// Rows set aside are fitted exactly: zero in every column.
	q := make([][]float64, len(f.glm.basis.q))
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
	return moran(f.PearsonResiduals(), q, n, groups, deals, seed)
}

// Redeal is Fit.Redeal for counts. Each deal is compared by one step of the
// fit from the model without the dealt effects, whose means μ stay the same in
// all deals: the F of (y − μ)/μ by least squares with the weights μ. The test is
// as exact as with the whole fit, since all deals are treated alike.
func (f *CountFit) Redeal(dealt []int, deal Deal, deals int, seed uint64) []Redealt {
	r := f.redealing(dealt)
	if r == nil {
		return nil
	}
	return r.draw(deal, deals, seed)
}

// RedealAll is Fit.RedealAll for counts, compared as Redeal does.
func (f *CountFit) RedealAll(dealt []int, all iter.Seq[[]int]) []Redealt {
	r := f.redealing(dealt)
	if r == nil {
		return nil
	}
	return r.list(all)
}

func (f *CountFit) redealing(dealt []int) *redealing {
	if f.Exact {
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
