package correlate

import (
	"errors"
	"slices"

	"parstead/correlate/model"
)

// layer is a model of one outcome at one level of replication.
type layer struct {
	unit       model.Unit
	design     *model.Design
	fit        model.Linear
	tests      []model.Test
	families   []model.Family
	treatments []string // those whose replicate the layer's unit is
	names      []string // of its units where these are bins or reservoirs
	err        error    // why there is no fit
}

// layers are the models of one outcome, plants first.
type layers struct {
	all    []layer
	plants *model.Fit      // the plant layer of a measure; nil where it has none
	counts *model.CountFit // the plant layer of a count
}

// named lists the treatments that are set per one of the units.
func named(treatments []model.Treatment, units ...model.Unit) []string {
	var names []string
	for _, t := range treatments {
		if slices.Contains(units, t.SetPer) {
			names = append(names, t.Name)
		}
	}
	return names
}

// measureLayers fits a measure by least squares.
func (s *sample) measureLayers(t model.Terms) (*layers, error) {
	strata, err := model.FitStrata(len(s.y), t, s.reservoir(), s.y)
	if err != nil {
		return nil, err
	}
	plant := layer{unit: model.PerPlant, err: strata.PlantErr, treatments: named(t.Treatments, model.PerPlant)}
	if f := strata.Plant; f != nil && plant.err == nil {
		plant.design, plant.fit, plant.tests, plant.families = f.Design, f, f.Partial(), f.Design.Families()
	}
	l := &layers{all: []layer{plant}}
	if plant.err == nil {
		l.plants = strata.Plant
	}
	for _, st := range []*model.Stratum{strata.Bin, strata.Reservoir} {
		if st == nil {
			continue
		}
		up := layer{unit: st.Unit, err: st.Err, treatments: named(t.Treatments, st.Unit), names: st.Names}
		if st.Err == nil {
			up.design, up.fit, up.tests, up.families = st.Design, st.Fit, st.Fit.Partial(), st.Families()
		}
		l.all = append(l.all, up)
	}
	return l, nil
}

// countLayers fits a count by quasi-likelihood; treatments of whole bins or
// reservoirs from these units' totals.
func (s *sample) countLayers(t model.Terms) (*layers, error) {
	strata, err := model.CountInStrata(len(s.y), t, s.reservoir(), s.y, s.exposure)
	if err != nil {
		return nil, err
	}
	plant := layer{unit: model.PerPlant, err: strata.PlantErr, treatments: named(t.Treatments, model.PerPlant)}
	if f := strata.Plant; f != nil && plant.err == nil {
		plant.design, plant.fit, plant.families = f.Design, f, f.Design.Families()
		plant.tests, plant.err = f.Partial()
	}
	l := &layers{all: []layer{plant}}
	if plant.err == nil {
		l.counts = strata.Plant
	}
	for _, st := range []*model.CountStratum{strata.Bin, strata.Reservoir} {
		if st == nil {
			continue
		}
		up := layer{unit: st.Unit, err: st.Err, treatments: named(t.Treatments, st.Unit), names: st.Names}
		if st.Err == nil {
			up.design, up.fit, up.families = st.Design, st.Fit, st.Families()
			up.tests, up.err = st.Fit.Partial()
		}
		l.all = append(l.all, up)
	}
	return l, nil
}

// reservoir is the reservoirs over the sample's rows; nil where there are none.
func (s *sample) reservoir() *model.Factor {
	if s.in.Reservoir == nil {
		return nil
	}
	f := s.factor(*s.in.Reservoir)
	return &f
}

// isLight tells whether an error is that light cannot be told apart from what
// else is in the model.
func isLight(err error) bool {
	var c *model.CollinearError
	return errors.As(err, &c) && c.Column.Of == "light"
}

// over is a factor's used levels as rows.
type over struct {
	factor model.Factor // with its used levels only
	first  []int        // a row of each level
}

func overUnits(f model.Factor) over {
	first := make([]int, len(f.Levels)) // a row of each level, plus one
	for i, l := range f.Of {
		if first[l] == 0 {
			first[l] = i + 1
		}
	}
	o := over{factor: model.Factor{Name: f.Name, Of: make([]int, len(f.Of))}}
	at := make([]int, len(f.Levels))
	for l, row := range first {
		if row > 0 {
			at[l] = len(o.first)
			o.first = append(o.first, row-1)
			o.factor.Levels = append(o.factor.Levels, f.Levels[l])
		}
	}
	for i, l := range f.Of {
		o.factor.Of[i] = at[l]
	}
	return o
}

// pick is another factor over the units.
func (o over) pick(f model.Factor) model.Factor {
	of := make([]int, len(o.first))
	for u, row := range o.first {
		of[u] = f.Of[row]
	}
	return model.Factor{Name: f.Name, Levels: f.Levels, Of: of}
}
