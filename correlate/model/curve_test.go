package model

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// testdata/cases/curves.json: Bates & Watts (1988), Potvin et al. (1990) by a
// general nonlinear fit in R 4.2.2; Misra1a and Misra1d certified by NIST.
func TestCurvesAgainstReference(t *testing.T) {
	t.Parallel()
	var ref struct {
		Curves []struct {
			Data, Light, Outcome string
			Where                []string
			NoGrowthInDark       bool `json:"no_growth_in_dark"`
			Shape                Shape
			RSS, AIC             float64
			Parameters           []struct {
				Name         string
				Estimate, SE float64
				CI95         *[2]float64
			}
		}
	}
	readJSON(t, &ref, "cases", "curves.json")
	if len(ref.Curves) != 28 {
		t.Fatalf("%d curves read", len(ref.Curves))
	}
	for _, c := range ref.Curves {
		tab := readTable(t, strings.Split(c.Data, "/")...)
		light, y := tab.numbers(t, c.Light), tab.numbers(t, c.Outcome)
		name := c.Data
		if c.Where != nil {
			name += " " + c.Where[1]
			k := 0
			for i, cell := range tab[c.Where[0]] {
				if cell == c.Where[1] {
					light[k], y[k] = light[i], y[i]
					k++
				}
			}
			light, y = light[:k], y[:k]
		}
		curves, err := Curves(len(y), Terms{Light: &Variable{"light", light}}, y, CurveOptions{NoGrowthInDark: c.NoGrowthInDark})
		if err != nil {
			t.Fatal(err)
		}
		var got Curve
		for _, curve := range curves {
			if curve.Shape == c.Shape {
				got = curve
			}
		}
		if got.Err != nil || len(got.Parameters) != len(c.Parameters) {
			t.Errorf("%s %s: %v, parameters %+v", name, c.Shape, got.Err, got.Parameters)
			continue
		}
		near(t, name+" rss", got.RSS, c.RSS, 1e-9, 0)
		if c.AIC != 0 {
			near(t, name+" aic", got.AIC, c.AIC, 1e-9, 0)
		}
		for i, want := range c.Parameters {
			p := got.Parameters[i]
			what := name + " " + want.Name
			if p.Name != want.Name || !p.SEOK {
				t.Errorf("%s: %+v", what, p)
			}
			near(t, what, p.Estimate, want.Estimate, 1e-6, 0)
			if want.SE != 0 {
				near(t, what+" standard error", p.SE, want.SE, 2e-5, 0)
			}
			if want.CI95 != nil {
				// R interpolates the profile by a spline, coarsely where it is bent.
				tolerance := 3e-4
				if c.Light == "conc" && c.Outcome == "uptake" {
					tolerance = 0.02
				}
				near(t, what+" lower limit", p.CI95[0], want.CI95[0], tolerance, 0)
				near(t, what+" upper limit", p.CI95[1], want.CI95[1], tolerance, 0)
			}
			if p.Name == "K" && p.CIOK && c.NoGrowthInDark && c.Shape == Hyperbola {
				checkRise(t, what, got, p, light, y)
			}
		}
	}
}

// checkRise checks the ends of K's interval by what they are: b given K is a ratio of
// sums.
func checkRise(t *testing.T, what string, got Curve, p Parameter, light, y []float64) {
	t.Helper()
	for _, k := range p.CI95 {
		var gy, gg, rss float64
		for i := range y {
			g := light[i] / (k + light[i])
			gy += g * y[i]
			gg += g * g
		}
		for i := range y {
			e := y[i] - gy/gg*light[i]/(k+light[i])
			rss += e * e
		}
		near(t, what+" rise of rss at a limit", rss, got.RSS+got.reach(), 1e-9, 0)
	}
}

// The reference README gives puromycin's treated K exactly.
func TestCurveProfileExact(t *testing.T) {
	t.Parallel()
	x := []float64{0.02, 0.02, 0.06, 0.06, 0.11, 0.11, 0.22, 0.22, 0.56, 0.56, 1.10, 1.10}
	y := []float64{76, 47, 97, 107, 123, 139, 159, 152, 191, 201, 207, 200}
	curves, err := Curves(12, Terms{Light: &Variable{"light", x}}, y, CurveOptions{NoGrowthInDark: true})
	if err != nil {
		t.Fatal(err)
	}
	h := curves[1]
	k := h.Parameters[1]
	near(t, "lower limit of K", k.CI95[0], 0.04692034, 1e-7, 0)
	near(t, "upper limit of K", k.CI95[1], 0.08615691, 1e-7, 0)
	// b's limits by brute force: RSS given b, least over K, rises by s²F there.
	goal := h.RSS + h.reach()
	for _, b := range h.Parameters[0].CI95 {
		least := math.Inf(1)
		for lnK := -4.0; lnK < -1; lnK += 1e-4 {
			var rss float64
			for i := range x {
				e := y[i] - b*x[i]/(math.Exp(lnK)+x[i])
				rss += e * e
			}
			least = min(least, rss)
		}
		near(t, "rss at b's limit", least, goal, 1e-6, 0)
	}
	// The same for the band.
	p, ok := h.Predict(0.3)
	if !ok || !p.CIOK {
		t.Fatal("no prediction")
	}
	near(t, "prediction", p.Value, h.Parameters[0].Estimate*0.3/(k.Estimate+0.3), 1e-10, 0)
	for _, end := range p.CI95 {
		least := math.Inf(1)
		for lnK := -4.0; lnK < -1; lnK += 1e-4 {
			b := end * (math.Exp(lnK) + 0.3) / 0.3
			var rss float64
			for i := range x {
				e := y[i] - b*x[i]/(math.Exp(lnK)+x[i])
				rss += e * e
			}
			least = min(least, rss)
		}
		near(t, "rss at the band's end", least, goal, 1e-6, 0)
	}
	var sum float64
	for _, c := range curves {
		if c.OK {
			sum += c.Weight
			k := float64(12 - c.DF + 1)
			near(t, "aicc", c.AICc-c.AIC, 2*k*(k+1)/(12-k-1), 1e-12, 0)
		}
	}
	near(t, "weights", sum, 1, 1e-14, 0)
}

// rack makes bins with plants whose outcome follows light by the shape.
func rack(rng *rand.Rand, sd float64, shape func(l float64) float64) (Terms, []float64) {
	bin := Factor{Name: "bin", Levels: []string{"lower", "middle", "upper"}}
	medium := Factor{Name: "medium", Levels: []string{"bark", "coir"}}
	var light, start, y []float64
	for i := range 120 {
		b := i % 3
		bin.Of = append(bin.Of, b)
		medium.Of = append(medium.Of, i/3%2)
		l := 2 + 3*float64(b) + 4*rng.Float64()
		light = append(light, l)
		start = append(start, rng.NormFloat64())
		y = append(y, shape(l)+0.5*float64(b)+0.3*float64(i/3%2)+0.2*start[i]+sd*rng.NormFloat64())
	}
	return Terms{
		Bin: &bin, Treatments: []Treatment{{medium, PerPlant}},
		Covariates: []Variable{{"start", start}}, Light: &Variable{"light", light},
	}, y
}

// With bins, a treatment and a covariate beside it, a curve that is nearly free
// of error must give back its parameters, on both scales.
func TestCurvesBesideOtherTerms(t *testing.T) {
	t.Parallel()
	const b, k, sd = 8, 5, 1e-4
	for i, c := range []struct {
		shape func(l float64) float64
		which Shape
		log   bool
	}{
		{func(l float64) float64 { return b * l / (k + l) }, Hyperbola, false},
		{func(l float64) float64 { return b * (1 - math.Exp(-l/k)) }, Exponential, false},
		{func(l float64) float64 { return math.Log(l / (k + l)) }, Hyperbola, true},
		{func(l float64) float64 { return math.Log(1 - math.Exp(-l/k)) }, Exponential, true},
		{func(l float64) float64 { return 0.7 * math.Log(l) }, Straight, true},
		{func(l float64) float64 { return 0.7 * l }, Straight, false},
		{func(l float64) float64 { return 0.9*l - 0.06*l*l }, Quadratic, false},
	} {
		terms, y := rack(rand.New(rand.NewPCG(uint64(i), 1)), sd, c.shape)
		curves, err := Curves(len(y), terms, y, CurveOptions{Log: c.log})
		if err != nil {
			t.Fatal(err)
		}
		best := curves[0]
		for _, curve := range curves[1:] {
			if curve.OK && (!best.OK || curve.Weight > best.Weight) {
				best = curve
			}
		}
		if best.Shape != c.which {
			t.Errorf("case %d: best shape %s, want %s", i, best.Shape, c.which)
			continue
		}
		want := map[string]float64{"K": k, "b": b, "intercept": 0}
		if c.which == Straight {
			want["b"] = 0.7
		}
		if c.which == Quadratic {
			want = map[string]float64{"intercept": 0, "b1": 0.9, "b2": -0.06, "optimum": 7.5}
		}
		seen := 0
		for j, p := range best.Parameters {
			v, ok := want[p.Name]
			if !ok || !p.SEOK || !p.CIOK {
				t.Errorf("case %d: %+v", i, p)
				continue
			}
			if j == 0 != (p.Name == "intercept") {
				t.Errorf("case %d: parameter %d is %s", i, j, p.Name)
			}
			seen++
			if math.Abs(p.Estimate-v) > 5*p.SE || p.SE > 0.01 {
				t.Errorf("case %d: %s is %v ± %v, planted %v", i, p.Name, p.Estimate, p.SE, v)
			}
			// So little error makes the profile's interval the linear one.
			half := tQuantile(0.05, float64(best.DF)) * p.SE
			near(t, p.Name+" lower", p.CI95[0], p.Estimate-half, 0.02*half/math.Abs(p.Estimate-half), 0)
			near(t, p.Name+" upper", p.CI95[1], p.Estimate+half, 0.02*half/math.Abs(p.Estimate+half), 0)
		}
		if seen < 2 {
			t.Errorf("case %d: parameters %+v", i, best.Parameters)
		}
		// A prediction averages bins (0, 0.5, 1) and media (0, 0.3).
		p, ok := best.Predict(6)
		if !ok || !p.CIOK {
			t.Fatalf("case %d: no prediction", i)
		}
		var start float64
		for _, v := range terms.Covariates[0].Values {
			start += v / 120
		}
		planted := c.shape(6) + 0.5 + 0.15 + 0.2*start
		if half := (p.CI95[1] - p.CI95[0]) / 2; math.Abs(p.Value-planted) > 3*half || half > 0.001 {
			t.Errorf("case %d: %v ± %v at 6, planted %v", i, p.Value, half, planted)
		}
	}
}

// shapesOf fits all shapes; those that could be fitted have figures.
func shapesOf(t *testing.T, light, y []float64, opt CurveOptions) map[Shape]Curve {
	t.Helper()
	curves, err := Curves(len(y), Terms{Light: &Variable{"light", light}}, y, opt)
	if err != nil {
		t.Fatal(err)
	}
	by := map[Shape]Curve{}
	for _, c := range curves {
		by[c.Shape] = c
		if c.Err == nil {
			for _, v := range []float64{c.RSS, c.AIC, c.AICc, c.Weight} {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Errorf("%s: %v", c.Shape, v)
				}
			}
		}
	}
	return by
}

// lightAndNoise is light from 5 to 15, and an outcome that has nothing to do with it.
func lightAndNoise() (light, flat []float64) {
	rng := rand.New(rand.NewPCG(21, 22))
	for i := range 30 {
		light, flat = append(light, 5+10*float64(i)/29), append(flat, 3+rng.NormFloat64())
	}
	return light, flat
}

func TestCurvesThatCannotBeFitted(t *testing.T) {
	t.Parallel()
	light, flat := lightAndNoise()
	convex, two := make([]float64, 30), make([]float64, 30)
	for i := range light {
		convex[i], two[i] = light[i]*light[i], 5+5*float64(i%2)
	}
	if c := shapesOf(t, light, convex, CurveOptions{})[Hyperbola]; !errors.Is(c.Err, ErrNoBend) {
		t.Errorf("convex: %v", c.Err)
	}
	for shape, c := range shapesOf(t, two, flat, CurveOptions{}) {
		if shape != Straight && !errors.Is(c.Err, ErrFewLights) && !errors.Is(c.Err, ErrNoBend) && !errors.Is(c.Err, ErrSaturated) {
			t.Errorf("two lights, %s: %v, %+v", shape, c.Err, c.Parameters)
		}
	}
	// Light that does not differ within bins says nothing beside them.
	bin := groups(5, 6)
	byBin := make([]float64, 30)
	for i, b := range bin.Of {
		byBin[i] = 4 + 2*float64(b)
	}
	within, err := Curves(30, Terms{Bin: &bin, Light: &Variable{"light", byBin}}, flat, CurveOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range within {
		if !errors.Is(c.Err, ErrFewLights) {
			t.Errorf("light by bin, %s: %v", c.Shape, c.Err)
		}
	}
	if _, err := Curves(30, Terms{Light: &Variable{"light", light}}, make([]float64, 30), CurveOptions{}); !errors.Is(err, ErrNoSpread) {
		t.Errorf("constant outcome: %v", err)
	}
	same := make([]float64, 30)
	for i := range same {
		same[i] = 7
	}
	for shape, c := range shapesOf(t, same, flat, CurveOptions{}) {
		if c.Err == nil {
			t.Errorf("constant light: %s was fitted", shape)
		}
	}
}

func TestCurvesOverOddLight(t *testing.T) {
	t.Parallel()
	light, flat := lightAndNoise()
	dark := append([]float64{0}, light[1:]...)
	by := shapesOf(t, dark, flat, CurveOptions{Log: true})
	if !errors.Is(by[Straight].Err, ErrDarkLight) || !errors.Is(by[Hyperbola].Err, ErrDarkLight) || by[Quadratic].Err != nil {
		t.Errorf("light of zero on a log scale: %v, %v, %v", by[Straight].Err, by[Hyperbola].Err, by[Quadratic].Err)
	}
	below := append([]float64{-1}, light[1:]...)
	by = shapesOf(t, below, flat, CurveOptions{})
	if by[Straight].Err != nil || !errors.Is(by[Exponential].Err, ErrDarkLight) {
		t.Errorf("negative light: %v, %v", by[Straight].Err, by[Exponential].Err)
	}
	if c := shapesOf(t, light[:3], flat[:3], CurveOptions{})[Quadratic]; !errors.Is(c.Err, ErrTooFew) {
		t.Errorf("three rows: %v", c.Err)
	}
	// A perfect line has no spread left.
	line := make([]float64, 30)
	for i := range line {
		line[i] = 2 + 3*light[i]
	}
	if c := shapesOf(t, light, line, CurveOptions{})[Straight]; c.Err != nil || c.RSS != 0 || c.OK || c.Parameters[1].SEOK {
		t.Errorf("perfect line: %+v", c)
	}
}

func TestCurvesOfLooseData(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(23, 24))
	light, _ := lightAndNoise()
	// Loose data leave K open rather than inventing an end.
	loose := make([]float64, 30)
	open := 0
	for range 50 {
		for i := range loose {
			loose[i] = 8*light[i]/(5+light[i]) + rng.NormFloat64()
		}
		if c := shapesOf(t, light, loose, CurveOptions{})[Hyperbola]; c.Err == nil {
			k := c.Parameters[len(c.Parameters)-1]
			if !k.CIOK {
				open++
				if k.Why == "" || c.Parameters[0].CIOK {
					t.Errorf("open without a reason: %+v", c.Parameters)
				}
			}
		}
	}
	if open == 0 {
		t.Error("K was never left open")
	}
}

func BenchmarkCurves(b *testing.B) {
	terms, y := rack(rand.New(rand.NewPCG(1, 1)), 0.3, func(l float64) float64 { return 8 * l / (5 + l) })
	for b.Loop() {
		curves, err := Curves(len(y), terms, y, CurveOptions{})
		if err != nil {
			b.Fatal(err)
		}
		for _, c := range curves {
			for i := range 50 {
				c.Predict(2 + 0.2*float64(i))
			}
		}
	}
}
