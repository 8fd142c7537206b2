package model

import (
	"errors"
	"fmt"
	"slices"
)

// Stratum is a model of one outcome at one level of replication: its rows are
// the plants, or bins or reservoirs, so that these are the replicates of the
// treatments they got as a whole.
type Stratum struct {
	Unit       Unit
	Treatments []string // those whose replicates its rows are
	Names      []string // of its rows where these are bins or reservoirs
	Response   Response // what was fitted, a value a row
	Design     *Design
	Model      Model
	Tests      []Test // of the model's effects
	Err        error  // why there is no model; ErrTooFew where each level has one unit
}

// Families lists what is compared in the stratum.
func (s *Stratum) Families() []Family {
	families := s.Design.Families()
	for i := range families {
		families[i].Unit = s.Unit
	}
	return families
}

// fit fills in what the design says of the response.
func (s *Stratum) fit(d *Design, y Response) {
	s.Design, s.Response = d, y
	s.Model, s.Err = y.fit(d)
}

// test tests the effects of a model that could be fitted.
func (s *Stratum) test() {
	if s.Err == nil {
		s.Tests, s.Err = s.Model.Partial()
	}
}

// FitStrata fits the plant stratum and those above it, plants first. Those of
// bins and of reservoirs are there where a treatment is set per one.
//
// Bin stratum: what the response makes of whole bins (see Response), on block,
// bin treatments and their interactions. If there are treatments set per
// reservoir too, the reservoirs stand in it as the bins stand in the plant
// stratum. Reservoir stratum: the same of whole reservoirs, on block, reservoir
// treatments and their interactions. A block enters a stratum if each of its
// units lies in one block. Testing among adjusted means is the classical
// split-plot analysis where the data are balanced.
//
// reservoir sorts the rows; nil where no treatment is set per reservoir. The
// error is one that no stratum can stand with; Stratum.Err tells of the rest.
func FitStrata(n int, t Terms, reservoir *Factor, y Response) ([]*Stratum, error) {
	d, err := NewDesign(n, t)
	if err != nil {
		return nil, err
	}
	plants := &Stratum{Unit: PerPlant, Treatments: named(t.Treatments, PerPlant)}
	plants.fit(d, y)
	if plants.Err != nil && (len(d.nested) == 0 || !errors.Is(plants.Err, ErrTooFew)) {
		return nil, plants.Err
	}
	plants.test()
	strata := []*Stratum{plants}
	for _, unit := range []Unit{PerBin, PerReservoir} {
		if !slices.Contains(d.units, unit) {
			continue
		}
		units, holder := d.Factors[d.bin], reservoir
		if unit == PerReservoir {
			if reservoir == nil {
				return nil, errNoReservoir
			}
			units, holder = d.used(*reservoir), nil
			if bins := d.Factors[d.bin]; !Holds(bins, units) {
				return nil, fmt.Errorf("bin %q stands on two reservoirs: mend the table", splitLevel(bins, units))
			}
		}
		above, err := y.over(d, units)
		if err != nil {
			return nil, err
		}
		strata = append(strata, wholeUnits(units, t).stratum(unit, holder, above))
	}
	return strata, nil
}

var errNoReservoir = errors.New("a treatment is set per reservoir: name the reservoir of each bin")

// named lists the treatments that are set per the unit.
func named(treatments []Treatment, unit Unit) []string {
	var names []string
	for _, t := range treatments {
		if t.SetPer == unit {
			names = append(names, t.Name)
		}
	}
	return names
}

// unitTerms makes the terms of a stratum of whole units out of those of the plants.
type unitTerms struct {
	first []int // a row of each unit
	names []string
	terms Terms
}

func wholeUnits(units Factor, t Terms) unitTerms {
	return unitTerms{first: firstRows(units), names: units.Levels, terms: t}
}

func (u unitTerms) stratum(unit Unit, holder *Factor, y Response) *Stratum {
	s := &Stratum{Unit: unit, Treatments: named(u.terms.Treatments, unit), Names: u.names}
	t := Terms{Interactions: u.terms.Interactions, Block: u.block()}
	held := false
	for _, tr := range u.terms.Treatments {
		switch tr.SetPer {
		case unit:
			t.Treatments = append(t.Treatments, Treatment{u.pick(tr.Factor), PerPlant})
		case PerReservoir:
			held = true
			t.Treatments = append(t.Treatments, Treatment{u.pick(tr.Factor), PerReservoir})
		}
	}
	if held {
		if holder == nil {
			s.Err = errNoReservoir
			return s
		}
		h := u.pick(*holder)
		t.Bin = &h
	}
	d, err := NewDesign(len(u.first), t)
	if err != nil {
		s.Err = err
		return s
	}
	s.fit(d, y)
	s.test()
	return s
}

// pick is a factor over the units.
func (u unitTerms) pick(f Factor) Factor {
	of := make([]int, len(u.first))
	for i, row := range u.first {
		of[i] = f.Of[row]
	}
	return Factor{Name: f.Name, Levels: f.Levels, Of: of}
}

// block is the block over the units, nil where a unit lies in two.
func (u unitTerms) block() *Factor {
	b := u.terms.Block
	if b == nil || u.terms.Bin == nil || !Holds(*u.terms.Bin, *b) {
		return nil
	}
	over := u.pick(*b)
	return &over
}

// firstRows gives a row of each level.
func firstRows(f Factor) []int {
	first := make([]int, len(f.Levels))
	for i, l := range slices.Backward(f.Of) {
		first[l] = i
	}
	return first
}

// BetweenBins estimates the slope of what the response makes of whole bins, by
// the model without light, on the bins' mean light and block. Treatments that
// bins hold are not adjusted for.
func BetweenBins(n int, t Terms, y Response) (Estimate, error) {
	if t.Bin == nil || t.Light == nil {
		return Estimate{}, errors.New("a slope between bins needs bins and light")
	}
	light := t.Light.Values
	t.Light = nil
	d, err := NewDesign(n, t)
	if err != nil {
		return Estimate{}, err
	}
	bins := d.Factors[d.bin]
	above, err := y.over(d, bins)
	if err != nil {
		return Estimate{}, err
	}
	sums, plants := Totals(bins, light, nil)
	for b := range sums {
		sums[b] /= plants[b]
	}
	over, err := NewDesign(len(sums), Terms{Block: wholeUnits(bins, t).block(), Light: &Variable{"light", sums}})
	if err != nil {
		return Estimate{}, err
	}
	f, err := above.fit(over)
	if err != nil {
		return Estimate{}, err
	}
	slope, _ := Slope(f, over, LightTerm)
	return slope, nil
}
