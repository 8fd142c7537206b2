package correlate

import (
	"errors"
	"fmt"
	"math"

	"parstead/correlate/analysis"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
)

// count analyses a count by quasi-likelihood, with the negative binomial beside.
func (s *sample) count(r *OutcomeResult) error {
	b, err := s.fitBoth(s.countLayers)
	if err != nil {
		return err
	}
	r.Model = "quasi-likelihood"
	s.assemble(r, b)
	s.noEvents(b)
	f := b.with.counts
	if f == nil {
		return nil
	}
	s.residuals = f.PearsonResiduals()
	r.ResidualDF = analysis.Known(float64(f.DF))
	for _, c := range f.Coefficients() {
		k := coefficient(c)
		if k.Estimate == nil {
			s.say("coefficient", k.Of+" "+k.Level, "no event at one of the levels: the ratio has no estimate")
		}
		r.Coefficients = append(r.Coefficients, k)
	}
	if f.Exact {
		s.say("exact", "", "the model repeats every count: no test or interval can be given")
		return nil
	}
	says := "the counts vary about as much as chance makes them"
	switch {
	case f.Dispersion > 1.5:
		says = "the counts vary more than chance makes them: intervals were widened for it"
	case f.Dispersion < 1/1.5:
		says = "the counts vary less than chance makes them: intervals were narrowed for it"
	}
	s.checks = append(s.checks, Check{Check: "dispersion", Value: analysis.Known(f.Dispersion), DF: []float64{float64(f.DF)}, Says: says})
	s.negativeBinomial(r, f)
	s.countLight(r, f)
	s.position(r, b)
	s.redealAll(r, b)
	return nil
}

// noEvents bounds the rates of levels without a single event from above.
func (s *sample) noEvents(b both) {
	for i, l := range b.with.all {
		if l.err != nil {
			continue
		}
		for _, family := range l.families {
			own := b.of(s, family.Treatment).all[i]
			f, ok := own.fit.(*model.CountFit)
			if own.err != nil || !ok || f.Exact {
				continue
			}
			s.boundNoEvents(f, family)
		}
	}
}

func (s *sample) boundNoEvents(f *model.CountFit, family model.Family) {
	against := -1
	for i, cell := range family.Cells {
		if !math.IsInf(f.Linear(f.Design.Weights(cell...)).Value, -1) {
			against = i
			break
		}
	}
	for _, cell := range family.Cells {
		w := f.Design.Weights(cell...)
		if against < 0 || family.Within > 0 || !math.IsInf(f.Linear(w).Value, -1) {
			continue
		}
		name, other := f.Design.Levels(cell), f.Design.Levels(family.Cells[against])
		for j, v := range f.Design.Weights(family.Cells[against]...) {
			w[j] -= v
		}
		c := Check{Check: "no events", Of: family.Treatment + " " + name}
		limit, err := f.UpperLimit(w)
		if err != nil || analysis.Known(math.Exp(limit)) == nil {
			c.Says = fmt.Sprintf("not one event on %s: its ratios have no estimate, and no limit could be found", name)
		} else {
			c.Value = analysis.Known(math.Exp(limit))
			c.Says = fmt.Sprintf("not one event on %s: its ratios have no estimate; its rate is at most %s times that on %s (one-sided 95 %% limit by the profile)",
				name, phrase.Number(math.Exp(limit)), other)
		}
		s.checks = append(s.checks, c)
	}
}

// negativeBinomial fits the same model with a variance that grows as the
// square of the mean.
func (s *sample) negativeBinomial(r *OutcomeResult, f *model.CountFit) {
	nb, err := f.NegativeBinomial()
	if err != nil {
		s.say("negative_binomial", "", "%v", err)
		return
	}
	tests, err := nb.Partial()
	if err != nil {
		s.say("negative_binomial", "", "its effects could not be tested: %v", err)
		return
	}
	result := &NegativeBinomial{Size: nb.Size, Coefficients: []Coefficient{}, Effects: []Effect{}}
	for _, c := range nb.Coefficients() {
		result.Coefficients = append(result.Coefficients, coefficient(c))
	}
	for _, t := range tests {
		result.Effects = append(result.Effects, chiEffect(t, "chi2"))
	}
	r.NegativeBinomial = result
}

func chiEffect(t model.ChiTest, test string) Effect {
	return Effect{Effect: t.Effect, Test: test, Value: analysis.Known(t.Chi2), DF: []float64{t.DF}, P: analysis.Known(t.P), Unit: string(model.PerPlant), Kind: t.Kind}
}

// countLight fills in the slope of a count's logarithm on light.
func (s *sample) countLight(r *OutcomeResult, f *model.CountFit) {
	if s.figures == nil {
		return
	}
	result := &LightResult{}
	for _, c := range f.Coefficients() {
		if c.Of == "light" && s.terms.Light != nil {
			result.Slope = slopeOf(c.Estimate)
			s.correct(result, s.terms.Bin, c.Estimate)
		}
	}
	if s.terms.Light != nil {
		result.VIF = s.inflation(f.Design)
		if s.terms.Bin != nil {
			within := result.Slope
			result.WithinBin = &within
		}
	}
	result.BetweenBin = s.countBetweenBins()
	if result.Slope.Slope != nil || result.BetweenBin != nil {
		r.Light = result
	}
}

// inflation is the variance inflation of light in a design; it does not depend
// on the outcome.
func (s *sample) inflation(d *model.Design) *float64 {
	f, err := d.Fit(s.y)
	if err != nil {
		return nil
	}
	return analysis.Known(f.Inflation(len(d.Columns) - 1))
}

// countBetweenBins is the slope of the bins' totals on their mean light.
func (s *sample) countBetweenBins() *Slope {
	if s.terms.Bin == nil {
		return nil
	}
	bins := overUnits(*s.terms.Bin)
	counts, exposures := model.BinTotals(bins.factor, s.y, s.exposure)
	sums, plants := model.BinTotals(bins.factor, pick(s.figures.Values, s.rows), nil)
	for u := range sums {
		sums[u] /= plants[u]
	}
	t := model.Terms{Light: &model.Variable{Name: "light", Values: sums}}
	if s.terms.Block != nil && model.Holds(bins.factor, *s.terms.Block) {
		b := bins.pick(*s.terms.Block)
		t.Block = &b
	}
	d, err := model.NewDesign(len(counts), t)
	if err == nil {
		var f *model.CountFit
		if f, err = d.Count(counts, exposures); err == nil {
			for _, c := range f.Coefficients() {
				if c.Of == "light" {
					s.betweenHolds()
					slope := slopeOf(c.Estimate)
					return &slope
				}
			}
		}
	}
	if err != nil && !errors.Is(err, model.ErrTooFew) {
		s.say("between_bin", "", "the slope between bins could not be estimated: %v", err)
		return nil
	}
	s.say("between_bin", "", "too few bins for a slope between them")
	return nil
}
