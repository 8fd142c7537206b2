package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"parstead/cmd/parstead/table"
	"parstead/correlate"
	"parstead/correlate/analysis"
)

// names finds names among the flags that don't fit one another.
func (c *correlateCmd) names() error {
	outcomes, err := c.outcomes()
	if err != nil {
		return err
	}
	treatments := slices.Concat(c.Treatment, c.BinTreatment)
	used := map[string]string{}
	for _, group := range []struct {
		flag  string
		names []string
	}{{"--treatment", c.Treatment}, {"--bin-treatment", c.BinTreatment}, {"--covariate", c.Covariate}} {
		for _, n := range group.names {
			if before, ok := used[n]; ok {
				return usageError{fmt.Sprintf("%s is named by %s and by %s: name it once", n, before, group.flag)}
			}
			used[n] = group.flag
		}
	}
	for _, n := range c.SetsLight {
		if !slices.Contains(treatments, n) {
			return usageError{fmt.Sprintf("--sets-light %s: name a treatment that --treatment or --bin-treatment names", n)}
		}
	}
	for _, n := range c.Log {
		i := slices.IndexFunc(outcomes, func(o correlate.Outcome) bool { return o.Name == n })
		if i < 0 || outcomes[i].Kind != correlate.Measure {
			return usageError{fmt.Sprintf("--log %s: name a measure that --outcome names", n)}
		}
	}
	if c.Exposure != "" && !slices.ContainsFunc(outcomes, func(o correlate.Outcome) bool { return o.Kind == correlate.Count }) {
		return usageError{"--exposure is for counts, and no --outcome is one"}
	}
	return nil
}

// outcomes reads NAME:KIND.
func (c *correlateCmd) outcomes() ([]correlate.Outcome, error) {
	var list []correlate.Outcome
	for _, text := range c.Outcome {
		i := strings.LastIndex(text, ":")
		if i < 1 {
			return nil, usageError{fmt.Sprintf("--outcome %s: write NAME:KIND, such as mass_g:measure", text)}
		}
		kind, err := analysis.ParseKind(text[i+1:])
		if err != nil {
			return nil, usageError{fmt.Sprintf("--outcome %s: %v", text, err)}
		}
		o := correlate.Outcome{Name: strings.TrimSpace(text[:i]), Kind: kind, Scale: correlate.Natural}
		if slices.ContainsFunc(list, func(other correlate.Outcome) bool { return other.Name == o.Name }) {
			return nil, usageError{fmt.Sprintf("--outcome %s is named twice", o.Name)}
		}
		if slices.Contains(c.Log, o.Name) {
			o.Scale = correlate.Log
		}
		list = append(list, o)
	}
	return list, nil
}

// readTable makes the analysis's input of a flat table.
func (c *correlateCmd) readTable() (*correlate.Input, error) {
	outcomes, err := c.outcomes()
	if err != nil {
		return nil, err
	}
	t, err := table.Read(c.Table, c.columns(outcomes))
	if err != nil {
		return nil, err
	}
	in := &correlate.Input{Table: true, Plants: make([]string, t.Len())}
	for i := range in.Plants {
		in.Plants[i] = "line " + strconv.Itoa(t.Line(i))
	}
	for _, n := range c.treatments {
		in.Treatments = append(in.Treatments, correlate.Treatment{
			Factor: *factorOf(t, n.name), SetPer: n.per, SetsLight: slices.Contains(c.SetsLight, n.name),
		})
	}
	in.Block, in.Bin, in.By = factorOf(t, c.Block), factorOf(t, c.Bin), factorOf(t, c.By)
	for _, n := range c.Covariate {
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
		if in.Row, err = places(t, c.Row); err != nil {
			return nil, err
		}
		if in.Column, err = places(t, c.Column); err != nil {
			return nil, err
		}
		if err := c.placesTakenOnce(t, in); err != nil {
			return nil, err
		}
	}
	for i := range outcomes {
		if err := c.values(t, &outcomes[i]); err != nil {
			return nil, err
		}
	}
	in.Outcomes = outcomes
	return in, nil
}

// placesTakenOnce refuses two plants at one place. What --by keeps apart may be
// other racks.
func (c *correlateCmd) placesTakenOnce(t *table.Table, in *correlate.Input) error {
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
func (c *correlateCmd) columns(outcomes []correlate.Outcome) []string {
	names := slices.Concat(c.Treatment, c.BinTreatment, c.Covariate)
	for _, o := range outcomes {
		names = append(names, o.Name)
	}
	names = append(names, c.Light, c.Block, c.Bin, c.Row, c.Column, c.By, c.Exposure)
	names = slices.DeleteFunc(names, func(n string) bool { return n == "" })
	var once []string
	for _, n := range names {
		if !slices.Contains(once, n) {
			once = append(once, n)
		}
	}
	return once
}

// factorOf is a column of labels with its levels in bytewise order; nil for "".
func factorOf(t *table.Table, name string) *correlate.Factor {
	if name == "" {
		return nil
	}
	cells := t.Text(name)
	code := map[string]int{}
	for _, cell := range cells {
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
	return f
}

// places is a column of grid rows or columns, 0 where blank.
func places(t *table.Table, name string) ([]int, error) {
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
func (c *correlateCmd) values(t *table.Table, o *correlate.Outcome) error {
	var err error
	if o.Kind == correlate.YesNo {
		o.Values, err = t.YesNo(o.Name)
		return err
	}
	if o.Values, err = t.Numbers(o.Name); err != nil {
		return err
	}
	for i, v := range o.Values {
		switch {
		case math.IsNaN(v):
		case o.Kind == correlate.Count && (v < 0 || v != math.Trunc(v)):
			return t.Fault(i, o.Name, fmt.Sprintf("%q is not a count: write a whole number from 0", t.Text(o.Name)[i]))
		case o.Scale == correlate.Log && v <= 0:
			return t.Fault(i, o.Name, fmt.Sprintf("%q has no logarithm: leave the cell blank where the plant was lost", t.Text(o.Name)[i]))
		}
	}
	if o.Kind == correlate.Count && c.Exposure != "" {
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
