package correlate

import (
	"errors"
	"math"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
)

// leastReliability is the reliability under which a slope is not corrected.
const leastReliability = 0.5

// light fills in what light was found to do; slope is light's coefficient where
// light is in the model of the plants.
func (s *sample) light(r *OutcomeResult, plants *model.Stratum, slope model.Coefficient) {
	if s.figures == nil {
		return
	}
	result := &LightResult{}
	bins := s.terms.Bin
	if plants.Design.Bin() < 0 {
		bins = nil
	}
	if s.terms.Light != nil {
		k := coefficient(slope)
		result.Slope = Slope{Slope: k.Estimate, SE: k.SE, CI95: k.CI95, P: k.P, DF: analysis.Known(slope.DF)}
		if vif, err := plants.Design.Inflation(len(plants.Design.Columns) - 1); err == nil {
			result.VIF = analysis.Known(vif)
		}
		s.correct(result, bins, slope.Estimate)
		if bins != nil {
			within := result.Slope
			result.WithinBin = &within
		}
	}
	if bins != nil {
		result.BetweenBin = s.betweenBins()
	}
	if result.Slope.Slope != nil || result.P != nil || result.BetweenBin != nil {
		r.Light = result
	}
}

// betweenBins is the slope among what is made of whole bins; nil, with the
// reason as a check, where there is none.
func (s *sample) betweenBins() *Slope {
	t := s.terms
	t.Light = &model.Variable{Name: "light", Values: pick(s.figures.Values, s.rows)}
	e, err := model.BetweenBins(len(s.y), t, s.method.response(s))
	if errors.Is(err, model.ErrTooFew) {
		s.say(analysis.BetweenBins, "", "too few bins for a slope between them")
		return nil
	}
	if err != nil {
		s.say(analysis.BetweenBins, "", "the slope between bins could not be estimated: %v", err)
		return nil
	}
	s.betweenHolds()
	if kind.Of(s.out.Kind).Answers {
		s.say(analysis.BetweenBins, "", "between bins the slope is one of the bins' shares of yes, each bin counting once; it is not of log odds")
	}
	slope := slopeOf(e)
	return &slope
}

// betweenHolds says what else the slope between bins may hold.
func (s *sample) betweenHolds() {
	for _, t := range s.treatments {
		if t.SetPer != PerPlant && t.SetPer != Given && !t.SetsLight {
			mend := `sets = "light" in trial.toml`
			if s.in.Table {
				mend = "--sets-light " + t.Name
			}
			s.say(analysis.BetweenBins, t.Name, "the slope between bins may hold some of what %s did, which whole bins got; if it acts through light, say so with %s: it is then not adjusted for light", t.Name, mend)
		}
	}
}

// reliability is how much of what the light figures differ by is light, after
// bins, block and covariates; ok is false, with a check that says why, where it
// cannot be told.
//
//	λ = 1 − σ²ᵤ / σ²ₓ
//
// σ²ᵤ is the mean variance of the figures' independent error, σ²ₓ the variance
// of light that bins, block and covariates leave.
//
// Fuller (1987), Measurement Error Models, section 1.1.
func (s *sample) reliability(bins *model.Factor) (reliability float64, ok bool) {
	if s.figures.Independent == nil {
		if !s.in.Table {
			s.say("reliability", "", "how far the light figures can be trusted one by one is not known: no reliability is given")
		}
		return 0, false
	}
	var error2 float64
	for _, i := range s.rows {
		error2 += s.figures.Independent[i] * s.figures.Independent[i] / float64(len(s.rows))
	}
	d, err := model.NewDesign(len(s.rows), model.Terms{Block: s.terms.Block, Bin: bins, Covariates: s.terms.Covariates})
	var f *model.Fit
	if err == nil {
		f, err = d.Fit(s.terms.Light.Values)
	}
	switch {
	case err != nil:
		s.say("reliability", "", "the reliability of the light figures could not be estimated: %v", err)
		return 0, false
	case f.Exact || math.IsNaN(error2):
		s.say("reliability", "", "the reliability of the light figures could not be estimated: the error of some is not known, or they do not differ")
		return 0, false
	}
	return 1 - error2/f.MeanSquare(), true
}

// correct gives the light figures' reliability, and the slope of a measure or
// of a count's logarithm divided by it where the figures are readings of the
// plant's own and it is at least 0.5. A smoothed map's value already is the
// expectation given the survey, so that dividing would overshoot.
func (s *sample) correct(result *LightResult, bins *model.Factor, slope model.Estimate) {
	reliability, ok := s.reliability(bins)
	if !ok {
		return
	}
	result.Reliability = analysis.Known(reliability)
	switch {
	case !s.figures.Raw:
		s.say("corrected_for_error", "", "not corrected: the light figures come from a smoothed map, whose values need no correction")
	case s.contrast() == kind.OddsRatio:
		s.say("corrected_for_error", "", "not corrected: log odds do not shrink in proportion to the reliability")
	case reliability < leastReliability:
		s.say("corrected_for_error", "", "not corrected: with a reliability of %s the light figures differ mostly by chance", phrase.Number(reliability))
	case slope.OK():
		ci := slope.CI95()
		result.Corrected = &CorrectedSlope{Slope: slope.Value / reliability, CI95: [2]float64{ci[0] / reliability, ci[1] / reliability}}
	}
}
