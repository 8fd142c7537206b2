package correlate

import (
	"bufio"
	"fmt"
	"io"
	"strings"
)

// WriteText writes the comparison for a terminal, 80 columns wide: the trials,
// what several of them have, then what one has.
func (c *Compared) WriteText(w io.Writer) error {
	p := &printer{out: bufio.NewWriter(w)}
	rows := [][]string{{"", "days", "from", "to", "plants"}}
	for _, t := range c.Trials {
		rows = append(rows, []string{t.Trial, fmt.Sprint(t.Days), t.Starts, t.Ends, fmt.Sprint(t.Plants)})
	}
	p.table(rows)
	p.line("")
	p.wrapped("", "", "A trial's interval holds for all pairs of its treatment at once (95 %). The rows these trials (the mean of what was found in them) and trials like these (what the next one may be expected to find on average) count each trial once, hold one at a time and are exploratory.")
	for _, r := range c.Remarks {
		p.wrapped("  • ", "    ", r)
	}
	title := ""
	for i := range c.Comparisons {
		if e := &c.Comparisons[i]; len(e.Trials) > 1 {
			asked := make([]string, len(e.Trials))
			for k, t := range e.Trials {
				asked[k] = t.Trial + ": " + askedWords(t.Asked)
			}
			title = p.title(title, fmt.Sprintf("%s: %s", entryName(e.Outcome, e.Of), e.Treatment), asked)
			p.effectOver(e)
		}
	}
	for i := range c.Light {
		if s := &c.Light[i]; len(s.Trials) > 1 {
			asked := make([]string, len(s.Trials))
			for k, t := range s.Trials {
				asked[k] = t.Trial + ": " + askedWords(t.Asked)
			}
			title = p.title(title, fmt.Sprintf("%s: light, within bins", entryName(s.Outcome, s.Of)), asked)
			p.slopeOver(s)
		}
	}
	if title == "" {
		p.heading("No two of these trials share an outcome with a treatment's levels or light: give what is alike the same names, also under analyse_by.")
	}
	p.once(c)
	return p.out.Flush()
}

// title writes a title that is new, with what each trial asked.
func (p *printer) title(before, text string, asked []string) string {
	if text != before {
		p.line("")
		p.wrapped("", "", text)
		p.line(strings.Repeat("─", min(lineWidth, width(text))))
		p.wrapped("", "  ", strings.Join(asked, "; ")+".")
	}
	p.line("")
	return text
}

func (p *printer) effectOver(e *ComparedEffect) {
	p.wrapped("", "  ", fmt.Sprintf("%s against %s%s", e.A, e.B, effectScale(e)))
	rows := [][]string{make([]string, 5)}
	for _, t := range e.Trials {
		value := t.Difference
		if value == nil {
			value = t.Ratio
		}
		rows = append(rows, []string{t.Trial, optional(value), between(t.CI95), fmt.Sprintf("%d + %d %ss", t.NA, t.NB, t.Unit), t.Verdict})
	}
	rows = append(rows, pooledRows(e.Pooled)...)
	p.table(rows)
	p.wrapped("  ", "  ", e.Says)
}

// effectScale words what an effect's numbers are, where all trials have the same.
func effectScale(e *ComparedEffect) string {
	word := func(t *EffectIn) string {
		switch {
		case t.Kind == YesNo:
			return ", odds ratio"
		case t.Difference != nil && t.OutcomeUnit != "":
			return ", difference in " + t.OutcomeUnit
		case t.Difference != nil:
			return ", difference"
		}
		return ", ratio"
	}
	text := word(&e.Trials[0])
	for i := range e.Trials {
		if word(&e.Trials[i]) != text {
			return ", each as its trial has it"
		}
	}
	return text
}

func (p *printer) slopeOver(s *ComparedSlope) {
	rows := [][]string{make([]string, 5)}
	for _, t := range s.Trials {
		rows = append(rows, []string{
			t.Trial, optional(t.Slope.Slope), between(t.CI95), fmt.Sprintf("%d plants", t.N),
			fmt.Sprintf("%s–%s", Number(t.DLI[0]), Number(t.DLI[1])),
		})
	}
	rows = append(rows, pooledRows(s.Pooled)...)
	first := s.Trials[0]
	what := first.OutcomeUnit
	switch {
	case first.Scale == Log || first.Kind == Count:
		what = "natural logarithm"
	case first.Kind == YesNo:
		what = "log odds"
	case what == "":
		what = "units"
	}
	p.wrapped("", "  ", fmt.Sprintf("slope, %s per mol m⁻² d⁻¹; light of the plants in mol m⁻² d⁻¹", what))
	p.table(rows)
	p.wrapped("  ", "  ", s.Says)
}

// pooledRows are the means over trials.
func pooledRows(pooled *PooledEffect) [][]string {
	if pooled == nil {
		return nil
	}
	row := func(name string, m PooledMean) []string {
		value := m.Difference
		switch {
		case m.Ratio != nil:
			value = m.Ratio
		case m.Slope != nil:
			value = m.Slope
		}
		return []string{name, optional(value), between(m.CI95), "", ""}
	}
	return [][]string{row("these trials", pooled.TheseTrials), row("trials like these", pooled.TrialsLikeThese)}
}

// askedWords words what a trial planned to ask.
func askedWords(a Asked) string {
	switch {
	case a.Primary && a.Planned:
		return "primary, planned"
	case a.Primary:
		return "primary"
	case a.Planned:
		return "planned"
	}
	return "exploratory"
}

// once lists what one trial alone has.
func (p *printer) once(c *Compared) {
	rows := [][]string{{"", "", "95 % interval", ""}}
	for i := range c.Comparisons {
		e := &c.Comparisons[i]
		if len(e.Trials) > 1 {
			continue
		}
		t := &e.Trials[0]
		value := t.Difference
		if value == nil {
			value = t.Ratio
		}
		name := fmt.Sprintf("%s: %s, %s against %s%s; %s", entryName(e.Outcome, e.Of), e.Treatment, e.A, e.B, effectScale(e), t.Trial)
		rows = append(rows, []string{name, optional(value), between(t.CI95), t.Verdict})
	}
	for i := range c.Light {
		if s := &c.Light[i]; len(s.Trials) == 1 {
			rows = append(rows, []string{fmt.Sprintf("%s: light; %s", entryName(s.Outcome, s.Of), s.Trials[0].Trial), optional(s.Trials[0].Slope.Slope), between(s.Trials[0].CI95), ""})
		}
	}
	if len(rows) > 1 {
		p.heading("Found in one trial only")
		p.table(rows)
	}
}
