package correlate

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/phrase"
)

// again tells from plants that were weighed twice how well a value repeats.
//
//	s² = Σ (first − second)² / 2m
func (s *sample) again() {
	if s.out.Again == nil {
		return
	}
	var squares, mean float64
	m := 0.0
	for _, i := range s.rows {
		if second := s.out.Again[i]; !math.IsNaN(second) {
			d := s.out.Values[i] - second
			squares += d * d
			mean += (s.out.Values[i] + second) / 2
			m++
		}
	}
	if m == 0 {
		return
	}
	sd := math.Sqrt(squares / 2 / m)
	if analysis.Known(sd) == nil || analysis.Known(mean) == nil {
		s.say("repeatability", "", "how well a value repeats could not be worked out: some are too large to square")
		return
	}
	says := fmt.Sprintf("%s measured twice: a value repeats to ± %s (one standard deviation)", phrase.Were(int(m)), phrase.Unit(phrase.Number(sd), s.out.Unit))
	if mean > 0 {
		says += fmt.Sprintf(", %s of their mean", phrase.Percent(sd/(mean/m)))
	}
	s.checks = append(s.checks, Check{Check: "repeatability", Value: analysis.Known(sd), DF: []float64{m}, Says: says})
}

// withLeftOut gives the first effect with the plants in that were left out.
func (s *sample) withLeftOut(r *OutcomeResult, level int) {
	if len(s.leftOut) == 0 {
		return
	}
	c := Check{Check: "leave_out"}
	reasons := map[string]bool{}
	for _, i := range s.leftOut {
		reasons[s.in.LeaveOut[i]] = true
	}
	c.Says = fmt.Sprintf("%s left out (%s)", phrase.Were(len(s.leftOut)), phrase.List(slices.Sorted(maps.Keys(reasons))))
	all, err := s.in.sample(s.out, level, s.opts, true)
	with := OutcomeResult{}
	if err == nil {
		err = all.method.brief(all, &with)
	}
	was, is := s.first(r.Effects), all.first(with.Effects)
	switch {
	case err != nil:
		c.Says += fmt.Sprintf("; with them nothing can be computed: %v", err)
	case was == nil || is == nil:
		c.Says += "; there is no test to compare"
	default:
		c.Of, c.Value, c.DF, c.P = is.Effect, is.Value, is.DF, is.P
		c.Says += fmt.Sprintf("; with them p for %s is %s instead of %s", is.Effect, phrase.P(*is.P), phrase.P(*was.P))
	}
	s.checks = append(s.checks, c)
}

// modelEffects fits the outcome's model for its effects alone.
func (s *sample) modelEffects(r *OutcomeResult) error {
	b, err := s.fitBoth(s.terms)
	if err != nil {
		return err
	}
	for i := range b.with {
		s.effects(r, b, i)
	}
	return nil
}
