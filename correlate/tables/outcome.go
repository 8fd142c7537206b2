package tables

import (
	"maps"
	"slices"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
)

// Outcome is the tables of one of the outcomes that were asked of a trial, for a page.
func Outcome(in *analysis.Input, o *analysis.OutcomeResult) []Table {
	pages := onPage(groups(o), comparisons(in, o), effects(in, o), coefficients(o), slopes(o), curves(o), exact(o), suspects(o), checks(o))
	for i := range pages {
		pages[i].Caption = phrase.About(o.Name, o.Of, "") + ": " + pages[i].Caption
	}
	return pages
}

func groups(o *analysis.OutcomeResult) table {
	t := table{title: cell{"Means", "means"}, columns: []cell{{}, same("plants"), same("mean"), {"sd", "standard deviation"}, {"adjusted", "adjusted mean"}, same("95 % interval"), same("letters")}}
	shares := kind.Of(o.Kind).Answers
	if shares {
		t.title, t.columns[2].page = cell{"Means (shares)", "shares"}, "share"
	}
	for _, g := range o.Groups {
		var names []string
		for _, k := range slices.Sorted(maps.Keys(g.Levels)) {
			names = append(names, k+" "+g.Levels[k])
		}
		mean, interval := number(g.Mean), between(g.CI95)
		if shares {
			interval.page = phrase.SharesBetween(g.CI95)
			if g.Mean != nil {
				mean.page = phrase.WholePercent(*g.Mean)
			}
		}
		t.add(same(strings.Join(names, ", ")), count(g.N), mean, number(g.SD), number(g.AdjustedMean), interval, same(g.Letters))
		if g.Letters != "" {
			t.note.page = "Levels of one treatment that share a letter were not shown to differ."
		}
	}
	return t
}

func comparisons(in *analysis.Input, o *analysis.OutcomeResult) table {
	what := string(kind.Compared(o.Kind, o.Scale))
	t := table{
		title:   cell{"Comparisons (95 % intervals hold for all pairs of a treatment at once)", "comparisons"},
		note:    cell{page: "Intervals and p hold for all pairs of a treatment at once. The last column is the smallest true difference that this trial would have shown four times in five, on the scale of the analysis."},
		columns: []cell{{}, same(what), same("95 % interval"), same("p"), same("verdict"), {page: "replicate"}, {page: "without light"}, {page: "its interval"}, {page: "could have been shown"}},
	}
	for _, c := range o.Comparisons {
		var bare, interval cell
		if w := c.WithoutLight; w != nil {
			bare, interval = number(w.Value()), between(w.CI95)
		}
		t.rows = append(t.rows, row{under: same(c.Treatment), cells: []cell{
			same(phrase.Cell(in, c.CellA) + " against " + phrase.Cell(in, c.CellB)), number(c.Value()), same(phrase.Ends(c.CI95)), chance(c.P), same(c.Verdict), same(c.Unit), bare, interval, number(c.SmallestDetectable),
		}})
	}
	return t
}

func tests(caption string, effects []analysis.Effect) table {
	t := table{
		title:   cell{"Tests", caption},
		columns: []cell{{}, same("test"), same("value"), {"on", "degrees of freedom"}, same("p"), {"p_fdr", "p by false discovery rate"}, {"p_redealt", "p of labels dealt anew"}, same("replicate")},
	}
	for _, e := range effects {
		t.add(same(e.Effect), same(e.Test), number(e.Value), freedom(e.DF...), chance(e.P), chance(e.PFDR), chance(e.PRedealt), same(e.Unit))
	}
	return t
}

// effects are an outcome's tests; those that come of another model say so.
func effects(in *analysis.Input, o *analysis.OutcomeResult) table {
	t := tests("tests", o.Effects)
	var bare []string
	for _, e := range o.Effects {
		if o.Light != nil && in.SetsLight(e.Term) {
			bare = append(bare, e.Effect)
		}
	}
	if len(bare) > 0 {
		t.note = same(phrase.List(bare) + ": from the model without light, since it acts through light; all else from the model with it.")
	}
	return t
}

func exact(o *analysis.OutcomeResult) table {
	if o.Exact == nil {
		return table{}
	}
	return tests("exact tests, one treatment at a time", o.Exact.Effects)
}

func coefficients(o *analysis.OutcomeResult) table {
	t := table{title: cell{page: "coefficients"}, columns: []cell{{}, same("estimate"), same("standard error"), same("95 % interval"), same("p"), same("standard error for unequal spread"), same("its p")}}
	switch kind.Compared(o.Kind, o.Scale) {
	case kind.OddsRatio:
		t.title.page += ", log odds"
	case kind.Ratio:
		t.title.page += ", of the natural logarithm"
	}
	for _, c := range o.Coefficients {
		name := c.Of
		if c.Level != "" {
			name += ": " + c.Level + " against " + c.Against
		}
		t.add(same(name), number(c.Estimate), number(c.SE), between(c.CI95), chance(c.P), number(c.SEHC3), chance(c.PHC3))
	}
	return t
}

// logged tells whether a model is of natural logarithms.
func logged(o *analysis.OutcomeResult) bool {
	return kind.Compared(o.Kind, o.Scale) == kind.Ratio
}

func slopes(o *analysis.OutcomeResult) table {
	t := table{
		title:   cell{"Light", "slopes of light, per mol m⁻² d⁻¹"},
		columns: []cell{{}, same("slope"), {page: "standard error"}, same("95 % interval"), same("p"), {"on", "degrees of freedom"}},
	}
	if logged(o) {
		t.title.text += " (slopes of the natural logarithm)"
	}
	l := o.Light
	if l == nil {
		return t
	}
	add := func(name cell, s *analysis.Slope) {
		if s == nil || s.Slope == nil {
			return
		}
		var on cell
		if s.DF != nil {
			on = freedom(*s.DF)
		}
		t.add(name, number(s.Slope), number(s.SE), between(s.CI95), chance(s.P), on)
	}
	all := cell{page: "in the model"}
	if l.WithinBin == nil {
		all.text = "slope"
	}
	add(all, &l.Slope)
	add(same("within bins"), l.WithinBin)
	between := "between bins"
	if kind.Of(o.Kind).Answers {
		between += ", of their shares"
	}
	add(same(between), l.BetweenBin)
	if c := l.Corrected; c != nil {
		add(cell{page: "corrected for chance error in light"}, &analysis.Slope{Slope: &c.Slope, CI95: &c.CI95})
	}
	var trust []string
	if l.Reliability != nil {
		t.note.page = "Reliability of the light figures: " + phrase.Number(*l.Reliability) + "."
		trust = append(trust, "reliability of the light figures "+phrase.Number(*l.Reliability))
	}
	if l.VIF != nil {
		trust = append(trust, "variance inflation "+phrase.Number(*l.VIF))
	}
	if len(trust) > 0 {
		t.note.text = phrase.Capital(strings.Join(trust, "; ")) + "."
	}
	return t
}

func curves(o *analysis.OutcomeResult) table {
	t := table{title: cell{page: "shapes fitted to light"}, columns: []cell{{text: "shape"}, same("AICc"), same("weight"), same("parameter"), same("estimate"), same("95 % interval")}}
	if o.Light == nil {
		return t
	}
	for _, c := range o.Light.Curve {
		name, aicc, weight := same(c.Shape), number(c.AICc), number(c.Weight)
		for _, q := range c.Parameters {
			t.add(name, aicc, weight, same(q.Name), number(q.Estimate), between(q.CI95))
			name, aicc, weight = cell{}, cell{}, cell{}
		}
	}
	return t
}

func suspects(o *analysis.OutcomeResult) table {
	t := table{title: cell{page: "plants far from the rest; none was removed"}, columns: []cell{{}, same("value"), same("studentized residual"), same("p of the first treatment without it")}}
	for _, s := range o.Suspects {
		t.add(same(s.Plant), number(&s.Value), number(&s.Studentized), chance(s.PWithout))
	}
	return t
}

// checks are a table on a page; a terminal has them as sentences.
func checks(o *analysis.OutcomeResult) table {
	t := table{title: cell{page: "checks"}, columns: []cell{{}, same("of"), same("value"), same("p"), same("says")}}
	for _, c := range o.Checks {
		t.add(same(string(c.Check)), same(c.Of), number(c.Value), chance(c.P), same(c.Says))
	}
	return t
}
