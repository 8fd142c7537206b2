package field

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"parstead/light"
)

// Isaaks & Srivastava 1989, An Introduction to Applied Geostatistics, chapter
// 12: seven samples about (65, 137), covariance 10 exp(-0.3 h), ordinary
// kriging. Weights, estimate 592.7 and variance 8.96 from memory; they agree.
func TestPublishedOrdinaryKriging(t *testing.T) {
	t.Parallel()
	sites := []site{{61, 139}, {63, 140}, {64, 129}, {68, 128}, {71, 140}, {73, 141}, {75, 128}}
	y := []float64{477, 696, 227, 646, 606, 791, 783}
	ones := [][]float64{{1, 1, 1, 1, 1, 1, 1}}
	rho := func(a, b site) float64 { return math.Exp(-0.3 * a.distance(b)) }
	k := newKriged(7, 1)
	if err := k.solve(ones, y, make([]float64, 7), func(i, j int) float64 { return rho(sites[i], sites[j]) }); err != nil {
		t.Fatal(err)
	}
	var cross []float64
	for _, s := range sites {
		cross = append(cross, rho(s, site{65, 137}))
	}
	at := k.predict([]float64{1}, cross)
	if math.Abs(at.mean-592.7) > 0.05 {
		t.Errorf("estimate %.3f, published 592.7", at.mean)
	}
	if v := 10 * at.covariance(at, 1); math.Abs(v-8.96) > 0.005 {
		t.Errorf("variance %.4f, published 8.96", v)
	}
}

// reference is testdata/field/kriging.json, computed by kriging.py beside it.
type reference struct {
	Rows         int
	Columns      int
	PitchRows    float64 `json:"pitch_rows"`
	PitchColumns float64 `json:"pitch_columns"`
	Range        float64
	Lambda, Sill float64
	Positions    [][2]int
	Repeats      []float64
	Values       []float64
	Cases        []struct {
		Degree      int
		Mean, SE    []float64
		FirstRow    []float64 `json:"covariance_first_row"`
		LeaveOneOut []float64 `json:"leave_one_out"`
		Quad        float64   `json:"quadratic_form"`
		LogDet      float64   `json:"log_det"`
	}
}

func TestKrigingAgreesWithAnIndependentComputation(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile("../../testdata/field/kriging.json")
	if err != nil {
		t.Fatal(err)
	}
	var ref reference
	if err := json.Unmarshal(data, &ref); err != nil {
		t.Fatal(err)
	}
	g := &grouped{bin: light.Bin{Name: "b", Rows: ref.Rows, Columns: ref.Columns, PitchRows: ref.PitchRows, PitchColumns: ref.PitchColumns}, meters: []string{""}}
	var nugget []float64
	for i, p := range ref.Positions {
		g.cells = append(g.cells, light.Position{Bin: "b", Row: p[0], Column: p[1]})
		nugget = append(nugget, ref.Lambda/ref.Repeats[i])
	}
	for _, c := range ref.Cases {
		f := g.trend(g.cells, nil, c.Degree)
		k := newKriged(len(g.cells), len(f))
		l := g.lattice()
		l.setRange(ref.Range)
		if err := k.solve(f, ref.Values, nugget, func(i, j int) float64 { return l.between(g.cells[i], g.cells[j]) }); err != nil {
			t.Fatal(err)
		}
		s := g.surface(k, c.Degree, ref.Sill, l.between)
		for i, p := range g.bin.Positions() {
			near(t, "mean", s.Log[i], c.Mean[i], 1e-10)
			near(t, "standard error", math.Sqrt(s.Covariance(i, i)), c.SE[i], 1e-9)
			near(t, "covariance", s.Covariance(0, i), c.FirstRow[i], 1e-10)
			var cross []float64 // a surveyed position by the general way
			for _, site := range g.cells {
				cross = append(cross, l.between(site, p))
			}
			x := k.predict(column(g.trend(g.bin.Positions(), nil, c.Degree), i), cross)
			near(t, "mean", x.mean, c.Mean[i], 1e-10)
			near(t, "standard error", math.Sqrt(ref.Sill*x.covariance(x, 1)), c.SE[i], 1e-9)
		}
		for i, e := range k.leaveOneOut() {
			near(t, "left out", e, c.LeaveOneOut[i], 1e-10)
		}
		near(t, "quadratic form", k.quad, c.Quad, 1e-9)
		// ln|V| + ln|F'V⁻¹F| = ln|K'VK| + ln|F'F| for contrasts K of the trend.
		near(t, "determinants", k.logDet, c.LogDet, 1e-9)
	}
}

// column is column i of terms that stand row by row.
func column(terms [][]float64, i int) (x []float64) {
	for _, term := range terms {
		x = append(x, term[i])
	}
	return x
}

// A complete walk's likelihood is the same folded and unfolded, whatever the
// grid's sides, the trend and the repeats.
func TestFoldedLikelihoodIsTheSame(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(5, 8))
	for _, sides := range [][2]int{{7, 8}, {4, 6}, {5, 3}, {1, 12}, {11, 1}} {
		bin := light.Bin{Name: "b", Rows: sides[0], Columns: sides[1], PitchRows: 6, PitchColumns: 4.3}
		var walk []Reading
		for range 2 {
			for _, p := range bin.Positions() {
				walk = append(walk, Reading{Position: p, PPFD: 100 * math.Exp(lampLight(bin, p, 14, 20, 30, 0.1)+0.06*rng.NormFloat64()), Reference: math.NaN()})
			}
		}
		g := group(bin, walk)
		for _, degree := range []int{0, 2} {
			if degree == 2 && !g.spreads() {
				continue
			}
			folded := newLikelihood(g, degree)
			if len(folded.shares) == 1 {
				t.Fatal("not folded")
			}
			whole := newLikelihood(g, degree)
			f := g.trend(g.cells, g.meter, degree)
			whole.shares = []share{{newKriged(len(g.cells), len(f)), f, g.mean, g.n, func(i, j int) float64 {
				return whole.lattice.between(g.cells[i], g.cells[j])
			}}}
			for _, x := range []point{pointOf(7, 0.3), pointOf(20, 1), pointOf(50, 8), pointOf(4, 0.02)} {
				near(t, fmt.Sprint(sides, " degree ", degree, " at ", x), folded.at(x), whole.at(x), 1e-9)
			}
		}
	}
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if d := math.Abs(got - want); !(d <= tolerance*max(1, math.Abs(want))) {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

// lampLight is the log of the light of a lamp that hangs off the bin's middle.
func lampLight(bin light.Bin, p light.Position, x, y, height, tilt float64) float64 {
	dx := float64(p.Column)*bin.PitchColumns - x
	dy := float64(p.Row)*bin.PitchRows - y
	r2 := dx*dx/4 + dy*dy + height*height // a bar along the rows
	return math.Log(height*height/r2) + tilt*dx/60
}

// On simulated bins (seed fixed), half of the positions read twice with 6 %
// noise, the map's 95 % interval at unsurveyed positions must cover 95 % of the
// true ratios. With 60 bins of 28 positions the Monte Carlo error is about
// 0.8 points, allowing for the correlation within a bin.
func TestMapsCoverTheTruth(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(7, 21))
	z := distuv.UnitNormal.Quantile(0.975)
	inside, total := 0, 0
	var errors []float64
	for range 60 {
		bin := light.Bin{Name: "b", Rows: 7, Columns: 8, PitchRows: 6, PitchColumns: 6}
		x, y := 27+12*rng.NormFloat64()/2, 24+10*rng.NormFloat64()/2
		height, tilt := 28+6*rng.Float64(), 0.1*rng.NormFloat64()
		cells := bin.Positions()
		truth := make([]float64, len(cells))
		for i, p := range cells {
			truth[i] = lampLight(bin, p, x, y, height, tilt)
		}
		sensor := bin.Index(light.Position{Bin: "b", Row: 4, Column: 4})
		order := rng.Perm(len(cells))
		surveyed := map[int]bool{sensor: true}
		var walk []Reading
		for _, i := range append(order[:28], sensor) {
			surveyed[i] = true
			for range 2 {
				walk = append(walk, Reading{Position: cells[i], PPFD: 100 * math.Exp(truth[i]+0.06*rng.NormFloat64()), Reference: math.NaN()})
			}
		}
		s, err := Smooth(bin, walk)
		if err != nil {
			t.Fatal(err)
		}
		weights := make([]float64, len(cells))
		weights[sensor] = 1
		ratio, se, _ := s.Relative(weights)
		if ratio[sensor] != 1 || se[sensor] > 1e-6 {
			t.Errorf("at the sensor: ratio %v, error %v", ratio[sensor], se[sensor])
		}
		for i := range cells {
			if surveyed[i] {
				continue
			}
			e := math.Log(ratio[i]) - (truth[i] - truth[sensor])
			errors = append(errors, math.Abs(e))
			total++
			if math.Abs(e) <= z*se[i] {
				inside++
			}
		}
	}
	cover := float64(inside) / float64(total)
	t.Logf("coverage %.3f of %d, mean absolute error %.4f", cover, total, mean(errors))
	if cover < 0.92 || cover > 0.985 {
		t.Errorf("the 95 %% interval covers %.1f %%", 100*cover)
	}
	if mean(errors) > 0.03 {
		t.Errorf("mean absolute error of a log ratio %.4f", mean(errors))
	}
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

func TestFewPositionsCarryLess(t *testing.T) {
	t.Parallel()
	bin := light.Bin{Name: "b", Rows: 4, Columns: 4, PitchRows: 6, PitchColumns: 6}
	read := func(row, column int, v float64, meter string) Reading {
		return Reading{Position: light.Position{Bin: "b", Row: row, Column: column}, PPFD: v, Reference: math.NaN(), Meter: meter}
	}
	three := []Reading{read(1, 1, 80, ""), read(2, 3, 100, ""), read(4, 4, 90, "")}
	s, err := Smooth(bin, three)
	if err != nil || s.Method != "mean" {
		t.Fatalf("%v %v", s, err)
	}
	eight := append([]Reading(nil), three...)
	for i, p := range [][2]int{{1, 4}, {4, 1}, {3, 2}, {2, 1}, {3, 4}} {
		eight = append(eight, read(p[0], p[1], 85+4*float64(i), ""))
	}
	if s, err = Smooth(bin, eight); err != nil || s.Method != "plane" {
		t.Fatalf("%v %v", s, err)
	}
	if _, err = Smooth(bin, three[:1]); err == nil {
		t.Error("one position made a map")
	}
}

// Two meters of different gain over the same light must give one map.
func TestMetersGetAGainEach(t *testing.T) {
	t.Parallel()
	bin := light.Bin{Name: "b", Rows: 5, Columns: 5, PitchRows: 6, PitchColumns: 6}
	rng := rand.New(rand.NewPCG(3, 4))
	var one, two []Reading
	for i, p := range bin.Positions() {
		v := 100 * math.Exp(lampLight(bin, p, 15, 18, 25, 0)+0.01*rng.NormFloat64())
		one = append(one, Reading{Position: p, PPFD: v, Reference: math.NaN(), Meter: "a"})
		r := one[len(one)-1]
		if i%2 == 1 {
			r.PPFD, r.Meter = 1.3*v, "b"
		}
		two = append(two, r)
	}
	a, err := Smooth(bin, one)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Smooth(bin, two)
	if err != nil {
		t.Fatal(err)
	}
	weights := make([]float64, 25)
	for i := range weights {
		weights[i] = 1.0 / 25
	}
	ra, _, _ := a.Relative(weights)
	rb, _, _ := b.Relative(weights)
	for i := range ra {
		near(t, "ratio", rb[i], ra[i], 0.03)
	}
}

// BenchmarkSmooth makes a map of a complete walk, of half of the positions read
// twice, and of all positions, some of them read twice.
func BenchmarkSmooth(b *testing.B) {
	bin := light.Bin{Name: "b", Rows: 7, Columns: 8, PitchRows: 6, PitchColumns: 6}
	for _, c := range []struct {
		name   string
		repeat func(i int) int
	}{
		{"complete", func(int) int { return 1 }},
		{"half", func(i int) int { return 2 * (i % 2) }},
		{"uneven", func(i int) int { return 1 + i%2 }},
	} {
		b.Run(c.name, func(b *testing.B) {
			rng := rand.New(rand.NewPCG(7, 21))
			var walk []Reading
			for i, p := range bin.Positions() {
				for range c.repeat(i) {
					walk = append(walk, Reading{Position: p, PPFD: 100 * math.Exp(lampLight(bin, p, 24, 20, 30, 0.1)+0.06*rng.NormFloat64()), Reference: math.NaN()})
				}
			}
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Smooth(bin, walk); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
