package model

import (
	"errors"
	"fmt"
	"slices"
)

// CountStratum is a model of counts whose rows are bins or reservoirs: their
// totals, with the plants that were counted (or their exposure) as exposure, so
// that the dispersion is that between them.
type CountStratum struct {
	Unit      Unit
	Names     []string // of its rows
	Counts    []float64
	Exposures []float64
	Design    *Design
	Fit       *CountFit
	Err       error // why there is no fit; ErrTooFew where each level has one unit
}

// Families lists what is compared in the stratum.
func (s *CountStratum) Families() []Family {
	families := s.Design.Families()
	for i := range families {
		families[i].Unit = s.Unit
	}
	return families
}

// CountStrata are the models of one count by what is replicated.
type CountStrata struct {
	Plant     *CountFit
	PlantErr  error         // why there is no Plant; the others may stand nevertheless
	Bin       *CountStratum // nil without a treatment set per bin
	Reservoir *CountStratum // nil without a treatment set per reservoir
}

// CountInStrata fits counts in the strata that FitStrata has, with totals in
// place of adjusted means. The error is one that no stratum can stand with.
func CountInStrata(n int, t Terms, reservoir *Factor, y, exposure []float64) (*CountStrata, error) {
	d, err := NewDesign(n, t)
	if err != nil {
		return nil, err
	}
	s := &CountStrata{}
	s.Plant, s.PlantErr = d.Count(y, exposure)
	if len(d.nested) == 0 {
		return s, s.PlantErr
	}
	if s.PlantErr != nil && !errors.Is(s.PlantErr, ErrTooFew) {
		return nil, s.PlantErr
	}
	bins := d.Factors[d.bin]
	if slices.Contains(d.units, PerBin) {
		s.Bin = countStratum(PerBin, bins, reservoir, t, y, exposure)
	}
	if slices.Contains(d.units, PerReservoir) {
		if reservoir == nil {
			return nil, errors.New("a treatment is set per reservoir: name the reservoir of each bin")
		}
		tanks := d.used(*reservoir)
		if !Holds(bins, tanks) {
			return nil, fmt.Errorf("bin %q stands on two reservoirs: mend the table", splitLevel(bins, tanks))
		}
		s.Reservoir = countStratum(PerReservoir, tanks, nil, t, y, exposure)
	}
	return s, nil
}

// countStratum has the same design as the stratum of a measure.
func countStratum(unit Unit, units Factor, holder *Factor, t Terms, y, exposure []float64) *CountStratum {
	s := &CountStratum{Unit: unit, Names: units.Levels}
	s.Counts, s.Exposures = BinTotals(units, y, exposure)
	rates := make([]float64, len(s.Counts))
	for u := range rates {
		rates[u] = s.Counts[u] / s.Exposures[u]
	}
	shape := climb{first: firstRows(units), names: units.Levels, terms: t}.stratum(unit, holder, rates)
	if s.Design = shape.Design; s.Design == nil {
		s.Err = shape.Err
		return s
	}
	s.Fit, s.Err = s.Design.Count(s.Counts, s.Exposures)
	return s
}
