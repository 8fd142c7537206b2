package correlate

import (
	"bufio"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"parstead/correlate/phrase"
)

// WriteText writes the results for a terminal, 80 columns wide: for each
// outcome the findings first, then tables, then checks.
func WriteText(w io.Writer, r *Result) error {
	p := &printer{out: bufio.NewWriter(w)}
	for i := range r.Outcomes {
		if i > 0 {
			p.line("")
		}
		p.outcome(&r.Outcomes[i])
	}
	p.lost(r.Lost)
	p.ranks(r.OutcomeCorrelations)
	p.electricity(r.Electricity)
	if len(r.Departures) > 0 {
		p.heading("Departures from the plan")
		for _, d := range r.Departures {
			p.wrapped("  - ", "    ", d)
		}
	}
	return p.out.Flush()
}

func (p *printer) heading(text string) {
	p.line("")
	p.wrapped("", "  ", text)
}

func (p *printer) outcome(o *OutcomeResult) {
	title := phrase.About(o.Name, o.Of, "")
	p.wrapped("", "", title)
	p.line(strings.Repeat("─", min(lineWidth, width(title))))
	what := string(o.Kind)
	if o.Unit != "" {
		what += " in " + o.Unit
	}
	if o.Scale == Log {
		what += ", as its natural logarithm"
	}
	if o.Model != "" {
		what += ", by " + map[string]string{
			"least squares": "least squares", "quasi-likelihood": "quasi-likelihood",
			"exact table": "exact tables", "penalised logistic": "penalised logistic regression",
		}[o.Model]
	}
	what += fmt.Sprintf("; %d plants", o.N)
	if o.Missing > 0 {
		what += fmt.Sprintf(", %d missing", o.Missing)
	}
	p.wrapped("", "", what+".")
	p.line("")
	for _, f := range o.Findings {
		p.wrapped("  • ", "    ", f)
	}
	p.groups(o)
	p.comparisons(o)
	p.effects(o)
	p.light(o)
	p.checks(o)
}

func (p *printer) groups(o *OutcomeResult) {
	if len(o.Groups) == 0 {
		return
	}
	p.heading("Means" + map[bool]string{true: " (shares)"}[o.Kind == YesNo])
	rows := [][]string{{"", "plants", "mean", "sd", "adjusted", "95 % interval", "letters"}}
	for _, g := range o.Groups {
		var names []string
		for _, k := range slices.Sorted(maps.Keys(g.Levels)) {
			names = append(names, k+" "+g.Levels[k])
		}
		rows = append(rows, []string{
			strings.Join(names, ", "), fmt.Sprint(g.N), optional(g.Mean), optional(g.SD), optional(g.AdjustedMean), between(g.CI95), g.Letters,
		})
	}
	p.table(blankOut(rows))
}

// blankOut empties columns whose rows are all empty, their heading too.
func blankOut(rows [][]string) [][]string {
	for j := range rows[0] {
		if !slices.ContainsFunc(rows[1:], func(r []string) bool { return r[j] != "" }) {
			rows[0][j] = ""
		}
	}
	return rows
}

func optional(x *float64) string {
	if x == nil {
		return ""
	}
	return phrase.Number(*x)
}

func between(ci *[2]float64) string {
	if ci == nil {
		return ""
	}
	return optional(&ci[0]) + " to " + optional(&ci[1])
}

func (p *printer) comparisons(o *OutcomeResult) {
	if len(o.Comparisons) == 0 {
		return
	}
	head := "difference"
	if o.Scale != Natural {
		head = "ratio"
	}
	if o.Kind == YesNo {
		head = "odds ratio"
	}
	p.heading("Comparisons (95 % intervals hold for all pairs of a treatment at once)")
	rows := [][]string{{"", head, "95 % interval", "p", "verdict"}}
	treatment := ""
	for _, c := range o.Comparisons {
		if c.Treatment != treatment {
			treatment = c.Treatment
			rows = append(rows, []string{treatment, "", "", "", ""})
		}
		value := c.Difference
		if value == nil {
			value = c.Ratio
		}
		rows = append(rows, []string{"  " + c.A + " against " + c.B, optional(value), between(c.CI95), optionalP(c.P), c.Verdict})
	}
	p.table(blankOut(rows))
}

func optionalP(x *float64) string {
	if x == nil {
		return ""
	}
	return strings.Replace(phrase.P(*x), "below ", "<", 1)
}

func (p *printer) effects(o *OutcomeResult) {
	if len(o.Effects) == 0 {
		return
	}
	p.heading("Tests")
	rows := [][]string{{"", "test", "value", "on", "p", "p_fdr", "p_redealt", "replicate"}}
	for _, e := range o.Effects {
		var df []string
		for _, d := range e.DF {
			df = append(df, phrase.Freedom(d))
		}
		rows = append(rows, []string{e.Effect, e.Test, optional(e.Value), strings.Join(df, ", "), optionalP(e.P), optionalP(e.PFDR), optionalP(e.PRedealt), e.Unit})
	}
	p.table(blankOut(rows))
}

func (p *printer) light(o *OutcomeResult) {
	l := o.Light
	if l == nil {
		return
	}
	p.heading("Light" + map[bool]string{true: " (slopes of the natural logarithm)"}[o.Scale == Log || o.Kind == Count])
	rows := [][]string{{"", "slope", "95 % interval", "p", "on"}}
	add := func(name string, s *Slope) {
		if s != nil && s.Slope != nil {
			on := ""
			if s.DF != nil {
				on = phrase.Freedom(*s.DF)
			}
			rows = append(rows, []string{name, optional(s.Slope), between(s.CI95), optionalP(s.P), on})
		}
	}
	if l.WithinBin == nil {
		add("slope", &l.Slope)
	}
	add("within bins", l.WithinBin)
	add("between bins", l.BetweenBin)
	if len(rows) > 1 {
		p.table(blankOut(rows))
	}
	var trust []string
	if l.Reliability != nil {
		trust = append(trust, "reliability of the light figures "+phrase.Number(*l.Reliability))
	}
	if l.VIF != nil {
		trust = append(trust, "variance inflation "+phrase.Number(*l.VIF))
	}
	if len(trust) > 0 {
		p.wrapped("  ", "  ", phrase.Capital(strings.Join(trust, "; "))+".")
	}
	if len(l.Curve) == 0 {
		return
	}
	rows = [][]string{{"shape", "AICc", "weight", "parameter", "estimate", "95 % interval"}}
	for _, c := range l.Curve {
		name, aicc, weight := c.Shape, optional(c.AICc), optional(c.Weight)
		for _, q := range c.Parameters {
			rows = append(rows, []string{name, aicc, weight, q.Name, optional(q.Estimate), between(q.CI95)})
			name, aicc, weight = "", "", ""
		}
	}
	p.line("")
	p.table(rows)
}

func (p *printer) checks(o *OutcomeResult) {
	if len(o.Checks) == 0 {
		return
	}
	p.heading("Checks")
	for _, c := range o.Checks {
		text := c.Check
		if c.Of != "" {
			text += " (" + c.Of + ")"
		}
		text += ": " + c.Says
		if c.P != nil {
			text += "; p " + phrase.P(*c.P)
		}
		p.wrapped("  ", "      ", text+".")
	}
}

func (p *printer) lost(list []Losses) {
	if len(list) == 0 {
		return
	}
	p.heading("Plants lost (accidents are no treatment's loss)")
	rows := [][]string{{"", "plants", "lost", "accident", "p"}}
	for _, l := range list {
		name := l.Treatment + " " + l.Level
		if len(l.Of) > 0 {
			name += ", " + phrase.Of(l.Of)
		}
		rows = append(rows, []string{name, fmt.Sprint(l.N), fmt.Sprint(l.Lost), fmt.Sprint(l.Accident), optionalP(l.P)})
	}
	p.table(blankOut(rows))
}

func (p *printer) ranks(list []Correlation) {
	if len(list) == 0 {
		return
	}
	p.heading("Outcomes against one another (ranks within treatments)")
	rows := [][]string{{"", "plants", "rho", "95 % interval", "p"}}
	for _, c := range list {
		name := c.A + " and " + c.B
		if len(c.Of) > 0 {
			name += ", " + phrase.Of(c.Of)
		}
		rows = append(rows, []string{name, fmt.Sprint(c.N), optional(c.Rho), between(c.CI95), optionalP(c.P)})
	}
	p.table(blankOut(rows))
}
