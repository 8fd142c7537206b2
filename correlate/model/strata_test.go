package model

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// racks is a made-up trial: 2 blocks of 4 bins of 4 plants; feed set per
// reservoir (one per pair of bins), lamp per bin, medium per plant.
func racks(seed uint64) (Terms, *Factor, []float64) {
	rng := rand.New(rand.NewPCG(seed, 1))
	var block, tank, bin, feed, lamp, medium []string
	var y []float64
	for b := range 2 {
		for r := range 2 {
			for k := range 2 {
				e := rng.NormFloat64()
				for p := range 4 {
					name := string(rune('A' + b))
					block = append(block, name)
					tank = append(tank, name+string(rune('0'+r)))
					bin = append(bin, name+string(rune('0'+r))+string(rune('0'+k)))
					feed = append(feed, []string{"full", "half"}[r])
					lamp = append(lamp, []string{"blue", "red"}[k])
					medium = append(medium, []string{"bark", "coir"}[p%2])
					y = append(y, 5+float64(b)+e+0.5*float64(k)+rng.NormFloat64()/2)
				}
			}
		}
	}
	blocks, bins, tanks := factorOf("block", block...), factorOf("bin", bin...), factorOf("reservoir", tank...)
	return Terms{Block: &blocks, Bin: &bins, Treatments: []Treatment{
		{factorOf("feed", feed...), PerReservoir}, {factorOf("lamp", lamp...), PerBin}, {factorOf("medium", medium...), PerPlant},
	}}, &tanks, y
}

// The strata of a balanced trial are those of plain means: for each stratum,
// an analysis of variance by hand.
func TestThreeStrataAreThoseOfPlainMeans(t *testing.T) {
	t.Parallel()
	terms, tanks, y := racks(1)
	s, err := FitStrata(len(y), terms, tanks, Quantities(y))
	if err != nil {
		t.Fatal(err)
	}
	if s[1].Err != nil || s[2].Err != nil {
		t.Fatal(s[1].Err, s[2].Err)
	}
	binMean, tankMean := averages(y, terms.Bin.Of), averages(y, tanks.Of)
	for b, m := range s[1].Response.(Quantities) {
		near(t, "bin mean", m, binMean[b], 1e-13, 1)
	}
	// Lamps within reservoirs: pairs of bins, 4 of them, so F = t² of the paired difference on 3 df.
	var d []float64
	for r := range 4 {
		d = append(d, binMean[2*r+1]-binMean[2*r])
	}
	m, sd := MeanSD(d)
	lamp := find(t, s[1].Tests, "lamp")
	near(t, "lamp F", lamp.Value, m*m/(sd*sd/4), 1e-11, 0)
	if lamp.DF != [2]float64{1, 3} {
		t.Errorf("lamp df %v, want 1, 3", lamp.DF)
	}
	// Feeds within blocks: pairs of reservoirs, 2 of them, 1 df.
	m, sd = MeanSD([]float64{tankMean[1] - tankMean[0], tankMean[3] - tankMean[2]})
	feed := find(t, s[2].Tests, "feed")
	near(t, "feed F", feed.Value, m*m/(sd*sd/2), 1e-11, 0)
	if feed.DF != [2]float64{1, 1} {
		t.Errorf("feed df %v, want 1, 1", feed.DF)
	}
	if u := s[1].Families()[0]; u.Unit != PerBin || u.Name() != "lamp" {
		t.Errorf("family %+v", u)
	}
	if got := find(t, s[0].Tests, "medium").DF; got != [2]float64{1, 23} {
		t.Errorf("medium df %v, want 1, 23", got)
	}
}

func averages(y []float64, group []int) []float64 {
	var means []float64
	for _, g := range grouped(y, group) {
		means = append(means, mean(g))
	}
	return means
}

func find(t *testing.T, tests []Test, effect string) Test {
	t.Helper()
	for _, test := range tests {
		if test.Name() == effect {
			return test
		}
	}
	t.Fatalf("no test of %s in %+v", effect, tests)
	return Test{}
}

func TestOneBinALevelIsNotTested(t *testing.T) {
	t.Parallel()
	bin := factorOf("bin", "a", "a", "a", "b", "b", "b")
	feed := factorOf("feed", "p", "p", "p", "q", "q", "q")
	y := []float64{1, 2, 4, 8, 9, 6}
	s, err := FitStrata(6, Terms{Bin: &bin, Treatments: []Treatment{{feed, PerBin}}}, nil, Quantities(y))
	if err != nil {
		t.Fatal(err)
	}
	if s[0].Err != nil || s[1].Model != nil || !errors.Is(s[1].Err, ErrTooFew) {
		t.Errorf("plant %v, bin %+v", s[0], s[1])
	}
	// One plant in each bin: no plant stratum, but the bins stand.
	single := factorOf("bin", "a", "b", "c", "d", "e", "f")
	s, err = FitStrata(6, Terms{Bin: &single, Treatments: []Treatment{{feed, PerBin}}}, nil, Quantities(y))
	if err != nil {
		t.Fatal(err)
	}
	if !errors.Is(s[0].Err, ErrTooFew) || s[1].Err != nil {
		t.Fatalf("plant %v, bin %v", s[0].Err, s[1].Err)
	}
	near(t, "F", s[1].Tests[0].Value, must(fitted(t, Terms{Treatments: []Treatment{{feed, PerPlant}}}, y).Partial())[0].Value, 1e-12, 0)
}

// Light that differs within and between bins: the slope within bins is the
// model's; the slope between them is the regression of the bins' plain means.
func TestSlopesWithinAndBetweenBins(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(9, 9))
	var bin []string
	var light, y []float64
	for b := range 5 {
		for range 6 {
			bin = append(bin, string(rune('a'+b)))
			l := float64(b) + rng.Float64()
			light = append(light, l)
			y = append(y, 2*l-1.5*float64(b)+rng.NormFloat64()/10)
		}
	}
	bins := factorOf("bin", bin...)
	terms := Terms{Bin: &bins, Light: &Variable{"light", light}}
	got, err := BetweenBins(len(y), terms, Quantities(y))
	if err != nil {
		t.Fatal(err)
	}
	x, m := averages(light, bins.Of), averages(y, bins.Of)
	var sxy, sxx float64
	for i := range x {
		sxy += (x[i] - mean(x)) * (m[i] - mean(m))
		sxx += (x[i] - mean(x)) * (x[i] - mean(x))
	}
	near(t, "between", got.Value, sxy/sxx, 1e-12, 0)
	if got.DF != 3 {
		t.Errorf("df %g, want bins − 2 = 3", got.DF)
	}
	within, ok := slopeOf(fitted(t, terms, y), KindLight, "light")
	if !ok || math.Abs(within.Value-2) > 0.2 || math.Abs(got.Value-0.5) > 0.2 {
		t.Errorf("within %g, between %g, want about 2 and 0.5", within.Value, got.Value)
	}
}
