package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"parstead/correlate"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
)

// outcome is one result with the column that it is of.
type outcome struct {
	*correlate.OutcomeResult
	index int
	in    *correlate.Outcome
	used  map[int]correlate.PlantPoint // by row of the input
	codes []string                     // of the plants, by row
	all   *Report
}

func (r *Report) outcome(i int) *outcome {
	o := &outcome{OutcomeResult: &r.Result.Outcomes[i], index: i, codes: r.Input.Plants, all: r, used: map[int]correlate.PlantPoint{}}
	k := slices.IndexFunc(r.Input.Outcomes, func(c correlate.Outcome) bool { return c.Name == o.Name })
	if k < 0 {
		panic("report: result " + o.Name + " is of no outcome of the input")
	}
	o.in = &r.Input.Outcomes[k]
	for _, p := range o.Points {
		o.used[p.Row] = p
	}
	return o
}

// title names the outcome for people, with the plants that it is of.
func (o *outcome) title() string {
	for _, value := range o.Of { // there is one
		return o.Name + " of " + value
	}
	return o.Name
}

// plantWords tells of a plant its value, its place, its treatments and its light.
func (o *outcome) plantWords(row int) string {
	in := o.all.Input
	list := []string{o.codes[row] + ": " + o.value(row)}
	if bin := level(in.Bin, row); bin != "" {
		if in.Row != nil && in.Column != nil {
			bin += fmt.Sprintf(", row %d, column %d", in.Row[row], in.Column[row])
		}
		list = append(list, bin)
	}
	for i := range in.Treatments {
		if t := &in.Treatments[i]; level(&t.Factor, row) != "" {
			list = append(list, t.Name+" "+level(&t.Factor, row))
		}
	}
	if l := in.Light; l != nil && !math.IsNaN(l.Values[row]) {
		list = append(list, phrase.Unit(number(l.Values[row]), l.Unit))
	}
	return strings.Join(list, "; ")
}

// value words a plant's value, or why it has none.
func (o *outcome) value(row int) string {
	v := o.in.Values[row]
	switch _, used := o.used[row]; {
	case math.IsNaN(v):
		return o.all.why(o, row)
	case o.answers() && v == 1:
		return o.Name
	case o.answers():
		return "not " + o.Name
	case used && o.in.Exposure != nil:
		return o.Name + " " + number(o.used[row].Value)
	}
	return o.Name + " " + phrase.Unit(number(v), o.Unit)
}

// file names the outcome's pictures.
func (o *outcome) file(names fileNames, kind string) string {
	words := []string{o.Name}
	for _, value := range o.Of {
		words = append(words, value) // there is one
	}
	return names.of(append(words, kind)...)
}

// measured is the label of an axis of the outcome's values.
func (o *outcome) measured() string {
	switch {
	case o.answers():
		return o.Name
	case o.in.Basis != "":
		return unit(o.Name+", "+o.in.Basis+" mass", o.Unit)
	case o.in.Exposure != nil:
		return unit(o.Name, o.Unit) + " per " + o.in.Exposure.Name
	}
	return unit(o.Name, o.Unit)
}

// answers tells whether values are yes or no.
func (o *outcome) answers() bool { return kind.Of(o.Kind).Answers }

func (o *outcome) contrast() kind.Contrast { return kind.Compared(o.Kind, o.Scale) }

// log tells whether values are drawn on a logarithmic axis: where they were
// analysed so.
func (o *outcome) log() bool { return o.Scale == correlate.Log }

// axis holds the outcome's values over some plants, and others beside them.
func (o *outcome) axis(plants []int, others ...float64) axis {
	if o.answers() {
		return axis{low: -0.4, high: 1.4, yesNo: true}
	}
	for _, row := range plants {
		others = append(others, o.in.Values[row])
	}
	return axisOver(o.log(), others...)
}

// drawn is a plant's value where it is drawn: yes and no are spread a little, that
// marks don't hide one another.
func (o *outcome) drawn(row, i int) float64 {
	v := o.in.Values[row]
	if o.answers() {
		return v + 0.4*scatter(i)
	}
	return v
}

// level is a row's level of a factor; "" where it is blank.
func level(f *correlate.Factor, row int) string {
	if f == nil || f.Codes[row] == correlate.Blank {
		return ""
	}
	return f.Levels[f.Codes[row]]
}

// asks tells whether an outcome is asked of a plant: of the right part of the
// trial, and no guard.
func (r *Report) asks(o *outcome, row int) bool {
	in := r.Input
	if in.By != nil && level(in.By, row) != o.Of[in.By.Name] || o.in.Only != nil && !o.in.Only[row] {
		return false
	}
	return !r.guard(row)
}

func (r *Report) guard(row int) bool { return r.Input.Guard != nil && r.Input.Guard[row] }

// why says what keeps a plant's value out of a result.
func (r *Report) why(o *outcome, row int) string {
	in := r.Input
	switch {
	case in.Status != nil && in.Status[row] == correlate.Lost:
		if in.Cause != nil && in.Cause[row] != "" {
			return "lost: " + in.Cause[row]
		}
		return "lost"
	case in.Status != nil && in.Status[row] == correlate.Withdrawn:
		return "withdrawn"
	case in.LeaveOut != nil && in.LeaveOut[row] != "":
		return "left out: " + in.LeaveOut[row]
	case math.IsNaN(o.in.Values[row]):
		return "no value"
	}
	return "not analysed: a blank treatment, start, covariate or light"
}

// treatment finds a treatment by name; nil where there is none.
func (r *Report) treatment(name string) *correlate.Treatment {
	for i := range r.Input.Treatments {
		if r.Input.Treatments[i].Name == name {
			return &r.Input.Treatments[i]
		}
	}
	return nil
}
