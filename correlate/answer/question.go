package answer

import (
	"fmt"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/phrase"
)

// Question is what was asked of a trial.
func Question(in *analysis.Input) string {
	var by, of, matter []string
	for _, t := range in.Treatments {
		by = append(by, t.Name)
	}
	if len(by) == 0 && in.Light != nil {
		by = append(by, "light")
	}
	primary := slices.ContainsFunc(in.Outcomes, func(o analysis.Outcome) bool { return o.Primary })
	for i, o := range in.Outcomes {
		if primary && !in.Table && !o.Primary {
			continue
		}
		of = append(of, o.Name)
		if o.Matters != nil {
			matter = append(matter, matters(part{r: &analysis.OutcomeResult{Unit: o.Unit}, out: &in.Outcomes[i]}))
		}
	}
	text := fmt.Sprintf("Asked: what changes %s?", phrase.List(of))
	switch {
	case len(by) == 1:
		text = fmt.Sprintf("Asked: does %s change %s?", by[0], phrase.List(of))
	case len(by) > 1:
		text = fmt.Sprintf("Asked: do %s change %s?", phrase.List(by), phrase.List(of))
	}
	if len(matter) > 0 {
		text += fmt.Sprintf(" A difference of %s would matter.", phrase.List(slices.Compact(matter)))
	}
	return text
}

// Note says how the figures of an answer are to be read.
func Note(in *analysis.Input) string {
	text := "In brackets: 95 % intervals. Means: of plants alike in all else that was taken into account."
	if in.Light != nil && in.Light.Unit != "" {
		text += " mol a day: " + in.Light.Unit + " of light."
	}
	return text
}
