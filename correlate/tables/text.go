package tables

import (
	"fmt"
	"io"

	"parstead/correlate/analysis"
	"parstead/correlate/phrase"
	"parstead/correlate/sentences"
)

// WriteFull writes all of the results for a terminal: the answer, then for each outcome
// its findings, tables and checks, and what their terms mean.
func WriteFull(w io.Writer, title string, r *analysis.Result) error {
	p := NewLines(w)
	p.answer(title, r)
	for i := range r.Outcomes {
		p.Line("")
		p.outcome(r.Asked, &r.Outcomes[i])
	}
	p.tables(lost(r.Lost), ranks(r.OutcomeCorrelations))
	p.electricity(r.Electricity)
	if len(r.Departures) > 0 {
		p.Heading("Departures from the plan")
		for _, d := range r.Departures {
			p.Wrapped("  - ", "    ", d)
		}
	}
	p.glossary()
	return p.Flush()
}

func (p *Lines) outcome(in *analysis.Input, o *analysis.OutcomeResult) {
	p.Title(phrase.About(o.Name, o.Of, ""))
	what := string(o.Kind)
	if o.Unit != "" {
		what += " in " + o.Unit
	}
	if o.Scale == analysis.Log {
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
	what += "."
	if standing := sentences.Standing(in, o); standing != "" {
		what += " " + standing
	}
	p.Wrapped("", "", what)
	p.findings(o.Findings)
	p.tables(groups(o), comparisons(in, o), effects(in, o), slopes(o), curves(o))
	if len(o.Checks) > 0 {
		p.Heading("Checks")
		p.checks(o.Checks)
	}
}

// findings writes sentences under what they may be taken for.
func (p *Lines) findings(list []analysis.Finding) {
	for i, f := range list {
		if i == 0 || f.Kind != list[i-1].Kind {
			p.Line("")
			p.Line(sentences.Heading(f.Kind))
		}
		p.Wrapped("  • ", "    ", f.Says)
	}
}

func (p *Lines) checks(list []analysis.Check) {
	for _, c := range list {
		text := string(c.Check)
		if c.Of != "" {
			text += " (" + c.Of + ")"
		}
		text += ": " + c.Says
		if c.P != nil {
			text += "; p " + phrase.P(*c.P)
		}
		p.Wrapped("  ", "      ", text+".")
	}
}

func (p *Lines) electricity(e *analysis.Electricity) {
	if e == nil {
		return
	}
	total := "not known"
	if e.KWh != nil {
		total = phrase.Current(e.KWh, e.Cost, e.Currency)
	}
	p.Heading("Electricity")
	p.Wrapped("  ", "  ", fmt.Sprintf("%s to %s: %s. Hours are %s.", e.From, e.To, total, e.Hours))
	p.tables(currents(e), gains(e))
	p.checks(e.Checks)
}
