package model

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"parstead/correlate/deal"
)

// Unit is what got a treatment as a whole and is its replicate.
type Unit = deal.SetPer

// The units of a treatment.
const (
	PerPlant     = deal.PerPlant
	PerBin       = deal.PerBin
	PerReservoir = deal.PerReservoir
)

// Factor sorts the rows into named levels.
type Factor struct {
	Name   string
	Levels []string // the first is the reference
	Of     []int    // the level of each row
}

// Treatment is a factor that the grower set.
type Treatment struct {
	Factor
	SetPer Unit
}

// Variable is a number for each row.
type Variable struct {
	Name   string
	Values []float64
}

// Terms are what a model is made of. The order of a model's columns is fixed:
// intercept, block, bin, treatments, interactions, covariates, light.
type Terms struct {
	NoIntercept  bool    // only for models without any factor
	Block, Bin   *Factor // their effects are called "block" and "bin" whatever their names
	Treatments   []Treatment
	Interactions bool // all two-way interactions of the treatments
	Covariates   []Variable
	Light        *Variable // its effect is called "light" whatever its name
}

// Effect is a set of neighbouring columns that are tested together.
type Effect struct {
	Term
	Factors    []int // the factors it is made of, by index into Design.Factors
	First, End int   // its columns
}

// Column is one column of a design with the identity of its coefficient.
type Column struct {
	Term           // the effect
	Level   string // the level the coefficient stands for; "a, b" in an interaction; "" for numbers
	Against string // the reference level
	Values  []float64
}

// String names the column for people: "medium bark", "light".
func (c Column) String() string {
	if c.Level == "" {
		return c.Name()
	}
	return c.Name() + " " + c.Level
}

// At fixes a factor at a level, both by index.
type At struct{ Factor, Level int }

// Design is a model's columns over the rows used.
//
// A treatment set per bin or reservoir has no columns of its own, since the
// bins hold it; its interactions with plant treatments do. Levels that no row
// has are gone from Factors.
type Design struct {
	N       int
	Factors []Factor
	Effects []Effect
	Columns []Column

	treatments []int // into Factors, in stated order
	units      []Unit
	bin        int   // into Factors; -1 where the model has no bins
	nested     []int // treatments that the bins hold, into Factors
	means      []float64
}

// largest is the largest size a number may have: squares of products of two
// such stay finite. smallest is its counterpart for spreads.
const (
	largest  = 1e70
	smallest = 1e-70
)

// A design has at most 400 columns and 1.5e7 numbers: room for any rack or a
// million rows of a table within 2 GB, and a
// column of names given for a treatment is found before memory runs out.
const (
	mostColumns = 400
	mostNumbers = 3e7
)

// NewDesign builds the columns of a model with n rows. A block that is a union
// of bins drops out, and so does a block or bin with one level.
//
// Errors: no rows; a number that is not finite or beyond 1e70; a treatment of
// one level; a treatment set per bin that differs within one, or without bins;
// more columns than a design can have.
// Columns that cannot be told apart are found by Fit. NewDesign panics where
// lengths differ or a level's index is out of range.
func NewDesign(n int, t Terms) (*Design, error) {
	if n == 0 {
		return nil, fmt.Errorf("no row has all that the model needs: fill in the missing cells or name fewer columns")
	}
	d := &Design{N: n, bin: -1}
	if err := d.size(t); err != nil {
		return nil, err
	}
	if !t.NoIntercept {
		ones := make([]float64, n)
		for i := range ones {
			ones[i] = 1
		}
		d.add(Effect{Term: Term{Kind: KindIntercept, A: "intercept"}}, Column{Values: ones})
	}
	d.places(t)
	if err := d.treat(t); err != nil {
		return nil, err
	}
	for _, v := range t.Covariates {
		if err := d.number(v.Name, KindCovariate, v.Values); err != nil {
			return nil, err
		}
	}
	if t.Light != nil {
		if err := d.number("light", KindLight, t.Light.Values); err != nil {
			return nil, err
		}
	}
	d.means = make([]float64, len(d.Columns))
	for j, c := range d.Columns {
		d.means[j] = mean(c.Values)
	}
	return d, nil
}

// size demands a number of columns that can be fitted.
func (d *Design) size(t Terms) error {
	columns := len(t.Covariates) + 2
	factors := make([]Factor, 0, len(t.Treatments)+2)
	for _, f := range []*Factor{t.Block, t.Bin} {
		if f != nil {
			factors = append(factors, *f)
		}
	}
	sum, squares := 0, 0 // of the treatments' columns
	for _, tr := range t.Treatments {
		factors = append(factors, tr.Factor)
		own := len(d.used(tr.Factor).Levels) - 1
		sum, squares = sum+own, squares+own*own
	}
	var widest Factor
	for _, f := range factors {
		u := d.used(f)
		columns += len(u.Levels) - 1
		if len(u.Levels) > len(widest.Levels) {
			widest = u
		}
	}
	if t.Interactions {
		columns += (sum*sum - squares) / 2
	}
	if columns > mostColumns || float64(columns)*float64(d.N) > mostNumbers {
		return fmt.Errorf("the model has %d columns over %d rows, too many to fit: does %q, with %d levels, belong in it?", columns, d.N, widest.Name, len(widest.Levels))
	}
	return nil
}

// places adds block and bin.
func (d *Design) places(t Terms) {
	var block, bin Factor
	if t.Block != nil {
		block = d.used(*t.Block)
	}
	if t.Bin != nil {
		bin = d.used(*t.Bin)
	}
	if len(block.Levels) > 1 && (t.Bin == nil || !Holds(bin, block)) {
		d.factor("block", block, KindBlock)
	}
	if t.Bin != nil {
		d.bin = d.factor("bin", bin, KindBin)
	}
}

// treat adds treatments and interactions.
func (d *Design) treat(t Terms) error {
	for _, tr := range t.Treatments {
		f := d.used(tr.Factor)
		if len(f.Levels) < 2 {
			return fmt.Errorf("treatment %q has only the level %q in the rows used, so that it cannot be compared with anything: leave it out, or add rows of another level", f.Name, strings.Join(f.Levels, ""))
		}
		var index int
		if tr.SetPer == PerPlant {
			index = d.factor(f.Name, f, KindTreatment)
		} else {
			if d.bin < 0 {
				return fmt.Errorf("treatment %q is set per %s: name the bins too", f.Name, tr.SetPer)
			}
			if b := d.Factors[d.bin]; !Holds(b, f) {
				return fmt.Errorf("treatment %q is set per %s but differs within a bin (%s): give it per plant or mend the table", f.Name, tr.SetPer, splitLevel(b, f))
			}
			index = len(d.Factors)
			d.Factors = append(d.Factors, f)
			d.nested = append(d.nested, index)
		}
		d.treatments = append(d.treatments, index)
		d.units = append(d.units, tr.SetPer)
	}
	if !t.Interactions {
		return nil
	}
	for i, a := range d.treatments {
		for j, b := range d.treatments[i+1:] {
			if d.units[i] == PerPlant || d.units[i+1+j] == PerPlant {
				d.interaction(a, b)
			}
		}
	}
	return nil
}

// used is f with only the levels that a row has.
func (d *Design) used(f Factor) Factor {
	if len(f.Of) != d.N {
		panic("model: a factor's length differs from the number of rows")
	}
	rows := make([]int, len(f.Levels))
	for _, l := range f.Of {
		rows[l]++
	}
	u := Factor{Name: f.Name, Of: make([]int, d.N)}
	at := make([]int, len(f.Levels))
	for l, count := range rows {
		if count > 0 {
			at[l] = len(u.Levels)
			u.Levels = append(u.Levels, f.Levels[l])
		}
	}
	for i, l := range f.Of {
		u.Of[i] = at[l]
	}
	return u
}

// Holds tells whether every level of inner lies in one level of outer, so that
// inner's columns can make outer's.
func Holds(inner, outer Factor) bool { return splitLevel(inner, outer) == "" }

// splitLevel names a level of inner that has rows in two levels of outer; "" if none.
func splitLevel(inner, outer Factor) string {
	first := make([]int, len(inner.Levels))
	for i, l := range inner.Of {
		switch first[l] {
		case 0:
			first[l] = outer.Of[i] + 1
		case outer.Of[i] + 1:
		default:
			return inner.Levels[l]
		}
	}
	return ""
}

func (d *Design) add(e Effect, columns ...Column) {
	e.First = len(d.Columns)
	for _, c := range columns {
		c.Term = e.Term
		d.Columns = append(d.Columns, c)
	}
	e.End = len(d.Columns)
	d.Effects = append(d.Effects, e)
}

// factor adds a factor and a column for each level but the first, under the
// name of its effect.
func (d *Design) factor(name string, f Factor, kind Kind) int {
	index := len(d.Factors)
	d.Factors = append(d.Factors, f)
	if len(f.Levels) < 2 {
		return index
	}
	columns := make([]Column, len(f.Levels)-1)
	for l := range columns {
		columns[l] = Column{Level: f.Levels[l+1], Against: f.Levels[0], Values: make([]float64, d.N)}
	}
	for i, l := range f.Of {
		if l > 0 {
			columns[l-1].Values[i] = 1
		}
	}
	d.add(Effect{Term: Term{Kind: kind, A: name}, Factors: []int{index}}, columns...)
	return index
}

// interaction adds the products of two factors' columns, the first slowest.
func (d *Design) interaction(a, b int) {
	fa, fb := d.Factors[a], d.Factors[b]
	var columns []Column
	for la := 1; la < len(fa.Levels); la++ {
		for lb := 1; lb < len(fb.Levels); lb++ {
			c := Column{Level: fa.Levels[la] + ", " + fb.Levels[lb], Against: fa.Levels[0] + ", " + fb.Levels[0], Values: make([]float64, d.N)}
			for i := range c.Values {
				if fa.Of[i] == la && fb.Of[i] == lb {
					c.Values[i] = 1
				}
			}
			columns = append(columns, c)
		}
	}
	d.add(Effect{Term: Term{KindInteraction, fa.Name, fb.Name}, Factors: []int{a, b}}, columns...)
}

func (d *Design) number(name string, kind Kind, values []float64) error {
	if len(values) != d.N {
		panic("model: a variable's length differs from the number of rows")
	}
	if err := inRange(name, values); err != nil {
		return err
	}
	d.add(Effect{Term: Term{Kind: kind, A: name}}, Column{Values: values})
	return nil
}

// inRange demands finite numbers whose squares can be summed.
func inRange(name string, values []float64) error {
	for i, v := range values {
		if !(math.Abs(v) <= largest) {
			return &RowError{i, fmt.Sprintf("%s is %g, and numbers must lie within ±%g: mend it, or give the column in another unit", name, v, largest)}
		}
	}
	return nil
}

// Treatments lists the treatments in stated order, by index into Factors.
func (d *Design) Treatments() []int { return d.treatments }

// Unit tells what the treatment with this index into Factors was set per.
func (d *Design) Unit(factor int) Unit { return d.units[slices.Index(d.treatments, factor)] }

// Bin is the index into Factors of the bins, -1 where the model has none.
func (d *Design) Bin() int { return d.bin }

// Effect finds a term's effect; ok is false where the model has none.
func (d *Design) Effect(t Term) (e Effect, ok bool) {
	i := slices.IndexFunc(d.Effects, func(e Effect) bool { return e.Term == t })
	if i < 0 {
		return Effect{}, false
	}
	return d.Effects[i], true
}

// Contains tells whether e is an interaction of which f is a part.
func (e Effect) Contains(f Effect) bool {
	if len(f.Factors) == 0 || len(f.Factors) >= len(e.Factors) {
		return false
	}
	for _, i := range f.Factors {
		if !slices.Contains(e.Factors, i) {
			return false
		}
	}
	return true
}

// mean sums in two passes, so that a large common part costs no digits.
func mean(x []float64) float64 {
	var sum float64
	for _, v := range x {
		sum += v
	}
	m := sum / float64(len(x))
	var rest float64
	for _, v := range x {
		rest += v - m
	}
	return m + rest/float64(len(x))
}
