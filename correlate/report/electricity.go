package report

import (
	"fmt"
	"strconv"
	"strings"

	"parstead/correlate"
	"parstead/correlate/phrase"
)

// electricityTables are what was drawn, what light came of it, and what one more
// unit of an outcome took.
func electricityTables(e *correlate.Electricity) []table {
	if e == nil {
		return nil
	}
	total := "All in all: not known."
	if e.KWh != nil {
		total = fmt.Sprintf("All in all, %s to %s: %s kWh", e.From, e.To, number(*e.KWh))
		if e.Cost != nil {
			total += fmt.Sprintf(", %s %s", number(*e.Cost), e.Currency)
		}
		total += "."
	}
	draws := table{Caption: "electricity: what drew it", Head: []string{"", "W", "hours", "kWh", e.Currency, "for"}, Note: total + " Hours are " + e.Hours + ". What serves several bins is shared by the area of their grids."}
	for _, d := range e.Draws {
		draws.Rows = append(draws.Rows, []string{d.Name + " (" + d.Kind + ")", known(d.Watts), known(d.Hours), known(d.KWh), known(d.Cost), strings.Join(d.Bins, ", ")})
	}
	light := table{
		Caption: "electricity: the light that came of it",
		Head:    []string{"", "plants", "kWh", e.Currency, "mol on the grid", "kWh per mol", "at the brightest position", "at the darkest", e.Currency + " per mol", "error of the light", "light from"},
		Note:    "kWh per mol: of the lamps alone, on the area of the bins' grids. The error is one standard deviation of the light.",
	}
	for _, b := range e.Bins {
		row := []string{b.Bin, "", known(b.KWh), known(b.Cost), known(b.Mol), known(b.KWhPerMol), "", "", known(b.CostPerMol), "", b.Source}
		if p := b.KWhPerMolBetween; p != nil {
			row[6], row[7] = number(p[0]), number(p[1])
		}
		if b.RelativeError != nil {
			row[9] = percent(*b.RelativeError)
		}
		light.Rows = append(light.Rows, row)
	}
	for _, l := range e.Levels {
		light.Rows = append(light.Rows, []string{l.Treatment + " " + l.Level, strconv.Itoa(l.Plants), known(l.KWh), known(l.Cost), known(l.Mol), known(l.KWhPerMol), "", "", known(l.CostPerMol), "", ""})
	}
	list := []table{draws, light, gainsTable(e), checksOf(e)}
	var filled []table
	for _, t := range list {
		if len(t.Rows) > 0 {
			filled = append(filled, t.without())
		}
	}
	return filled
}

func gainsTable(e *correlate.Electricity) table {
	t := table{
		Caption: "electricity for one more unit of an outcome",
		Head:    []string{"", "by", "more kWh a plant", "gain a plant", "95 % interval", "kWh per unit", "its interval", e.Currency + " per unit"},
		Note:    "By light: of 1 mol m⁻² d⁻¹ more on a plant, if lamps draw in proportion to the light of their bins. Unbounded: the gain's interval holds zero. The interval is that of the gain; the current is taken as it stands, an equal share for every plant that was dealt to a bin, while a gain is that of plants which have a value: where some were lost, a unit took more.",
	}
	for _, g := range e.Gains {
		name := g.Outcome
		if g.Unit != "" {
			name += ", " + g.Unit
		}
		if len(g.Of) > 0 {
			name = phrase.Of(g.Of) + ": " + name
		}
		by := "more " + g.By
		if g.More != "" {
			by = g.By + ": " + g.More + " in place of " + g.Less
		}
		row := []string{name, by, number(g.KWhPerPlant), number(g.GainPerPlant), between(&g.GainCI95), known(g.KWhPerUnit), between(g.KWhPerUnitCI95), known(g.CostPerUnit)}
		switch g.Verdict {
		case correlate.Unbounded:
			row[5] = correlate.Unbounded
			if g.KWhAtLeast != nil {
				row[6] = "at least " + number(*g.KWhAtLeast)
			}
		case correlate.Loss:
			row[5] = "gave less"
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func checksOf(e *correlate.Electricity) table {
	t := table{Caption: "electricity: checks", Head: []string{"", "of", "says"}}
	for _, c := range e.Checks {
		t.Rows = append(t.Rows, []string{c.Check, c.Of, c.Says})
	}
	return t
}
