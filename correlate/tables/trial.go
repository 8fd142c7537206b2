package tables

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/phrase"
)

// Lost is the table of plants lost, for a page; none where none could be.
func Lost(list []analysis.Losses) []Table { return onPage(lost(list)) }

// Ranks is the table of rank correlations, for a page; none without any.
func Ranks(list []analysis.Correlation) []Table { return onPage(ranks(list)) }

// Electricity is the tables of what was drawn, what light came of it, and what one
// more unit of an outcome took, for a page.
func Electricity(e *analysis.Electricity) []Table {
	if e == nil {
		return nil
	}
	checks := table{title: cell{page: "electricity: checks"}, columns: []cell{{}, same("of"), same("says")}}
	for _, c := range e.Checks {
		checks.add(same(string(c.Check)), same(c.Of), same(c.Says))
	}
	return onPage(draws(e), currents(e), gains(e), checks)
}

func lost(list []analysis.Losses) table {
	t := table{
		title:   cell{"Plants lost (accidents are no treatment's loss)", "plants lost by treatment"},
		note:    cell{page: "Accidents are no treatment's losses. p: exact test that losses do not differ between the levels."},
		columns: []cell{{}, same("plants"), same("lost"), {page: "causes"}, {"accident", "by accident"}, same("p")},
	}
	for _, l := range list {
		var causes []string
		for _, c := range slices.Sorted(maps.Keys(l.Causes)) {
			if c != analysis.Accident { // in a column of its own
				causes = append(causes, fmt.Sprintf("%s %d", c, l.Causes[c]))
			}
		}
		t.add(of(l.Treatment+" "+l.Level, l.Of), count(l.N), count(l.Lost), same(strings.Join(causes, ", ")), count(l.Accident), chance(l.P))
	}
	return t
}

func ranks(list []analysis.Correlation) table {
	t := table{
		title:   cell{"Outcomes against one another (ranks within treatments)", "outcomes against one another: rank correlations within treatments"},
		columns: []cell{{}, same("plants"), {"rho", "rank correlation"}, same("95 % interval"), same("p")},
	}
	for _, c := range list {
		t.add(of(c.A+" and "+c.B, c.Of), count(c.N), number(c.Rho), between(c.CI95), chance(c.P))
	}
	return t
}

func draws(e *analysis.Electricity) table {
	total := "All in all: not known."
	if e.KWh != nil {
		total = fmt.Sprintf("All in all, %s to %s: %s kWh", e.From, e.To, phrase.Number(*e.KWh))
		if e.Cost != nil {
			total += fmt.Sprintf(", %s %s", phrase.Number(*e.Cost), e.Currency)
		}
		total += "."
	}
	t := table{
		title:   cell{page: "electricity: what drew it"},
		columns: []cell{{}, same("W"), same("hours"), same("kWh"), same(e.Currency), same("for")},
		note:    cell{page: total + " Hours are " + e.Hours + ". What serves several bins is shared by the area of their grids."},
	}
	for _, d := range e.Draws {
		t.add(same(d.Name+" ("+d.Kind+")"), number(d.Watts), number(d.Hours), number(d.KWh), number(d.Cost), same(strings.Join(d.Bins, ", ")))
	}
	return t
}

func currents(e *analysis.Electricity) table {
	t := table{
		title: cell{page: "electricity: the light that came of it"},
		columns: []cell{
			{},
			{page: "plants"},
			same("kWh"), same(e.Currency),
			{"mol", "mol on the grid"},
			same("kWh per mol"),
			{page: "at the brightest position"},
			{page: "at the darkest"},
			{page: e.Currency + " per mol"},
			{"error", "error of the light"},
			same("light from"),
		},
		note: cell{page: "kWh per mol: of the lamps alone, on the area of the bins' grids. The error is one standard deviation of the light."},
	}
	for _, b := range e.Bins {
		var brightest, darkest, wrong cell
		if p := b.KWhPerMolBetween; p != nil {
			brightest, darkest = number(&p[0]), number(&p[1])
		}
		if b.RelativeError != nil {
			wrong = cell{phrase.Percent(*b.RelativeError), phrase.WholePercent(*b.RelativeError)}
		}
		t.add(same(b.Bin), cell{}, number(b.KWh), number(b.Cost), number(b.Mol), number(b.KWhPerMol), brightest, darkest, number(b.CostPerMol), wrong, same(b.Source))
	}
	for _, l := range e.Levels {
		t.add(same(l.Treatment+" "+l.Level), count(l.Plants), number(l.KWh), number(l.Cost), number(l.Mol), number(l.KWhPerMol), cell{}, cell{}, number(l.CostPerMol), cell{}, cell{})
	}
	return t
}

func gains(e *analysis.Electricity) table {
	t := table{
		title: cell{"Electricity for one more unit of an outcome", "electricity for one more unit of an outcome"},
		columns: []cell{
			{},
			{page: "by"},
			{page: "more kWh a plant"},
			{page: "gain a plant"},
			{page: "95 % interval"},
			same("kWh per unit"),
			{"95 % interval", "its interval"},
			{e.Currency, e.Currency + " per unit"},
		},
		note: cell{page: "By light: of 1 mol m⁻² d⁻¹ more on a plant, if lamps draw in proportion to the light of their bins. Unbounded: the gain's interval holds zero. The interval is that of the gain; the current is taken as it stands, an equal share for every plant that was dealt to a bin, while a gain is that of plants which have a value: where some were lost, a unit took more."},
	}
	for _, g := range e.Gains {
		measured := g.Outcome
		if g.Unit != "" {
			measured += ", " + g.Unit
		}
		by := same("more " + g.By)
		if g.More != "" {
			by = cell{g.By + " " + g.More + " for " + g.Less, g.By + ": " + g.More + " in place of " + g.Less}
		}
		each, interval := number(g.KWhPerUnit), between(g.KWhPerUnitCI95)
		switch g.Verdict {
		case analysis.Unbounded:
			each = same(analysis.Unbounded)
			if g.KWhAtLeast != nil {
				interval = same("at least " + phrase.Number(*g.KWhAtLeast))
			}
		case analysis.Loss:
			each = same("gave less")
		}
		t.rows = append(t.rows, row{under: cell{text: of(g.Outcome, g.Of).text}, cells: []cell{
			{by.text, of(measured, g.Of).page}, by, number(&g.KWhPerPlant), number(&g.GainPerPlant), between(&g.GainCI95), each, interval, number(g.CostPerUnit),
		}})
	}
	return t
}
