package field

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"gonum.org/v1/gonum/mat"

	"parstead/light"
)

// reference is testdata/field/average.json, computed by average.py beside it.
type reference struct {
	Name          string
	Rows, Columns int
	PitchRows     float64 `json:"pitch_rows"`
	PitchColumns  float64 `json:"pitch_columns"`
	Readings      [][3]float64
	Anchors       []float64
	Mean, SD      []float64
	Noise, Spread float64
	Evidence      float64
	LeftOut       []*[2]float64 `json:"left_out"`
	LeftOutMean   []*[2]float64 `json:"left_out_mean"`
}

// The average agrees with one by dense algebra, combination by combination, with
// readings really left out. What is left out of the sum as negligible is worth
// less than 1 part in 1,000.
func TestAverageAgreesWithAnIndependentComputation(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile("../../testdata/field/average.json")
	if err != nil {
		t.Fatal(err)
	}
	var refs []reference
	if err := json.Unmarshal(data, &refs); err != nil {
		t.Fatal(err)
	}
	if len(refs) != 8 {
		t.Fatalf("%d cases", len(refs))
	}
	for _, ref := range refs {
		t.Run(ref.Name, func(t *testing.T) {
			t.Parallel()
			bin := light.Bin{Name: "b", Rows: ref.Rows, Columns: ref.Columns, PitchRows: ref.PitchRows, PitchColumns: ref.PitchColumns}
			var walk []Reading
			for _, r := range ref.Readings {
				walk = append(walk, Reading{Position: bin.Positions()[int(r[0])], PPFD: math.Exp(r[2]), Reference: math.NaN(), Meter: fmt.Sprint(r[1])})
			}
			w := group(bin, walk)
			w.noises = noises
			p := w.average(ref.Anchors, true)
			for i := range ref.Mean {
				near(t, "mean", p.mean[i], ref.Mean[i], 1e-3*0.2)
				near(t, "standard deviation", p.sd[i], ref.SD[i], 1e-3*0.2)
			}
			near(t, "noise", p.noise, ref.Noise, 1e-3*ref.Noise)
			near(t, "spread", p.spread, ref.Spread, 1e-3*ref.Spread)
			near(t, "log evidence", p.evidence, ref.Evidence, 1e-3)
			same := func(what string, got []expected, want []*[2]float64) {
				if len(got) != len(want) {
					t.Fatalf("%s: %d, want %d", what, len(got), len(want))
				}
				for i, e := range got {
					if want[i] == nil {
						if !math.IsInf(e.sd, 1) {
							t.Errorf("%s %d: %v, yet nobody else speaks of it", what, i, e)
						}
						continue
					}
					near(t, what, e.off, want[i][0], 1e-3*0.2)
					near(t, what+", its error", e.sd, want[i][1], 1e-3*0.2)
				}
			}
			same("left out", p.readings, ref.LeftOut)
			same("mean left out", p.means, ref.LeftOutMean)
		})
	}
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

// Isaaks & Srivastava 1989, An Introduction to Applied Geostatistics, chapter 12:
// seven samples about (65, 137), covariance 10 exp(−0.3 h), ordinary kriging
// without a nugget. Estimate 592.7 and variance 8.96 from memory; they agree.
func TestPublishedOrdinaryKriging(t *testing.T) {
	t.Parallel()
	sites := [][2]float64{{61, 139}, {63, 140}, {64, 129}, {68, 128}, {71, 140}, {73, 141}, {75, 128}, {65, 137}}
	y := []float64{477, 696, 227, 646, 606, 791, 783}
	k := mat.NewSymDense(8, nil)
	for i, a := range sites {
		for j, b := range sites {
			k.SetSym(i, j, math.Exp(-0.3*math.Hypot(a[0]-b[0], a[1]-b[1])))
		}
	}
	w := &walked{grid: grid{1, 8, 1, 1}, meters: 1, mean: y, places: 7}
	for i := range y {
		w.cell, w.meter, w.n = append(w.cell, i), append(w.meter, 0), append(w.n, 1)
	}
	w.noises = []float64{1e-6} // next to no nugget
	flat := make([]float64, 8) // and no fall-off
	w.pairs = w.paired()
	b := w.weigh(w.turn(k, flat, nil), 0)
	m := &mixture{mean: make([]float64, 8), square: make([]float64, 8)}
	w.predict(b, flat, nil, &total{one: 1, spread2: 10}, m)
	near(t, "estimate", m.mean[7], 592.7, 0.05)
	near(t, "variance", m.square[7]-m.mean[7]*m.mean[7], 8.96, 0.005)
}

// A map of 56 positions takes at most 20 ms on one core, one of 96 at most 100 ms
// (targets of this project).
func BenchmarkMap(b *testing.B) {
	for _, c := range []struct {
		name          string
		rows, columns int
		repeat        func(i int) int
	}{
		{"56 complete", 7, 8, func(int) int { return 1 }},
		{"56 half twice", 7, 8, func(i int) int { return 2 * (i % 2) }},
		{"56 uneven", 7, 8, func(i int) int { return 1 + i%2 }},
		{"96 complete", 8, 12, func(int) int { return 1 }},
		{"96 uneven", 8, 12, func(i int) int { return 1 + i%2 }},
	} {
		b.Run(c.name, func(b *testing.B) {
			bin := light.Bin{Name: "b", Rows: c.rows, Columns: c.columns, PitchRows: 6, PitchColumns: 6}
			rng := rand.New(rand.NewPCG(7, 21))
			var walk []Reading
			for i, p := range bin.Positions() {
				for range c.repeat(i) {
					walk = append(walk, Reading{Position: p, PPFD: 100 * math.Exp(lampLight(bin, p, 24, 20, 30, 0.1)+0.06*rng.NormFloat64()), Reference: 100})
				}
			}
			anchors := []Anchor{{Position: bin.Positions()[c.columns+3], Weight: 1}}
			b.ReportAllocs()
			for b.Loop() {
				if _, err := fit(bin, walk, anchors); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// lampLight is the log of the light of a lamp that hangs off the bin's middle.
func lampLight(bin light.Bin, p light.Position, x, y, height, tilt float64) float64 {
	dx := float64(p.Column)*bin.PitchColumns - x
	dy := float64(p.Row)*bin.PitchRows - y
	r2 := dx*dx/4 + dy*dy + height*height // a bar along the rows
	return math.Log(height*height/r2) + tilt*dx/60
}
