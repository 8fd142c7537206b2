package answer

import (
	"fmt"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/phrase"
)

// Question is what was asked of a trial, with the difference that would matter.
func Question(in *analysis.Input) string {
	asked, matters := Asked(in)
	if matters != "" {
		matters = " " + matters
	}
	return "Asked: " + asked + matters
}

// Asked is what was asked of a trial, "does medium change biomass_g?", and in a sentence
// of its own the difference that would matter; "" where none was said.
func Asked(in *analysis.Input) (question, differs string) {
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
	question = fmt.Sprintf("what changes %s?", phrase.List(of))
	switch {
	case len(by) == 1:
		question = fmt.Sprintf("does %s change %s?", by[0], phrase.List(of))
	case len(by) > 1:
		question = fmt.Sprintf("do %s change %s?", phrase.List(by), phrase.List(of))
	}
	if len(matter) > 0 {
		differs = fmt.Sprintf("A difference of %s would matter.", phrase.List(slices.Compact(matter)))
	}
	return question, differs
}

// Note says how the figures of an answer are to be read.
func Note(in *analysis.Input) string {
	text := "In brackets: 95 % intervals. Means: of plants alike in all else that was taken into account."
	if in.Light != nil && in.Light.Unit != "" {
		text += " mol a day: " + in.Light.Unit + " of light."
	}
	return text
}
