package correlate

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/rivo/uniseg"

	"parstead/correlate/tables"
)

// odd are values that tables can hold.
var odd = []float64{0, 1, 2, 3, -1, 0.5, 1e-300, 5e-324, 1e300, -1e300, math.MaxFloat64, 1e15, 1e15 + 1, math.Pi, math.NaN()}

// oddInput draws an input from a seed: any shape, any values.
func oddInput(seed uint64, n int) (*Input, Options) {
	rng := rand.New(rand.NewPCG(seed, 99))
	value := func() float64 { return odd[rng.IntN(len(odd))] }
	if rng.IntN(2) == 0 { // sensible numbers, seldom an odd one
		value = func() float64 {
			if rng.IntN(30) == 0 {
				return odd[rng.IntN(len(odd))]
			}
			return math.Exp(rng.NormFloat64())
		}
	}
	numbers := func(of func() float64) []float64 {
		x := make([]float64, n)
		for i := range x {
			x[i] = of()
		}
		return x
	}
	factor := func(name string) Factor {
		f := Factor{Name: name, Codes: make([]int, n)}
		for l := range 1 + rng.IntN(4) {
			f.Levels = append(f.Levels, fmt.Sprint(name, l))
		}
		for i := range f.Codes {
			f.Codes[i] = rng.IntN(len(f.Levels)+1) - rng.IntN(2)
			f.Codes[i] = min(f.Codes[i], len(f.Levels)-1)
		}
		return f
	}
	maybe := func(name string) *Factor {
		if rng.IntN(2) == 0 {
			return nil
		}
		f := factor(name)
		return &f
	}
	in := &Input{Table: rng.IntN(2) == 0, Early: rng.IntN(4) == 0, Plants: make([]string, n)}
	for i := range in.Plants {
		in.Plants[i] = fmt.Sprint("p", i)
	}
	in.Block, in.Bin, in.Reservoir, in.By = maybe("block"), maybe("bin"), maybe("reservoir"), maybe("by")
	if in.Bin != nil && seed%2 == 0 {
		for b := range in.Bin.Levels {
			in.BinPositions = append(in.BinPositions, b*int(seed%20))
		}
	}
	per := []SetPer{PerPlant, PerBin, PerReservoir, Given}
	for k := range rng.IntN(3) {
		t := Treatment{Factor: factor(fmt.Sprint("t", k)), SetPer: per[rng.IntN(len(per))], SetsLight: rng.IntN(3) == 0}
		if units := in.Bin; t.SetPer == PerBin && units != nil { // mostly as whole bins got it
			for i, u := range units.Codes {
				if u != Blank {
					t.Codes[i] = u % len(t.Levels)
				}
			}
		}
		in.Treatments = append(in.Treatments, t)
	}
	for k := range rng.IntN(3) {
		in.Covariates = append(in.Covariates, Column{Name: fmt.Sprint("x", k), Values: numbers(value)})
	}
	if rng.IntN(2) == 0 {
		in.Light = &Light{Name: "light", Values: numbers(value), Raw: rng.IntN(2) == 0}
		if rng.IntN(2) == 0 {
			in.Light.Independent = numbers(value)
		}
	}
	if rng.IntN(2) == 0 {
		in.Row, in.Column = make([]int, n), make([]int, n)
		for i := range n {
			in.Row[i], in.Column[i] = rng.IntN(6), rng.IntN(6)
		}
	}
	if rng.IntN(2) == 0 {
		in.Status, in.Cause, in.LeaveOut, in.Guard = make([]Status, n), make([]string, n), make([]string, n), make([]bool, n)
		for i := range n {
			in.Status[i], in.Guard[i] = Status(max(0, rng.IntN(8)-5)), rng.IntN(9) == 0
			in.Cause[i] = []string{"rot", "", Accident}[rng.IntN(3)]
			if rng.IntN(9) == 0 {
				in.LeaveOut[i] = "dropped"
			}
		}
	}
	for k := range 1 + rng.IntN(2) {
		o := Outcome{Name: fmt.Sprint("y", k), Primary: k == 0, Planned: rng.IntN(2) == 0}
		whole := func() float64 { return []float64{0, 0, 1, 2, 5, 1e9, 1e18, math.NaN()}[rng.IntN(8)] }
		switch rng.IntN(4) {
		case 0:
			o.Kind, o.Values = Count, numbers(whole)
			if rng.IntN(2) == 0 {
				o.Exposure = &Column{Name: "exposure", Values: numbers(value)}
			}
		case 1:
			o.Kind, o.Values = YesNo, numbers(func() float64 { return []float64{0, 0, 1, math.NaN()}[rng.IntN(4)] })
		default:
			o.Kind, o.Values, o.Scale = Measure, numbers(value), []Scale{Natural, Log}[rng.IntN(2)]
			if rng.IntN(3) == 0 {
				o.Start = &Column{Name: "start", Values: numbers(value)}
			}
			if rng.IntN(3) == 0 {
				o.Again = numbers(value)
			}
		}
		if rng.IntN(2) == 0 {
			o.Matters = &Difference{Value: 0.1, Share: rng.IntN(2) == 0}
		}
		in.Outcomes = append(in.Outcomes, o)
	}
	return in, Options{Interactions: rng.IntN(2) == 0, NoGrowthInDark: in.Light != nil && rng.IntN(4) == 0, Seed: seed, Workers: 1}
}

// sound demands that results hold no NaN and no infinity, that what is absent
// has a reason, and that the text fits a terminal.
func sound(t *testing.T, in *Input, opts Options) {
	t.Helper()
	r, err := Analyse(t.Context(), in, opts)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := json.Marshal(r); err != nil { // which refuses what is no number
		t.Fatal(err)
	}
	var text strings.Builder
	if err := tables.WriteFull(&text, "", r); err != nil {
		t.Fatal(err)
	}
	if err := tables.WriteText(&text, "", r); err != nil {
		t.Fatal(err)
	}
	if n := len(r.Answer); n == 0 || n > 7 {
		t.Errorf("%d sentences: %v", n, r.Answer)
	}
	for line := range strings.SplitSeq(text.String(), "\n") {
		if n := uniseg.StringWidth(line); n > 80 || strings.Contains(line, "%!") || strings.Contains(line, "NaN") {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	for _, o := range r.Outcomes {
		if o.Model == "" {
			if _, ok := check(o, "model"); !ok || len(o.Findings) == 0 {
				t.Errorf("%s: no model and no reason", o.Name)
			}
			continue
		}
		for _, e := range o.Effects {
			if e.P == nil && !slices.ContainsFunc(o.Checks, func(c Check) bool { return c.Of == e.Effect && c.Says != "" }) {
				t.Errorf("%s: no p for %s and no reason: %s", o.Name, e.Effect, says(o))
			}
		}
	}
}

func FuzzAnalyse(f *testing.F) {
	for seed := range uint64(150) {
		f.Add(seed, uint8(4+seed%40))
	}
	f.Add(uint64(15), uint8(6))  // sums of repeats that no number holds
	f.Add(uint64(10), uint8(31)) // a curve whose bend has no width
	f.Fuzz(func(t *testing.T, seed uint64, n uint8) {
		in, opts := oddInput(seed, int(n))
		sound(t, in, opts)
	})
}
