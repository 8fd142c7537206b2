package correlate

import (
	"math"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/model"
)

// bandPoints is how many points a drawn curve has.
const bandPoints = 60

// curves fits the shapes of light curves to a measure.
func (s *sample) curves(r *OutcomeResult) {
	if s.figures == nil || s.terms.Light == nil {
		return
	}
	curves, err := model.Curves(len(s.y), s.terms, s.y, model.CurveOptions{Log: s.log, NoGrowthInDark: s.opts.NoGrowthInDark})
	if err != nil {
		s.say("curve", "", "light curves could not be fitted: %v", err)
		return
	}
	if r.Light == nil {
		r.Light = &LightResult{}
	}
	lights := slices.Sorted(slices.Values(s.terms.Light.Values))
	at := []float64{quantile(lights, 0.1), quantile(lights, 0.5), quantile(lights, 0.9)}
	var best *model.Curve
	for i := range curves {
		c := &curves[i]
		if c.Err != nil {
			s.say("curve", string(c.Shape), "not fitted: %v", c.Err)
			continue
		}
		r.Light.Curve = append(r.Light.Curve, s.curve(c, at))
		if c.OK && (best == nil || c.AICc < best.AICc) {
			best = c
		}
	}
	if best != nil {
		r.Curve = s.band(best, lights[0], lights[len(lights)-1])
	}
}

// curve is a fitted shape as a result.
func (s *sample) curve(c *model.Curve, at []float64) LightCurve {
	shape := LightCurve{Shape: string(c.Shape), RSS: analysis.Known(c.RSS)}
	if c.OK {
		shape.AIC, shape.AICc, shape.Weight = analysis.Known(c.AIC), analysis.Known(c.AICc), analysis.Known(c.Weight)
	}
	for _, p := range c.Parameters {
		q := Parameter{Name: p.Name, Estimate: analysis.Known(p.Estimate)}
		if p.SEOK {
			q.SE = analysis.Known(p.SE)
		}
		if p.CIOK {
			q.CI95 = analysis.KnownPair(p.CI95)
		}
		if q.CI95 == nil && p.Why != "" {
			s.say("curve", string(c.Shape)+" "+p.Name, "no interval: %s", p.Why)
		}
		shape.Parameters = append(shape.Parameters, q)
	}
	for _, light := range at {
		p, ok := c.Predict(light)
		if !ok {
			continue
		}
		q := Prediction{DLI: light, Value: analysis.Known(s.back(p.Value))}
		if p.CIOK {
			q.CI95 = s.backPair(analysis.KnownPair(p.CI95))
		}
		shape.Predictions = append(shape.Predictions, q)
	}
	return shape
}

// band draws a curve over measured light, not a step beyond.
func (s *sample) band(c *model.Curve, low, high float64) *CurveBand {
	b := &CurveBand{Shape: string(c.Shape)}
	for i := range bandPoints {
		p, ok := c.Predict(low + (high-low)*float64(i)/(bandPoints-1))
		if !ok || !p.CIOK {
			continue
		}
		ci := s.backPair(analysis.KnownPair(p.CI95))
		value := analysis.Known(s.back(p.Value))
		if ci == nil || value == nil {
			continue
		}
		b.Light, b.Value = append(b.Light, p.Light), append(b.Value, *value)
		b.Low, b.High = append(b.Low, ci[0]), append(b.High, ci[1])
	}
	if len(b.Light) == 0 {
		return nil
	}
	return b
}

// straight draws the line of a count's logarithm over measured light, which on the
// count's own axis bends: what a plant that is average in all else has. Where plants
// stand for unlike exposures, or the slope differs between levels, no one line is drawn.
func (s *sample) straight(r *OutcomeResult, f *model.CountFit) {
	if s.terms.Light == nil || s.exposure != nil || r.SlopesOf(analysis.LightTerm()) != nil {
		return
	}
	linear := s.errors(r, f)
	w := f.Design.Weights()
	last := len(w) - 1 // light's
	low, high := slices.Min(s.terms.Light.Values), slices.Max(s.terms.Light.Values)
	b := &CurveBand{Shape: string(model.Straight), Times: true}
	for i := range bandPoints {
		w[last] = low + (high-low)*float64(i)/(bandPoints-1)
		e := linear(w)
		if !e.OK() {
			return
		}
		ci := exp2(e.CI95())
		b.Light, b.Value = append(b.Light, w[last]), append(b.Value, math.Exp(e.Value))
		b.Low, b.High = append(b.Low, ci[0]), append(b.High, ci[1])
	}
	r.Curve = b
}

// quantile is the p-quantile of sorted values, linear between them.
func quantile(sorted []float64, p float64) float64 {
	at := p * float64(len(sorted)-1)
	i := int(math.Floor(at))
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}
