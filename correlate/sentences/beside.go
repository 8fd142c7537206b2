package sentences

import (
	"fmt"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/phrase"
)

// besideLight says of a treatment of whole units where the answer hangs on light, with
// the answer without light.
func (t *teller) besideLight(e analysis.Effect, pairs []*analysis.Comparison) {
	if e.Unit == "plant" {
		return
	}
	var decides, slopes []*analysis.Comparison
	for _, c := range pairs {
		switch {
		case c.WithoutLight == nil:
		case c.LightDecides():
			decides = append(decides, c)
		case c.BySlopes():
			slopes = append(slopes, c)
		}
	}
	switch {
	case len(decides) > 0:
		t.say(analysis.Caution, analysis.About(e.Term), "%s: the answer hangs on light, which its levels got unlike: without light taken into account, %s.", e.Effect, t.withoutLight(decides))
	case len(slopes) > 0:
		t.say(analysis.Caution, analysis.About(e.Term), "%s: its levels got so unlike light that the answer rests mostly on what light does elsewhere; without light taken into account, %s.", e.Effect, t.withoutLight(slopes))
	}
}

// withoutLight lists what comparisons give without light.
func (t *teller) withoutLight(pairs []*analysis.Comparison) string {
	var list []string
	for i, c := range pairs {
		if i == mostPairs {
			list = append(list, fmt.Sprintf("%d more pairs stand in the table", len(pairs)-mostPairs))
			break
		}
		w := c.WithoutLight
		word := map[string]string{analysis.Larger: "lies above", analysis.Smaller: "lies below", analysis.Equivalent: "is like"}[w.Verdict]
		if word == "" {
			word = "is not shown to differ from"
		}
		text := fmt.Sprintf("%s %s %s", phrase.Cell(t.in, c.CellA), word, phrase.Cell(t.in, c.CellB))
		if value := w.Value(); value != nil && w.CI95 != nil {
			text += ", " + t.span(*value, *w.CI95)
		}
		list = append(list, text)
	}
	return strings.Join(list, "; ")
}
