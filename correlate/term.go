package correlate

import (
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/model"
)

// treatment is the index of the treatment called so: no two have one name.
func (in question) treatment(name string) int {
	return slices.IndexFunc(in.Treatments, func(t Treatment) bool { return t.Name == name })
}

func (in question) treatmentTerm(name string) analysis.Term {
	return analysis.TreatmentTerm(in.treatment(name))
}

// level is a treatment's level, both by name, as a cell.
func (in question) level(treatment, level string) analysis.At {
	t := in.treatment(treatment)
	return analysis.At{Treatment: t, Level: slices.Index(in.Treatments[t].Levels, level)}
}

// term is what an effect of a model is of.
func (s *sample) term(d *model.Design, kind model.Kind, name string) analysis.Term {
	t := analysis.Term{Kind: kind, A: analysis.None, B: analysis.None}
	if kind == model.KindCovariate {
		t.A = slices.IndexFunc(s.covariates(), func(c Column) bool { return c.Name == name })
	}
	if e, ok := d.Effect(kind, name); ok && t.OfTreatments() {
		for i, at := range []*int{&t.A, &t.B}[:len(e.Factors)] {
			*at = s.in.treatment(d.Factors[e.Factors[i]].Name)
		}
	}
	return t
}

// family is what a family of means is of.
func (s *sample) family(d *model.Design, f model.Family) analysis.Term {
	if len(f.Cells[0]) == 1 {
		return s.term(d, model.KindTreatment, f.Treatment)
	}
	return s.term(d, model.KindInteraction, f.Treatment)
}

// cell is a model's cell.
func (s *sample) cell(d *model.Design, cell []model.At) analysis.Cell {
	list := make(analysis.Cell, len(cell))
	for i, at := range cell {
		list[i] = s.in.level(d.Factors[at.Factor].Name, d.Factors[at.Factor].Levels[at.Level])
	}
	return list
}

// holding lists the sample's rows that are in a cell.
func (s *sample) holding(cell analysis.Cell) []int {
	var rows []int
	for k, i := range s.rows {
		if !slices.ContainsFunc(cell, func(at analysis.At) bool { return s.in.Treatments[at.Treatment].Codes[i] != at.Level }) {
			rows = append(rows, k)
		}
	}
	return rows
}
