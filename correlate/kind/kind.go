// Package kind holds the kinds of outcome, an object each: what values it has, how
// two levels of it are compared and what a slope of it is. How a kind is analysed
// stands in package correlate, by the same name.
package kind

import (
	"fmt"
	"slices"
	"strings"

	"parstead/correlate/analysis"
)

// Kind is a kind of outcome.
type Kind struct {
	Name analysis.Kind // in a trial's file and in JSON
	Says string        // what an outcome of the kind is: "a measure"

	Settings []string // keys of an outcome in a trial's file that others may lack
	Note     string   // what to write into a cell; "" for a number in the outcome's unit
	Measured bool     // read off an instrument, so that it can be read twice and hardly falls on the same figure twice
	Counted  bool     // can be counted during the season
	Answers  bool     // values are yes (1) or no (0), and means are shares

	// Refuses tells whether the kind can't have the value; Values and Write say what
	// it can have, and what to write.
	Refuses       func(x float64) bool
	Values, Write string

	// Contrast is how two levels are compared on the scale.
	Contrast func(analysis.Scale) Contrast

	// Size fills in how many replicates settle the difference that matters, with the
	// power asked for.
	Size func(p *analysis.Planning, n *analysis.Need, asked float64, seed uint64) error

	// InBins tells that light's slope is taken within bins.
	InBins bool
}

var all = []Kind{Measure, Count, YesNo}

// Of is the kind of this name, which must be one.
func Of(name analysis.Kind) Kind {
	k, ok := Find(name)
	if !ok {
		panic("kind: " + string(name) + " is not a kind of outcome")
	}
	return k
}

// Find is the kind of this name; ok is false where there is none.
func Find(name analysis.Kind) (k Kind, ok bool) {
	i := slices.IndexFunc(all, func(k Kind) bool { return k.Name == name })
	if i < 0 {
		return Kind{}, false
	}
	return all[i], true
}

// Parse reads a kind by the name it has in a trial's file.
func Parse(name string) (Kind, error) {
	k, ok := Find(analysis.Kind(name))
	if !ok {
		names := Names()
		last := len(names) - 1
		return Kind{}, fmt.Errorf("%q is not a kind of outcome: use %s or %s", name, strings.Join(names[:last], ", "), names[last])
	}
	return k, nil
}

// Names lists the kinds' names.
func Names() []string {
	names := make([]string, len(all))
	for i, k := range all {
		names[i] = string(k.Name)
	}
	return names
}

// Has tells whether an outcome of the kind can have the key in a trial's file.
func (k Kind) Has(setting string) bool { return slices.Contains(k.Settings, setting) }

// Misplaced calls f for each setting that the kind lacks, with a kind that has it.
func (k Kind) Misplaced(f func(setting string, of Kind)) {
	for _, other := range all {
		for _, setting := range other.Settings {
			if !k.Has(setting) {
				f(setting, other)
			}
		}
	}
}
