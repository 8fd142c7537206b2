package harvest

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"parstead/cmd/parstead/table"
	"parstead/correlate"
	"parstead/correlate/kind"
)

// Table says which columns of a flat table are analysed, and as what. A name that
// is "" stands for no column.
type Table struct {
	File       string
	Outcomes   []correlate.Outcome   // without values
	Treatments []correlate.Treatment // without codes
	Covariates []string
	Exposure   string // what counts are per

	Light, Block, Bin, Row, Column, By string

	Remarks []string // once it is read, what a column that was not named hints at
}

// Read makes the analysis's input of the table.
func (c *Table) Read() (*correlate.Input, error) {
	t, err := table.Read(c.File, c.columns())
	if err != nil {
		return nil, err
	}
	in := &correlate.Input{Table: true, Plants: make([]string, t.Len())}
	for i := range in.Plants {
		in.Plants[i] = "line " + strconv.Itoa(t.Line(i))
	}
	if err := c.labels(t, in); err != nil {
		return nil, err
	}
	for _, n := range c.Covariates {
		values, err := t.Numbers(n)
		if err != nil {
			return nil, err
		}
		in.Covariates = append(in.Covariates, correlate.Column{Name: n, Values: values})
	}
	if c.Light != "" {
		values, err := t.Numbers(c.Light)
		if err != nil {
			return nil, err
		}
		in.Light = &correlate.Light{Name: c.Light, Values: values}
	}
	if c.Row != "" {
		if in.Row, err = Places(t, c.Row); err != nil {
			return nil, err
		}
		if in.Column, err = Places(t, c.Column); err != nil {
			return nil, err
		}
		if err := c.placesTakenOnce(t, in); err != nil {
			return nil, err
		}
	}
	for _, o := range c.Outcomes {
		if err := c.values(t, &o); err != nil {
			return nil, err
		}
		in.Outcomes = append(in.Outcomes, o)
	}
	return in, c.unnamedBins(t, in)
}

// unnamedBins remarks on a column of bins that is not named as such where whole bins
// have one level of a treatment: plants would then pass as replicates of it.
func (c *Table) unnamedBins(t *table.Table, in *correlate.Input) error {
	const column = "bin"
	if c.Bin != "" || !t.Has(column) || slices.ContainsFunc(c.columns(), func(n string) bool { return strings.EqualFold(n, column) }) {
		return nil
	}
	bins, err := table.Read(c.File, []string{column})
	if err != nil {
		return err
	}
	for _, tr := range in.Treatments {
		level, same := map[string]int{}, true
		for i, bin := range bins.Text(column) {
			first, seen := level[bin]
			if !seen {
				level[bin] = tr.Codes[i]
			}
			same = same && (!seen || first == tr.Codes[i])
		}
		if same && len(level) > 1 && len(level) < len(in.Plants) {
			c.Remarks = append(c.Remarks, fmt.Sprintf("each bin of the column %s has one level of %s: name --bin %s and give %s by --bin-treatment, or single plants count as replicates of what whole bins got", column, tr.Name, column, tr.Name))
		}
	}
	return nil
}

// labels reads the columns of labels.
func (c *Table) labels(t *table.Table, in *correlate.Input) error {
	for _, tr := range c.Treatments {
		f, err := factorOf(t, tr.Name)
		if err != nil {
			return err
		}
		tr.Factor = *f
		in.Treatments = append(in.Treatments, tr)
	}
	for _, column := range []struct {
		name string
		into **correlate.Factor
	}{{c.Block, &in.Block}, {c.Bin, &in.Bin}, {c.By, &in.By}} {
		f, err := factorOf(t, column.name)
		if err != nil {
			return err
		}
		*column.into = f
	}
	return nil
}

// placesTakenOnce refuses two plants at one place. What --by keeps apart may be
// other racks.
func (c *Table) placesTakenOnce(t *table.Table, in *correlate.Input) error {
	taken := map[[4]int]int{}
	code := func(f *correlate.Factor, i int) int {
		if f == nil {
			return 0
		}
		return f.Codes[i]
	}
	for i := range in.Plants {
		bin := code(in.Bin, i)
		if in.Row[i] == 0 || in.Column[i] == 0 || bin == correlate.Blank {
			continue
		}
		place := [4]int{code(in.By, i), bin, in.Row[i], in.Column[i]}
		if first, ok := taken[place]; ok {
			where, mend := fmt.Sprintf("row %d, column %d", in.Row[i], in.Column[i]), "mend one of them, or name the column of the bins by --bin"
			if in.Bin != nil {
				where, mend = in.Bin.Levels[bin]+", "+where, "mend one of them"
			}
			return t.Fault(i, c.Row, fmt.Sprintf("two plants stand at %s, the other in line %d: %s", where, t.Line(first), mend))
		}
		taken[place] = i
	}
	return nil
}

// columns lists the table's columns that are used, each once.
func (c *Table) columns() (once []string) {
	var names []string
	for _, tr := range c.Treatments {
		names = append(names, tr.Name)
	}
	names = append(names, c.Covariates...)
	for _, o := range c.Outcomes {
		names = append(names, o.Name)
	}
	for _, n := range append(names, c.Light, c.Block, c.Bin, c.Row, c.Column, c.By, c.Exposure) {
		if n != "" && !slices.Contains(once, n) {
			once = append(once, n)
		}
	}
	return once
}

// factorOf is a column of labels with its levels in bytewise order; nil for "". A
// label that would break a line or speak to a terminal is refused: results show it.
func factorOf(t *table.Table, name string) (*correlate.Factor, error) {
	if name == "" {
		return nil, nil
	}
	cells := t.Text(name)
	code := map[string]int{}
	for i, cell := range cells {
		if strings.ContainsFunc(cell, unicode.IsControl) {
			return nil, t.Fault(i, name, fmt.Sprintf("%q holds a tab, a line break or a sign that does not print: type the label anew", cell))
		}
		if cell != "" {
			code[cell] = 0
		}
	}
	f := &correlate.Factor{Name: name, Codes: make([]int, len(cells))}
	for level := range code {
		f.Levels = append(f.Levels, level)
	}
	slices.Sort(f.Levels)
	for i, level := range f.Levels {
		code[level] = i
	}
	for i, cell := range cells {
		f.Codes[i] = correlate.Blank
		if cell != "" {
			f.Codes[i] = code[cell]
		}
	}
	return f, nil
}

// Places is a column of grid rows or columns, 0 where blank.
func Places(t *table.Table, name string) ([]int, error) {
	values, err := t.Numbers(name)
	if err != nil {
		return nil, err
	}
	list := make([]int, len(values))
	for i, v := range values {
		switch {
		case math.IsNaN(v):
		case v < 1 || v != math.Trunc(v) || v > 1e6:
			return nil, t.Fault(i, name, fmt.Sprintf("%q is not a place: write a whole number from 1", t.Text(name)[i]))
		default:
			list[i] = int(v)
		}
	}
	return list, nil
}

// values reads an outcome's column.
func (c *Table) values(t *table.Table, o *correlate.Outcome) error {
	var err error
	k := kind.Of(o.Kind)
	if k.Answers {
		o.Values, err = t.YesNo(o.Name)
		return err
	}
	if o.Values, err = t.Numbers(o.Name); err != nil {
		return err
	}
	for i, v := range o.Values {
		switch {
		case math.IsNaN(v):
		case k.Refuses(v):
			return t.Fault(i, o.Name, fmt.Sprintf("%q is not %s: write %s from 0", t.Text(o.Name)[i], k.Says, k.Write))
		case o.Scale == correlate.Log && v <= 0:
			return t.Fault(i, o.Name, fmt.Sprintf("%q has no logarithm: leave the cell blank where the plant was lost", t.Text(o.Name)[i]))
		}
	}
	if k.Has("exposure") && c.Exposure != "" {
		values, err := t.Numbers(c.Exposure)
		if err != nil {
			return err
		}
		for i, v := range values {
			if v <= 0 {
				return t.Fault(i, c.Exposure, fmt.Sprintf("%q is no exposure: it must be above zero", t.Text(c.Exposure)[i]))
			}
		}
		o.Exposure = &correlate.Column{Name: c.Exposure, Values: values}
	}
	return nil
}
