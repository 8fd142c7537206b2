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

// term is a model's term among what was asked.
func (s *sample) term(m model.Term) analysis.Term {
	t := analysis.Term{Kind: m.Kind, A: analysis.None, B: analysis.None}
	switch m.Kind {
	case model.KindCovariate:
		t.A = slices.IndexFunc(s.covariates(), func(c Column) bool { return c.Name == m.A })
	case model.KindTreatment:
		t.A = s.in.treatment(m.A)
	case model.KindInteraction:
		t.A, t.B = s.in.treatment(m.A), s.in.treatment(m.B)
	}
	return t
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
