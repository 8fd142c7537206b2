package correlate

import (
	"fmt"

	"parstead/correlate/phrase"
)

// electricity writes what was drawn and what came of it.
func (p *printer) electricity(e *Electricity) {
	if e == nil {
		return
	}
	p.heading("Electricity")
	total := "not known"
	if e.KWh != nil {
		total = phrase.Current(e.KWh, e.Cost, e.Currency)
	}
	p.wrapped("  ", "  ", fmt.Sprintf("%s to %s: %s. Hours are %s.", e.From, e.To, total, e.Hours))
	rows := [][]string{{"", "kWh", e.Currency, "mol", "kWh per mol", "error", "light from"}}
	for _, b := range e.Bins {
		wrong := ""
		if b.RelativeError != nil {
			wrong = phrase.Percent(*b.RelativeError)
		}
		rows = append(rows, []string{b.Bin, optional(b.KWh), optional(b.Cost), optional(b.Mol), optional(b.KWhPerMol), wrong, b.Source})
	}
	for _, l := range e.Levels {
		rows = append(rows, []string{l.Treatment + " " + l.Level, optional(l.KWh), optional(l.Cost), optional(l.Mol), optional(l.KWhPerMol), "", ""})
	}
	p.line("")
	p.table(blankOut(rows))
	p.gains(e)
	for _, c := range e.Checks {
		text := c.Check
		if c.Of != "" {
			text += " (" + c.Of + ")"
		}
		p.wrapped("  ", "      ", text+": "+c.Says+".")
	}
}

func (p *printer) gains(e *Electricity) {
	if len(e.Gains) == 0 {
		return
	}
	rows := [][]string{{"", "kWh per unit", "95 % interval", e.Currency}}
	last := ""
	for _, g := range e.Gains {
		name := g.Outcome
		if len(g.Of) > 0 {
			name += ", " + phrase.Of(g.Of)
		}
		if name != last {
			last = name
			rows = append(rows, []string{name, "", "", ""})
		}
		row := []string{"  more " + g.By, optional(g.KWhPerUnit), between(g.KWhPerUnitCI95), optional(g.CostPerUnit)}
		if g.More != "" {
			row[0] = "  " + g.By + " " + g.More + " for " + g.Less
		}
		switch g.Verdict {
		case Unbounded:
			row[1] = Unbounded
			if g.KWhAtLeast != nil {
				row[2] = "at least " + phrase.Number(*g.KWhAtLeast)
			}
		case Loss:
			row[1] = "gave less"
		}
		rows = append(rows, row)
	}
	p.heading("Electricity for one more unit of an outcome")
	p.table(blankOut(rows))
}
