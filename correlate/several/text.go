package several

import (
	"cmp"
	"fmt"
	"io"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
	"parstead/correlate/tables"
)

// WriteText writes the comparison for a terminal, 80 columns wide: the trials,
// what several of them have, then what one has.
func (c *Compared) WriteText(w io.Writer) error {
	p := tables.NewLines(w)
	trials := tables.Table{Head: []string{"", "days", "from", "to", "plants"}}
	for _, t := range c.Trials {
		trials.Rows = append(trials.Rows, []string{t.Trial, fmt.Sprint(t.Days), t.Starts, t.Ends, fmt.Sprint(t.Plants)})
	}
	p.Table(trials)
	p.Line("")
	p.Wrapped("", "", "A trial's interval holds for all pairs of its treatment at once (95 %). The rows these trials (the mean of what was found in them) and trials like these (what the next one may be expected to find on average) count each trial once, hold one at a time and are exploratory.")
	for _, r := range c.Remarks {
		p.Wrapped("  • ", "    ", r)
	}
	title := ""
	begin := func(text, asked string) {
		if text != title {
			p.Line("")
			p.Title(text)
			p.Wrapped("", "  ", asked+".")
			title = text
		}
		p.Line("")
	}
	for i := range c.Comparisons {
		if e := &c.Comparisons[i]; len(e.Trials) > 1 {
			begin(phrase.About(e.Outcome, e.Of, "")+": "+e.Treatment, askedOf(e.Trials, func(t EffectIn) (string, Asked) { return t.Trial, t.Asked }))
			effectOver(p, e)
		}
	}
	for i := range c.Light {
		if s := &c.Light[i]; len(s.Trials) > 1 {
			begin(phrase.About(s.Outcome, s.Of, "")+": "+lightWords(s.Trials[0].Kind), askedOf(s.Trials, func(t SlopeIn) (string, Asked) { return t.Trial, t.Asked }))
			slopeOver(p, s)
		}
	}
	if title == "" {
		p.Heading("No two of these trials share an outcome with a treatment's levels or light: give what is alike the same names, also under analyse_by.")
	}
	c.once(p)
	return p.Flush()
}

// askedOf words what each trial asked.
func askedOf[T any](list []T, of func(T) (trial string, asked Asked)) string {
	words := make([]string, len(list))
	for i, t := range list {
		trial, asked := of(t)
		words[i] = trial + ": " + askedWords(asked)
	}
	return strings.Join(words, "; ")
}

func effectOver(p *tables.Lines, e *ComparedEffect) {
	p.Wrapped("", "  ", fmt.Sprintf("%s against %s%s", e.A, e.B, effectScale(e)))
	t := tables.Table{Head: make([]string, 5)}
	for _, in := range e.Trials {
		t.Rows = append(t.Rows, []string{in.Trial, phrase.Optional(in.Value()), phrase.Ends(in.CI95), fmt.Sprintf("%d + %d %ss", in.NA, in.NB, in.Unit), in.Verdict})
	}
	t.Rows = append(t.Rows, pooledRows(e.Pooled)...)
	p.Table(t)
	p.Wrapped("  ", "  ", e.Says)
}

// effectScale words what an effect's numbers are, where all trials have the same.
func effectScale(e *ComparedEffect) string {
	word := func(t *EffectIn) string {
		contrast := kind.Compared(t.Kind, t.Scale)
		if contrast == kind.Difference && t.OutcomeUnit != "" {
			return ", difference in " + t.OutcomeUnit
		}
		return ", " + string(contrast)
	}
	return alike(", each as its trial has it", e.Trials, word)
}

// alike words what all trials have alike, or says that they don't.
func alike[T any](otherwise string, list []T, word func(*T) string) string {
	text := word(&list[0])
	for i := range list {
		if word(&list[i]) != text {
			return otherwise
		}
	}
	return text
}

func slopeOver(p *tables.Lines, s *ComparedSlope) {
	t := tables.Table{Head: make([]string, 5)}
	for _, in := range s.Trials {
		t.Rows = append(t.Rows, []string{
			in.Trial, phrase.Optional(in.Slope.Slope), phrase.Between(in.CI95), fmt.Sprintf("%d plants", in.N),
			fmt.Sprintf("%s–%s", phrase.Number(in.DLI[0]), phrase.Number(in.DLI[1])),
		})
	}
	t.Rows = append(t.Rows, pooledRows(s.Pooled)...)
	scale := alike("each as its trial has it", s.Trials, func(in *SlopeIn) string { return slopeScale(in.Asked) })
	p.Wrapped("", "  ", fmt.Sprintf("slope, %s; light of the plants in mol m⁻² d⁻¹", scale))
	p.Table(t)
	p.Wrapped("  ", "  ", s.Says)
}

// lightWords tells what a slope on light is taken over: bins stay out of models
// of single answers.
func lightWords(k analysis.Kind) string {
	if kind.Of(k).InBins {
		return "light, within bins"
	}
	return "light"
}

// slopeScale words what a slope's number is.
func slopeScale(a Asked) string {
	return cmp.Or(kind.Compared(a.Kind, a.Scale).Analysed(), a.OutcomeUnit, "units") + " per mol m⁻² d⁻¹"
}

// pooledRows are the means over trials.
func pooledRows(pooled *PooledEffect) [][]string {
	if pooled == nil {
		return nil
	}
	row := func(name string, m PooledMean) []string {
		return []string{name, phrase.Optional(m.Value()), phrase.Between(m.CI95), "", ""}
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
func (c *Compared) once(p *tables.Lines) {
	title, elsewhere, begun := "", "", false
	t := tables.Table{Head: make([]string, 4)}
	flush := func() {
		if len(t.Rows) == 0 {
			return
		}
		p.Line("")
		p.Wrapped("  ", "    ", title)
		p.Table(t)
		if elsewhere != "" {
			p.Wrapped("  ", "  ", elsewhere)
		}
		t.Rows = nil
	}
	add := func(of, why string, row ...string) {
		if !begun {
			p.Heading("Found in one trial only")
			begun = true
		}
		if of != title || why != elsewhere {
			flush()
			title, elsewhere = of, why
		}
		t.Rows = append(t.Rows, row)
	}
	for i := range c.Comparisons {
		if e := &c.Comparisons[i]; len(e.Trials) == 1 {
			in := &e.Trials[0]
			of := fmt.Sprintf("%s: %s%s; %s, %s", phrase.About(e.Outcome, e.Of, ""), e.Treatment, effectScale(e), in.Trial, askedWords(in.Asked))
			add(of, e.elsewhere, "  "+e.A+" against "+e.B, phrase.Optional(in.Value()), phrase.Ends(in.CI95), in.Verdict)
		}
	}
	for i := range c.Light {
		if s := &c.Light[i]; len(s.Trials) == 1 {
			in := &s.Trials[0]
			of := fmt.Sprintf("%s: %s; %s, %s", phrase.About(s.Outcome, s.Of, ""), lightWords(in.Kind), in.Trial, askedWords(in.Asked))
			add(of, "", "  slope, "+slopeScale(in.Asked), phrase.Optional(in.Slope.Slope), phrase.Between(in.CI95), "")
		}
	}
	flush()
}
