package model

import (
	"errors"
	"fmt"
	"slices"
)

// Stratum is a model whose rows are bins or reservoirs, so that these are the
// replicates of the treatments they got as a whole.
type Stratum struct {
	Unit   Unit
	Names  []string  // of its rows
	Means  []float64 // one a row, weight one each
	Design *Design
	Fit    *Fit
	Err    error // why there is no fit; ErrTooFew where each level has one unit
}

// Families lists what is compared in the stratum.
func (s *Stratum) Families() []Family {
	families := s.Design.Families()
	for i := range families {
		families[i].Unit = s.Unit
	}
	return families
}

// Strata are the models of one outcome by what is replicated.
type Strata struct {
	Plant     *Fit
	PlantErr  error    // why there is no Plant; the others may stand nevertheless
	Bin       *Stratum // nil without a treatment set per bin
	Reservoir *Stratum // nil without a treatment set per reservoir
}

// FitStrata fits the plant stratum and those above it.
//
// Bin stratum: the plant stratum's adjusted bin means on block, bin treatments
// and their interactions. If there are treatments set per reservoir too, the
// reservoirs stand in it as the bins stand in the plant stratum. Reservoir
// stratum: adjusted bin means averaged per reservoir, on block, reservoir
// treatments and their interactions. A block enters a stratum if each of its
// units lies in one block. Testing among adjusted means is the classical
// split-plot analysis where the data are balanced.
//
// reservoir sorts the rows; nil where no treatment is set per reservoir. The
// error is one that no stratum can stand with; see Strata for the rest.
func FitStrata(n int, t Terms, reservoir *Factor, y []float64) (*Strata, error) {
	d, err := NewDesign(n, t)
	if err != nil {
		return nil, err
	}
	s := &Strata{}
	s.Plant, s.PlantErr = d.Fit(y)
	if len(d.nested) == 0 {
		return s, s.PlantErr
	}
	if s.PlantErr != nil && !errors.Is(s.PlantErr, ErrTooFew) {
		return nil, s.PlantErr
	}
	means, err := d.binMeans(y)
	if err != nil {
		return nil, err
	}
	bins := d.Factors[d.bin]
	up := climb{first: firstRows(bins), names: bins.Levels, terms: t}
	if slices.Contains(d.units, PerBin) {
		s.Bin = up.stratum(PerBin, reservoir, means)
	}
	if !slices.Contains(d.units, PerReservoir) {
		return s, nil
	}
	if reservoir == nil {
		return nil, errors.New("a treatment is set per reservoir: name the reservoir of each bin")
	}
	tanks := d.used(*reservoir)
	if !Holds(bins, tanks) {
		return nil, fmt.Errorf("bin %q stands on two reservoirs: mend the table", splitLevel(bins, tanks))
	}
	sums, counts := make([]float64, len(tanks.Levels)), make([]float64, len(tanks.Levels))
	for b, row := range up.first {
		sums[tanks.Of[row]] += means[b]
		counts[tanks.Of[row]]++
	}
	for r := range sums {
		sums[r] /= counts[r]
	}
	up.first, up.names = firstRows(tanks), tanks.Levels
	s.Reservoir = up.stratum(PerReservoir, nil, sums)
	return s, nil
}

// binMeans gives each bin's adjusted mean, also where no row is left over.
func (d *Design) binMeans(y []float64) ([]float64, error) {
	f, err := d.fit(y)
	if err != nil {
		return nil, err
	}
	means := make([]float64, len(d.Factors[d.bin].Levels))
	for b := range means {
		means[b] = f.Linear(d.Weights(At{d.bin, b})).Value
	}
	return means, nil
}

// climb makes the terms of a stratum out of those of the plants.
type climb struct {
	first []int // a row of each unit
	names []string
	terms Terms
}

func (c climb) stratum(unit Unit, holder *Factor, means []float64) *Stratum {
	s := &Stratum{Unit: unit, Names: c.names, Means: means}
	t := Terms{Interactions: c.terms.Interactions, Block: c.block()}
	held := false
	for _, tr := range c.terms.Treatments {
		switch tr.SetPer {
		case unit:
			t.Treatments = append(t.Treatments, Treatment{c.pick(tr.Factor), PerPlant})
		case PerReservoir:
			held = true
			t.Treatments = append(t.Treatments, Treatment{c.pick(tr.Factor), PerReservoir})
		}
	}
	if held {
		if holder == nil {
			s.Err = errors.New("a treatment is set per reservoir: name the reservoir of each bin")
			return s
		}
		h := c.pick(*holder)
		t.Bin = &h
	}
	if s.Design, s.Err = NewDesign(len(means), t); s.Err != nil {
		return s
	}
	s.Fit, s.Err = s.Design.Fit(means)
	return s
}

// pick is a factor over the units.
func (c climb) pick(f Factor) Factor {
	of := make([]int, len(c.first))
	for u, row := range c.first {
		of[u] = f.Of[row]
	}
	return Factor{Name: f.Name, Levels: f.Levels, Of: of}
}

// block is the block over the units, nil where a unit lies in two.
func (c climb) block() *Factor {
	b := c.terms.Block
	if b == nil || c.terms.Bin == nil || !Holds(*c.terms.Bin, *b) {
		return nil
	}
	over := c.pick(*b)
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

// BetweenBins estimates the slope of bins' means on bins' mean light: the means
// adjusted by the model without light, on light, block and the treatments that
// bins hold, weight one each. adjust tells which of these to take in; a
// treatment that acts through light belongs out.
func BetweenBins(n int, t Terms, y []float64, adjust func(name string) bool) (Estimate, error) {
	if t.Bin == nil || t.Light == nil {
		return Estimate{}, errors.New("a slope between bins needs bins and light")
	}
	light := t.Light.Values
	t.Light = nil
	d, err := NewDesign(n, t)
	if err != nil {
		return Estimate{}, err
	}
	means, err := d.binMeans(y)
	if err != nil {
		return Estimate{}, err
	}
	bins := d.Factors[d.bin]
	up := climb{first: firstRows(bins), terms: t}
	above := Terms{Block: up.block(), Interactions: t.Interactions}
	for i, tr := range t.Treatments {
		if d.units[i] != PerPlant && adjust(tr.Name) {
			above.Treatments = append(above.Treatments, Treatment{up.pick(tr.Factor), PerPlant})
		}
	}
	sums, counts := make([]float64, len(means)), make([]float64, len(means))
	for i, b := range bins.Of {
		sums[b] += light[i]
		counts[b]++
	}
	for b := range sums {
		sums[b] /= counts[b]
	}
	above.Light = &Variable{"light", sums}
	over, err := NewDesign(len(means), above)
	if err != nil {
		return Estimate{}, err
	}
	f, err := over.Fit(means)
	if err != nil {
		return Estimate{}, err
	}
	slope, _ := f.Slope(KindLight, "light")
	return slope, nil
}
