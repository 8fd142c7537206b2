package model

import (
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"
	"testing"
)

// Orchard sprays (Finney 1947): the general software's analytic p of residual
// autocorrelation is 0.01046; permuting without projecting gives about 0.007,
// with projecting 0.0110. The tolerance is that difference and four Monte Carlo errors.
func TestMoranOfResidualsOnASquare(t *testing.T) {
	t.Parallel()
	var c struct {
		Fits []struct {
			Fit      string
			Position *struct {
				I float64 `json:"moran_i"`
				P float64 `json:"p_analytic"`
			}
		}
	}
	readJSON(t, &c, "cases", "orchardsprays.json")
	tab := readTable(t, "cases", "orchardsprays.csv")
	f := fitted(t, Terms{Treatments: []Treatment{{tab.factor(t, "treatment"), PerPlant}}}, tab.numbers(t, "decrease"))
	row, column := whole(tab.numbers(t, "rowpos")), whole(tab.numbers(t, "colpos"))
	got, ok := Moran(f, SharedEdges(nil, row, column), nil, 9999, 1)
	if !ok || got.Deals != 10000 {
		t.Fatalf("%+v, %v", got, ok)
	}
	for _, fit := range c.Fits {
		if want := fit.Position; want != nil {
			near(t, "I", got.I, want.I, 1e-12, 0)
			if math.Abs(got.P-want.P) > 0.004 {
				t.Errorf("p: got %g, want %g", got.P, want.P)
			}
			return
		}
	}
	t.Fatal("no expected value")
}

// Columbus (Anselin 1988, table 12.1): neighbours by contiguity. The analytic
// moments of I under the model are those of independent normal errors, so the
// permuted ones agree with them only roughly.
func TestMoranOnAMap(t *testing.T) {
	t.Parallel()
	var want struct {
		Neighbours [][]int
		Crime      float64 `json:"moran_i_crime"`
		Residuals  float64 `json:"moran_i_residuals"`
		P          float64 `json:"p_residuals"`
	}
	readJSON(t, &want, "cases", "columbus.json")
	tab := readTable(t, "cases", "columbus.csv")
	for _, list := range want.Neighbours {
		for i := range list {
			list[i]--
		}
	}
	n := NewNeighbours(want.Neighbours)
	crime := tab.numbers(t, "CRIME")
	centred := slices.Clone(crime)
	for i := range centred {
		centred[i] -= mean(crime)
	}
	got, ok := n.Moran(centred)
	if !ok {
		t.Fatal("absent")
	}
	near(t, "I of crime", got, want.Crime, 1e-12, 0)
	f := fitted(t, Terms{Covariates: []Variable{{"INC", tab.numbers(t, "INC")}, {"HOVAL", tab.numbers(t, "HOVAL")}}}, crime)
	a, ok := Moran(f, n, nil, 9999, 1)
	if !ok {
		t.Fatal("absent")
	}
	near(t, "I of residuals", a.I, want.Residuals, 1e-12, 0)
	if math.Abs(a.P-want.P) > 0.0025 {
		t.Errorf("p: got %g, want about %g", a.P, want.P)
	}
}

// Every re-dealt F must be that of a whole new fit.
func TestRedealtFIsThatOfAFullRefit(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(3, 4))
	trial := simulated(rng, 60)
	trial.Interactions = true
	y := make([]float64, 60)
	for i := range y {
		y[i] = rng.NormFloat64() + float64(trial.Treatments[0].Of[i])
	}
	f := fitted(t, trial, y)
	for _, dealt := range [][]int{f.Design.treatments[:1], f.Design.treatments[1:2], f.Design.treatments} {
		r := f.redealing(dealt)
		w := r.worker()
		got := make([]float64, len(r.effects))
		labels := make([]int, 60)
		shuffle := NewShuffle(f.Design.Combinations(dealt), trial.Bin.Of)
		for range 20 {
			shuffle.Deal(rng, labels)
			again := trial
			again.Treatments = slices.Clone(trial.Treatments)
			for i, rest := range slices.Clone(labels) {
				if i == 0 {
					for _, d := range dealt {
						k := slices.Index(f.Design.treatments, d)
						again.Treatments[k].Of = slices.Clone(trial.Treatments[k].Of)
					}
				}
				for _, factor := range slices.Backward(dealt) {
					k := slices.Index(f.Design.treatments, factor)
					levels := len(trial.Treatments[k].Levels)
					again.Treatments[k].Of[i] = rest % levels
					rest /= levels
				}
			}
			refit := fitted(t, again, y)
			w.ratios(labels, got)
			for e, effect := range r.effects {
				for _, test := range must(refit.Partial()) {
					if test.Name() == effect.Name() {
						near(t, effect.Name(), got[e]*test.DF[1]/test.DF[0], test.Value, 1e-9, 1e-6)
					}
				}
			}
		}
	}
}

// Under a normal model the re-dealing p agrees with the F test's to the order
// of the Monte Carlo error (0.005 at p = 0.5 with 9,999 deals) and of 1/n.
func TestRedealtPAgreesWithF(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(5, 6))
	trial := simulated(rng, 120)
	y := make([]float64, 120)
	for i := range y {
		y[i] = rng.NormFloat64()
	}
	f := fitted(t, trial, y)
	dealt := f.Design.treatments
	shuffle := NewShuffle(f.Design.Combinations(dealt), trial.Bin.Of)
	got := Redeal(f, dealt, shuffle.Deal, 9999, 1)
	if again := Redeal(f, dealt, shuffle.Deal, 9999, 1); !slices.Equal(got, again) {
		t.Errorf("one seed, two results: %v, %v", got, again)
	}
	if len(got) != 2 {
		t.Fatalf("%v", got)
	}
	for i, test := range got {
		want := must(f.Partial())
		k := slices.IndexFunc(want, func(w Test) bool { return w.Name() == test.Name() })
		if math.Abs(test.P-want[k].P) > 0.03 {
			t.Errorf("%s: re-dealt p %g, F's p %g", got[i].Name(), test.P, want[k].P)
		}
	}
}

// All deals of 6 bins in 2 levels of 3: 20, so the largest difference has p = 2/20.
func TestAllDealsOfBins(t *testing.T) {
	t.Parallel()
	level := Factor{Name: "feed", Levels: []string{"a", "b"}, Of: []int{0, 0, 0, 1, 1, 1}}
	f := fitted(t, Terms{Treatments: []Treatment{{level, PerPlant}}}, []float64{1, 2, 3, 11, 12, 14})
	var all [][]int
	for set := range 1 << 6 {
		if bits.OnesCount(uint(set)) == 3 {
			labels := make([]int, 6)
			for i := range labels {
				labels[i] = set >> i & 1
			}
			all = append(all, labels)
		}
	}
	if got := RedealAll(f, f.Design.treatments, slices.Values(all))[0]; got.P != 0.1 || got.Deals != 20 {
		t.Errorf("%+v, want p 0.1 of 20 deals", got)
	}
}

// Each order of labels is as likely as any other: with 6 labels, two of them
// alike, 360 orders; chi-squared over 360,000 deals stays within four standard
// deviations of its 359 degrees of freedom.
func TestShuffleIsUniform(t *testing.T) {
	t.Parallel()
	s := NewShuffle([]int{0, 1, 2, 3, 4, 4}, nil)
	rng := rand.New(rand.NewPCG(7, 8))
	labels := make([]int, 6)
	seen := map[[6]int]int{}
	for range 360000 {
		s.Deal(rng, labels)
		seen[[6]int(labels)]++
	}
	var chi2 float64
	for _, n := range seen {
		chi2 += (float64(n) - 1000) * (float64(n) - 1000) / 1000
	}
	if len(seen) != 360 || math.Abs(chi2-359) > 4*math.Sqrt(2*359) {
		t.Errorf("%d orders, chi-squared %.1f on 359", len(seen), chi2)
	}
}

// simulated is a made-up trial: two treatments, three bins, a covariate and light.
func simulated(rng *rand.Rand, n int) Terms {
	media := Factor{Name: "medium", Levels: []string{"coir", "bark", "pumice"}, Of: make([]int, n)}
	parent := Factor{Name: "parent", Levels: []string{"no", "yes"}, Of: make([]int, n)}
	bin := Factor{Name: "bin", Levels: []string{"low", "mid", "top"}, Of: make([]int, n)}
	start, light := make([]float64, n), make([]float64, n)
	for i := range n {
		bin.Of[i] = i * 3 / n
		media.Of[i], parent.Of[i] = rng.IntN(3), rng.IntN(2)
		start[i], light[i] = rng.Float64(), 10+rng.Float64()
	}
	return Terms{
		Bin: &bin, Treatments: []Treatment{{media, PerPlant}, {parent, PerPlant}},
		Covariates: []Variable{{"start_g", start}}, Light: &Variable{"light", light},
	}
}

func fitted(tb testing.TB, terms Terms, y []float64) *Fit {
	tb.Helper()
	d, err := NewDesign(len(y), terms)
	if err != nil {
		tb.Fatal(err)
	}
	f, err := d.Fit(y)
	if err != nil {
		tb.Fatal(err)
	}
	return f
}

func whole(x []float64) []int {
	n := make([]int, len(x))
	for i, v := range x {
		n[i] = int(v)
	}
	return n
}

// So must it be with one treatment of many levels, where whole cells are summed in
// place of a factorisation; over bins and a covariate too.
func TestRedealtFOfManyLevelsIsThatOfAFullRefit(t *testing.T) {
	t.Parallel()
	const n, levels = 300, 60
	rng := rand.New(rand.NewPCG(5, 6))
	of, bin, x, y := make([]int, n), make([]int, n), make([]float64, n), make([]float64, n)
	names := make([]string, levels)
	for i := range names {
		names[i] = string(rune('A'+i/26)) + string(rune('a'+i%26))
	}
	for i := range n {
		of[i], bin[i], x[i] = i%levels, i*5/n, rng.NormFloat64()
		y[i] = rng.NormFloat64() + 0.1*float64(of[i]%7) + float64(bin[i]) + x[i]
	}
	bins := Factor{"bin", []string{"a", "b", "c", "d", "e"}, bin}
	for name, terms := range map[string]Terms{"alone": {}, "beside bins": {Bin: &bins, Covariates: []Variable{{"x", x}}}} {
		terms.Treatments = []Treatment{{Factor{"medium", names, of}, PerPlant}}
		f := fitted(t, terms, y)
		r := f.redealing(f.Design.treatments)
		if !r.apart {
			t.Fatal(name, "is not taken as columns that share no row")
		}
		w, got, labels := r.worker(), make([]float64, 1), make([]int, n)
		shuffle := NewShuffle(f.Design.Combinations(f.Design.treatments), bin)
		for range 10 {
			shuffle.Deal(rng, labels)
			terms.Treatments = []Treatment{{Factor{"medium", names, slices.Clone(labels)}, PerPlant}}
			full := fitted(t, terms, y)
			terms.Treatments = nil
			without := fitted(t, terms, y)
			w.ratios(labels, got)
			rss := dot(full.Residuals, full.Residuals)
			near(t, name, got[0], (dot(without.Residuals, without.Residuals)-rss)/rss, 1e-10, 0)
		}
	}
}
