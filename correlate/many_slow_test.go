//go:build slow

package correlate

import (
	"fmt"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"
	"time"
)

// A million rows are analysed, or a check says why not; how long it took and how much
// memory is logged.
func TestAMillionRows(t *testing.T) {
	for _, kind := range []Kind{Measure, Count, YesNo} {
		in := million(kind)
		began := time.Now()
		r, err := Analyse(t.Context(), in, Options{Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		took := time.Since(began)
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		t.Logf("%s: %v, %d MB held by the process", kind, took.Round(time.Millisecond), m.Sys>>20)
		o := r.Outcomes[0]
		if o.Model == "" || len(o.Effects) == 0 {
			t.Errorf("%s: no result: %s", kind, says(o))
		}
		if kind == YesNo && (o.Model != "exact table" || !strings.Contains(says(o), "would take minutes")) {
			t.Errorf("%s by %s: %s", kind, o.Model, says(o))
		}
	}
}

func million(kind Kind) *Input {
	const n = 1_000_000
	rng := rand.New(rand.NewPCG(7, 7))
	in := &Input{Table: true, Plants: make([]string, n), Bin: &Factor{Name: "bin"}, Light: &Light{Name: "light"}}
	g := Factor{Name: "g"}
	for l := range 6 {
		in.Bin.Levels, g.Levels = append(in.Bin.Levels, fmt.Sprint("b", l)), append(g.Levels, fmt.Sprint("m", l))
	}
	x, y := make([]float64, n), make([]float64, n)
	for i := range n {
		in.Bin.Codes, g.Codes = append(in.Bin.Codes, rng.IntN(6)), append(g.Codes, rng.IntN(6))
		in.Light.Values = append(in.Light.Values, 3+4*rng.Float64())
		x[i] = rng.NormFloat64()
		switch kind {
		case Count:
			y[i] = poisson(rng, 5)
		case YesNo:
			y[i] = float64(rng.IntN(10) / 9)
		default:
			y[i] = 5 + rng.NormFloat64()
		}
	}
	in.Treatments = []Treatment{{Factor: g, SetPer: PerPlant}}
	in.Covariates = []Column{{Name: "x", Values: x}}
	in.Outcomes = []Outcome{{Name: "y", Kind: kind, Values: y}}
	return in
}
