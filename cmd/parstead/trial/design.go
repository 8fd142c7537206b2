package trial

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/plan"
)

// Headings that mean something of their own in a sheet and so can't be the name
// of a treatment or an outcome.
var (
	layoutHeadings  = []string{"plant", "bin", "row", "column", "guard"}
	harvestHeadings = []string{"plant", "date", "status", "lost_on", "cause", "leave_out", "remarks"}
	resultNames     = []string{"light", "block", "intercept"} // what results call by these names themselves
	pairHeadings    = []string{"_gross", "_tare", "_again"}   // endings
)

func (l *loader) readTreatments(tables []*table) {
	for _, t := range tables {
		var tr plan.Treatment
		tr.Name, _ = t.text("name", "medium")
		if slices.Contains(layoutHeadings, strings.ToLower(tr.Name)) {
			t.fault("name", fmt.Sprintf("a treatment can't be called %q: layout.csv has a column of that name", tr.Name), "choose another name")
			tr.Name = ""
		}
		tr.Levels, _ = t.texts("levels", `["coir", "bark"]`)
		if n := len(tr.Levels); n == 1 {
			t.fault("levels", fmt.Sprintf("the treatment has the one level %q: there is nothing to compare", tr.Levels[0]), "add a level, or remove the treatment")
		}
		for i, level := range tr.Levels {
			if slices.Contains(tr.Levels[:i], level) {
				t.fault(fmt.Sprintf("levels[%d]", i), fmt.Sprintf("the level %q is there twice", level), "name each level once")
			}
		}
		setPer, _ := t.oneOf("set_per", string(analysis.PerPlant), string(analysis.PerBin), string(analysis.PerReservoir), string(analysis.Given))
		tr.SetPer = analysis.SetPer(setPer)
		t.need("name", "levels", "set_per")
		_, tr.SetsLight = t.oneOf("sets", "light")
		l.readTies(t, &tr)
		t.finish()
		l.Treatments = append(l.Treatments, tr)
	}
	l.checkUnique("treatment", tables, func(i int) string { return l.Treatments[i].Name })
}

// checkResultNames refuses treatments by whose name the results call something
// else, as long as renaming costs nothing. Once plants are dealt a new name would
// depart from the sealed plan.
func (l *loader) checkResultNames() {
	for i, tr := range l.Treatments {
		if !slices.Contains(resultNames, strings.ToLower(tr.Name)) {
			continue
		}
		at, says := l.doc.at("treatment[%d].name", i), fmt.Sprintf("the treatment is called %q, and so is something else in the results: nobody could tell the two apart", tr.Name)
		if l.Dealt {
			l.warn(at, says, "read the results with care; the name stands in the plan that was sealed, so call it otherwise in the next trial")
		} else {
			l.fault(at, says, fmt.Sprintf("rename it, to %s_level or the like", tr.Name))
		}
	}
}

func (l *loader) readOutcomes(tables []*table) {
	primary := 0 // line of the primary outcome
	for _, t := range tables {
		o := l.readOutcome(t)
		if o.Primary && primary > 0 {
			t.fault("primary", fmt.Sprintf("two outcomes are primary: the other is in line %d", primary), "keep primary = true at the one that the trial was made for")
		} else if o.Primary {
			primary = t.at("primary").line
		}
		l.Outcomes = append(l.Outcomes, o)
	}
	l.checkUnique("outcome", tables, func(i int) string { return l.Outcomes[i].Name })
	for i, o := range l.Outcomes {
		for j, tr := range l.Treatments {
			if o.Name != "" && strings.EqualFold(o.Name, tr.Name) {
				tables[i].fault("name", fmt.Sprintf("the outcome %q is also a treatment, in line %d", o.Name, l.doc.at("treatment[%d]", j).line), "give one another name")
			}
		}
	}
}

func (l *loader) readOutcome(t *table) Outcome {
	var o Outcome
	o.Name, _ = t.text("name", "biomass_g")
	if !checkOutcomeName(t, o.Name) {
		o.Name = ""
	}
	name, _ := t.oneOf("kind", kind.Names()...)
	o.Kind = analysis.Kind(name)
	t.need("name", "kind")
	o.Unit, _ = t.text("unit", "g")
	o.Basis, _ = t.oneOf("basis", "fresh", "dry")
	o.Start, _ = t.text("start", "start_g")
	o.StartBasis, _ = t.oneOf("start_basis", "fresh", "dry")
	scale, scaled := t.oneOf("scale", string(analysis.Natural), string(analysis.Log))
	o.Scale = analysis.Natural
	switch {
	case scaled:
		o.Scale = analysis.Scale(scale)
	case o.Start != "":
		o.Scale = analysis.Log
	}
	o.Primary = t.flag("primary")
	o.Matters = readMatters(t)
	only, _ := t.table("only")
	for _, column := range slices.Sorted(maps.Keys(only.values)) {
		if value, ok := only.text(column, "..."); ok {
			if o.Only == nil {
				o.Only = map[string]string{}
			}
			o.Only[column] = value
		}
	}
	o.Exposure, _ = t.text("exposure", "leaves")
	if name != "" {
		kind.Of(o.Kind).Misplaced(func(key string, of kind.Kind) {
			if t.has(key) {
				t.fault(key, fmt.Sprintf("%s belongs to %s, and %q is a %s", key, of.Says, o.Name, name), "remove it, or correct kind")
			}
		})
	}
	switch {
	case t.has("start_basis") && !t.has("start"):
		t.fault("start_basis", "start_basis is there without start", "add start, or remove start_basis")
	case o.StartBasis == "":
		o.StartBasis = o.Basis
	case o.StartBasis != o.Basis && t.has("basis"):
		t.fault("start_basis", fmt.Sprintf("%q sets a %s mass against a %s start", o.Name, o.Basis, o.StartBasis), "weigh both alike, or leave start out")
	}
	t.finish()
	return o
}

// checkOutcomeName complains of names that harvest.csv uses otherwise.
func checkOutcomeName(t *table, name string) bool {
	folded := strings.ToLower(name)
	if slices.Contains(harvestHeadings, folded) {
		t.fault("name", fmt.Sprintf("an outcome can't be called %q: harvest.csv has a column of that name", name), "choose another name")
		return false
	}
	for _, ending := range pairHeadings {
		if strings.HasSuffix(folded, ending) {
			t.fault("name", fmt.Sprintf("an outcome's name can't end in %s: harvest.csv uses that for weighings", ending), "choose another name")
			return false
		}
	}
	return true
}

// readMatters reads "10%" as a share and a number, or a text with one, as a
// difference in the outcome's unit.
func readMatters(t *table) plan.Matters {
	m, _ := get(t, "matters", "a share or a number", `"10%"`, func(v any) (plan.Matters, error) {
		if x, err := asNumber(v); err == nil {
			return plan.Matters{Absolute: x}, positive(x)
		}
		s, err := asText(v)
		if err != nil {
			return plan.Matters{}, err
		}
		number, isShare := strings.CutSuffix(s, "%")
		x, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil {
			return plan.Matters{}, fmt.Errorf("%q is neither a share nor a number", s)
		}
		if isShare {
			return plan.Matters{Share: x / 100}, positive(x)
		}
		return plan.Matters{Absolute: x}, positive(x)
	})
	return m
}

func positive(x float64) error {
	if x > 0 && !math.IsInf(x, 1) {
		return nil
	}
	return fmt.Errorf("%v is not above 0", x)
}
