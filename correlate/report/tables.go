package report

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"parstead/correlate"
	"parstead/correlate/phrase"
)

// without drops columns that say nothing in any row.
func (t table) without() table {
	for j := len(t.Head) - 1; j > 0; j-- {
		if slices.ContainsFunc(t.Rows, func(row []string) bool { return row[j] != "" }) {
			continue
		}
		t.Head = slices.Delete(t.Head, j, j+1)
		for i := range t.Rows {
			t.Rows[i] = slices.Delete(t.Rows[i], j, j+1)
		}
	}
	return t
}

// Words tells of every column whether it holds words, which stand at the left,
// rather than numbers.
func (t table) Words() []bool {
	words := make([]bool, len(t.Head))
	for j := range t.Head {
		letters, others := 0, 0
		for _, row := range t.Rows {
			switch r, _ := utf8.DecodeRuneInString(row[j]); {
			case row[j] == "":
			case unicode.IsLetter(r):
				letters++
			default:
				others++
			}
		}
		words[j] = letters > others
	}
	return words
}

// tablesOf are an outcome's tables.
func tablesOf(o *outcome) []table {
	var list []table
	for _, t := range []table{groupsTable(o), comparisonsTable(o), effectsTable(o), coefficientsTable(o), slopesTable(o), curvesTable(o), exactTable(o), suspectsTable(o), checksTable(o)} {
		if len(t.Rows) > 0 {
			t.Caption = o.title() + ": " + t.Caption
			list = append(list, t.without())
		}
	}
	return list
}

func groupsTable(o *outcome) table {
	t := table{Caption: "means", Head: []string{"", "plants", "mean", "standard deviation", "adjusted mean", "95 % interval", "letters"}}
	if o.Kind == correlate.YesNo {
		t.Caption, t.Head[2] = "shares", "share"
	}
	for _, g := range o.Groups {
		var names []string
		for _, k := range slices.Sorted(maps.Keys(g.Levels)) {
			names = append(names, k+" "+g.Levels[k])
		}
		mean, interval := known(g.Mean), between(g.CI95)
		if o.Kind == correlate.YesNo {
			mean, interval = shareWords(g.Mean), sharesBetween(g.CI95)
		}
		t.Rows = append(t.Rows, []string{strings.Join(names, ", "), strconv.Itoa(g.N), mean, known(g.SD), known(g.AdjustedMean), interval, g.Letters})
	}
	if slices.ContainsFunc(o.Groups, func(g correlate.Group) bool { return g.Letters != "" }) {
		t.Note = "Levels of one treatment that share a letter were not shown to differ."
	}
	return t
}

func comparisonsTable(o *outcome) table {
	what := "difference"
	switch {
	case o.Kind == correlate.YesNo:
		what = "odds ratio"
	case o.Kind == correlate.Count || o.log():
		what = "ratio"
	}
	t := table{
		Caption: "comparisons", Head: []string{"", what, "95 % interval", "p", "verdict", "replicate", "without light", "its interval", "could have been shown"},
		Note: "Intervals and p hold for all pairs of a treatment at once. The last column is the smallest true difference that this trial would have shown four times in five, on the scale of the analysis.",
	}
	for _, c := range o.Comparisons {
		value, bare := c.Difference, ""
		if value == nil {
			value = c.Ratio
		}
		var bareInterval *[2]float64
		if w := c.WithoutLight; w != nil {
			if bareInterval = w.CI95; w.Difference != nil {
				bare = number(*w.Difference)
			} else {
				bare = known(w.Ratio)
			}
		}
		t.Rows = append(t.Rows, []string{
			c.Treatment + ": " + c.A + " against " + c.B, known(value), between(c.CI95), chance(c.P), c.Verdict, c.Unit, bare, between(bareInterval), known(c.SmallestDetectable),
		})
	}
	return t
}

func effectRows(effects []correlate.Effect) [][]string {
	var rows [][]string
	for _, e := range effects {
		var df []string
		for _, d := range e.DF {
			df = append(df, freedom(d))
		}
		rows = append(rows, []string{e.Effect, e.Test, known(e.Value), strings.Join(df, " and "), chance(e.P), chance(e.PFDR), chance(e.PRedealt), e.Unit})
	}
	return rows
}

// freedom writes degrees of freedom, whole where they are.
func freedom(d float64) string { return minus(strconv.FormatFloat(d, 'g', 6, 64)) }

func effectsTable(o *outcome) table {
	return table{
		Caption: "tests",
		Head:    []string{"", "test", "value", "degrees of freedom", "p", "p by false discovery rate", "p of labels dealt anew", "replicate"},
		Rows:    effectRows(o.Effects),
	}
}

func coefficientsTable(o *outcome) table {
	t := table{Caption: "coefficients", Head: []string{"", "estimate", "standard error", "95 % interval", "p", "standard error for unequal spread", "its p"}}
	if o.log() || o.Kind == correlate.Count {
		t.Caption += ", of the natural logarithm"
	}
	if o.Kind == correlate.YesNo {
		t.Caption += ", log odds"
	}
	for _, c := range o.Coefficients {
		name := c.Of
		if c.Level != "" {
			name += ": " + c.Level + " against " + c.Against
		}
		t.Rows = append(t.Rows, []string{name, known(c.Estimate), known(c.SE), between(c.CI95), chance(c.P), known(c.SEHC3), chance(c.PHC3)})
	}
	return t
}

func slopesTable(o *outcome) table {
	t := table{Caption: "slopes of light, per mol m⁻² d⁻¹", Head: []string{"", "slope", "standard error", "95 % interval", "p", "degrees of freedom"}}
	l := o.Light
	if l == nil {
		return t
	}
	add := func(name string, s *correlate.Slope) {
		if s == nil || s.Slope == nil {
			return
		}
		df := ""
		if s.DF != nil {
			df = freedom(*s.DF)
		}
		t.Rows = append(t.Rows, []string{name, known(s.Slope), known(s.SE), between(s.CI95), chance(s.P), df})
	}
	add("in the model", &l.Slope)
	add("within bins", l.WithinBin)
	add("between bins", l.BetweenBin)
	if c := l.Corrected; c != nil {
		t.Rows = append(t.Rows, []string{"made up for errors in light", number(c.Slope), "", between(&c.CI95), "", ""})
	}
	if l.Reliability != nil {
		t.Note = "Reliability of the light figures: " + number(*l.Reliability) + "."
	}
	return t
}

func curvesTable(o *outcome) table {
	t := table{Caption: "shapes fitted to light", Head: []string{"", "AICc", "weight", "parameter", "estimate", "95 % interval"}}
	if o.Light == nil {
		return t
	}
	for _, c := range o.Light.Curve {
		name, aicc, weight := c.Shape, known(c.AICc), known(c.Weight)
		for _, q := range c.Parameters {
			t.Rows = append(t.Rows, []string{name, aicc, weight, q.Name, known(q.Estimate), between(q.CI95)})
			name, aicc, weight = "", "", ""
		}
	}
	return t
}

func exactTable(o *outcome) table {
	t := table{Caption: "exact tests, one treatment at a time", Head: []string{"", "test", "value", "degrees of freedom", "p", "p by false discovery rate", "p of labels dealt anew", "replicate"}}
	if o.Exact != nil {
		t.Rows = effectRows(o.Exact.Effects)
	}
	return t
}

func suspectsTable(o *outcome) table {
	t := table{Caption: "plants far from the rest; none was removed", Head: []string{"", "value", "studentized residual", "p of the first treatment without it"}}
	for _, s := range o.Suspects {
		t.Rows = append(t.Rows, []string{s.Plant, number(s.Value), number(s.Studentized), chance(s.PWithout)})
	}
	return t
}

func checksTable(o *outcome) table {
	t := table{Caption: "checks", Head: []string{"", "of", "value", "p", "says"}}
	for _, c := range o.Checks {
		t.Rows = append(t.Rows, []string{c.Check, c.Of, known(c.Value), chance(c.P), c.Says})
	}
	return t
}

func lostTable(list []correlate.Losses) *table {
	if len(list) == 0 {
		return nil
	}
	t := table{
		Caption: "plants lost by treatment", Head: []string{"", "plants", "lost", "causes", "by accident", "p"},
		Note: "Accidents are no treatment's losses. p: exact test that losses do not differ between the levels.",
	}
	for _, l := range list {
		name := l.Treatment + " " + l.Level
		if len(l.Of) > 0 {
			name = phrase.Of(l.Of) + ": " + name
		}
		var causes []string
		for _, c := range slices.Sorted(maps.Keys(l.Causes)) {
			if c == correlate.Accident {
				continue // in a column of its own
			}
			causes = append(causes, fmt.Sprintf("%s %d", c, l.Causes[c]))
		}
		t.Rows = append(t.Rows, []string{name, strconv.Itoa(l.N), strconv.Itoa(l.Lost), strings.Join(causes, ", "), strconv.Itoa(l.Accident), chance(l.P)})
	}
	t = t.without()
	return &t
}

func ranksTable(list []correlate.Correlation) *table {
	if len(list) == 0 {
		return nil
	}
	t := table{Caption: "outcomes against one another: rank correlations within treatments", Head: []string{"", "plants", "rank correlation", "95 % interval", "p"}}
	for _, c := range list {
		name := c.A + " and " + c.B
		if len(c.Of) > 0 {
			name = phrase.Of(c.Of) + ": " + name
		}
		t.Rows = append(t.Rows, []string{name, strconv.Itoa(c.N), known(c.Rho), between(c.CI95), chance(c.P)})
	}
	return &t
}
