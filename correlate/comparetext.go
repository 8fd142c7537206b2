package correlate

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"parstead/correlate/phrase"
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
			title = p.title(title, fmt.Sprintf("%s: %s", phrase.About(e.Outcome, e.Of, ""), e.Treatment), asked)
			p.effectOver(e)
		}
	}
	for i := range c.Light {
		if s := &c.Light[i]; len(s.Trials) > 1 {
			asked := make([]string, len(s.Trials))
			for k, t := range s.Trials {
				asked[k] = t.Trial + ": " + askedWords(t.Asked)
			}
			title = p.title(title, phrase.About(s.Outcome, s.Of, "")+": "+lightWords(s.Trials[0].Kind), asked)
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
			fmt.Sprintf("%s–%s", phrase.Number(t.DLI[0]), phrase.Number(t.DLI[1])),
		})
	}
	rows = append(rows, pooledRows(s.Pooled)...)
	p.wrapped("", "  ", fmt.Sprintf("slope, %s; light of the plants in mol m⁻² d⁻¹", slopesScale(s)))
	p.table(rows)
	p.wrapped("  ", "  ", s.Says)
}

// lightWords tells what a slope on light is taken over: bins stay out of models
// of single answers.
func lightWords(k Kind) string {
	if k == YesNo {
		return "light"
	}
	return "light, within bins"
}

// slopesScale words what slopes' numbers are, where all trials have the same.
func slopesScale(s *ComparedSlope) string {
	text := slopeScale(s.Trials[0].Asked)
	for _, t := range s.Trials[1:] {
		if slopeScale(t.Asked) != text {
			return "each as its trial has it"
		}
	}
	return text
}

// slopeScale words what a slope's number is.
func slopeScale(a Asked) string {
	what := a.OutcomeUnit
	switch {
	case a.Scale == Log || a.Kind == Count:
		what = "natural logarithm"
	case a.Kind == YesNo:
		what = "log odds"
	case what == "":
		what = "units"
	}
	return what + " per mol m⁻² d⁻¹"
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

// once lists what one trial alone has, a table for each treatment.
func (p *printer) once(c *Compared) {
	var title, elsewhere string
	var rows [][]string
	flush := func() {
		if len(rows) == 0 {
			return
		}
		p.line("")
		p.wrapped("  ", "    ", title)
		p.table(append([][]string{make([]string, 4)}, rows...))
		if elsewhere != "" {
			p.wrapped("  ", "  ", elsewhere)
		}
		rows = nil
	}
	begun := false
	add := func(of, why string, row ...string) {
		if !begun {
			p.heading("Found in one trial only")
			begun = true
		}
		if of != title || why != elsewhere {
			flush()
			title, elsewhere = of, why
		}
		rows = append(rows, row)
	}
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
		of := fmt.Sprintf("%s: %s%s; %s, %s", phrase.About(e.Outcome, e.Of, ""), e.Treatment, effectScale(e), t.Trial, askedWords(t.Asked))
		add(of, e.elsewhere, "  "+e.A+" against "+e.B, optional(value), between(t.CI95), t.Verdict)
	}
	for i := range c.Light {
		s := &c.Light[i]
		if len(s.Trials) > 1 {
			continue
		}
		t := &s.Trials[0]
		of := fmt.Sprintf("%s: %s; %s, %s", phrase.About(s.Outcome, s.Of, ""), lightWords(t.Kind), t.Trial, askedWords(t.Asked))
		add(of, "", "  slope, "+slopeScale(t.Asked), optional(t.Slope.Slope), between(t.CI95), "")
	}
	flush()
}
