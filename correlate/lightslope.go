package correlate

import (
	"errors"
	"fmt"
	"math"

	"parstead/correlate/model"
)

// leastReliability is the reliability under which a slope is not corrected.
const leastReliability = 0.5

// light fills in what light was found to do by least squares.
func (s *sample) light(r *OutcomeResult, b both) {
	if s.figures == nil {
		return
	}
	result := &LightResult{}
	f := b.with.plants
	if f != nil && s.terms.Light != nil {
		slope, _ := f.Slope(model.KindLight, "light")
		result.Slope = slopeOf(slope)
		result.VIF = known(f.Inflation(len(f.Beta) - 1))
		if s.terms.Bin != nil {
			within := result.Slope
			result.WithinBin = &within
		}
		s.correct(result, slope)
	}
	result.BetweenBin = s.betweenBins()
	if result.Slope.Slope != nil || result.BetweenBin != nil {
		r.Light = result
	}
}

// betweenBins is the slope among bins' means; nil, with the reason as a check,
// where there is none.
func (s *sample) betweenBins() *Slope {
	if s.terms.Bin == nil {
		return nil
	}
	t := s.terms
	t.Light = &model.Variable{Name: "light", Values: pick(s.figures.Values, s.rows)}
	e, err := model.BetweenBins(len(s.y), t, s.y, func(string) bool { return false })
	if errors.Is(err, model.ErrTooFew) {
		s.say("between_bin", "", "too few bins for a slope between them")
		return nil
	}
	if err != nil {
		s.say("between_bin", "", "the slope between bins could not be estimated: %v", err)
		return nil
	}
	for _, t := range s.treatments {
		if t.SetPer != PerPlant && t.SetPer != Given && !t.SetsLight {
			s.say("between_bin", t.Name, "the slope between bins may hold some of what %s did, which whole bins got", t.Name)
		}
	}
	slope := slopeOf(e)
	return &slope
}

// correct makes up for independent error in the light figures.
//
//	λ = 1 − σ²ᵤ / σ²ₓ
//
// σ²ᵤ is the mean variance of the figures' independent error, σ²ₓ the variance
// of light that bins and covariates leave. The slope is divided by λ where the
// figures are readings of the plant's own and λ is at least 0.5. A smoothed
// map's value already is the expectation given the survey, so that dividing
// would overshoot.
//
// Fuller (1987), Measurement Error Models, section 1.1.
func (s *sample) correct(result *LightResult, slope model.Estimate) {
	in := s.figures
	if in.Independent == nil {
		if !s.in.Table {
			s.say("reliability", "", "how far the light figures can be trusted one by one is not known: no reliability is given")
		}
		return
	}
	var error2 float64
	for _, i := range s.rows {
		error2 += in.Independent[i] * in.Independent[i] / float64(len(s.rows))
	}
	d, err := model.NewDesign(len(s.rows), model.Terms{Block: s.terms.Block, Bin: s.terms.Bin, Covariates: s.terms.Covariates})
	if err != nil {
		return
	}
	f, err := d.Fit(s.terms.Light.Values)
	if err != nil || f.Exact {
		return
	}
	reliability := 1 - error2/f.MeanSquare()
	result.Reliability = known(reliability)
	switch {
	case math.IsNaN(reliability):
	case !in.Raw:
		s.say("corrected_for_error", "", "not corrected: the light figures come from a smoothed map, whose values need no correction")
	case reliability < leastReliability:
		s.say("corrected_for_error", "", "not corrected: with a reliability of %s the light figures differ mostly by chance", number(reliability))
	case slope.OK():
		ci := slope.CI95()
		result.Corrected = &CorrectedSlope{slope.Value / reliability, [2]float64{ci[0] / reliability, ci[1] / reliability}}
	}
}

// lightUnit is the unit of a slope's light: "mol m⁻² d⁻¹" or the column's name.
func (in *Input) lightUnit() string {
	if in.Light.Unit != "" {
		return in.Light.Unit
	}
	return fmt.Sprintf("unit of %s", in.Light.Name)
}
