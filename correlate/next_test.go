package correlate

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"parstead/correlate/model"
	"parstead/correlate/next"
	"parstead/correlate/power"
)

// growth are the dried weights of plants under a control and two treatments,
// thirty plants (Dobson 1983, An Introduction to Statistical Modelling; the values
// of testdata/cases/plantgrowth.csv).
func growth() *Input {
	in := &Input{Bin: &Factor{Name: "bin", Levels: []string{"b"}}, BinPositions: []int{40}}
	group := Factor{Name: "group", Levels: []string{"ctrl", "trt1", "trt2"}}
	o := Outcome{Name: "weight", Unit: "g", Kind: Measure, Scale: Natural, Primary: true, Matters: &Difference{Value: 0.5}}
	o.Values = []float64{
		4.17, 5.58, 5.18, 6.11, 4.5, 4.61, 5.17, 4.53, 5.33, 5.14, 4.81, 4.17, 4.41, 3.59, 5.87,
		3.83, 6.03, 4.89, 4.32, 4.69, 6.31, 5.12, 5.54, 5.5, 5.37, 5.29, 4.92, 6.15, 5.8, 5.26,
	}
	for i := range o.Values {
		in.Plants = append(in.Plants, "p")
		in.Bin.Codes = append(in.Bin.Codes, 0)
		group.Codes = append(group.Codes, i/10)
	}
	in.Treatments = []Treatment{{Factor: group, SetPer: PerPlant}}
	in.Outcomes = []Outcome{o}
	return in
}

func needs(t *testing.T, r *Result, a next.Ask) map[string]Need {
	t.Helper()
	sized, reasons, err := next.Trial(r, a)
	if err != nil {
		t.Fatal(err)
	}
	list := map[string]Need{}
	if sized == nil {
		return list
	}
	for _, n := range sized.Needs {
		list[n.Treatment] = n
	}
	for _, checks := range reasons {
		for _, c := range checks {
			if _, both := list[c.Of]; both {
				t.Errorf("%s has a need and the reason why it has none: %s", c.Of, c.Says)
			}
		}
	}
	return list
}

// A published trial sized anew: R 4.2.2 gives the residual standard deviation, its
// interval by χ² and the 30.97 plants a group for half a gram at power 0.8.
func TestNextTrialOfAPublishedOne(t *testing.T) {
	t.Parallel()
	r := result(t, growth(), Options{})
	if r.NextTrial == nil || r.NextTrial.PerLevel == nil || *r.NextTrial.PerLevel != 31 || r.NextTrial.BinsPerLevel != nil || r.NextTrial.Power != 0.8 {
		t.Fatalf("%+v", r.NextTrial)
	}
	n := needs(t, r, next.Ask{})["group"]
	approx(t, "spread", n.SD, 0.623374627271536, 1e-12)
	approx(t, "its lower limit", &n.SDCI95[0], 0.492852226569, 1e-9)
	approx(t, "its upper limit", &n.SDCI95[1], 0.848497990895, 1e-9)
	if *n.PerLevel != 31 || *n.DF != 27 || *n.RackHolds != 13 || *n.Fits || n.CI95[0] >= 31 || n.CI95[1] <= 31 {
		t.Errorf("%+v", n)
	}
	m := power.Means{Layout: power.Layout{Levels: 3}, SD: *n.SD, Difference: *n.SmallestDifference}
	if p := m.Power(13); math.Abs(p-0.8) > 1e-8 {
		t.Errorf("the smallest difference of 13 plants has power %v", p)
	}
	if text := told(r.Outcomes[0]); !strings.Contains(text, "Next trial: To settle a difference of 0.500 g between two of the 3 levels of group with a power of 0.8 takes 31 plants per level") ||
		!strings.Contains(text, "The rack holds 13 per level: enough for a difference of ") {
		t.Error(text)
	}
	// What is asked goes before what the trial says.
	n = needs(t, r, next.Ask{Difference: &Difference{Value: 0.2, Share: true}, SD: &Difference{Value: 1, Share: false}, Levels: 2, Power: 0.9, Bins: 2})["group"]
	want, err := power.Means{Layout: power.Layout{Levels: 2}, SD: 1, Difference: 0.2 * 5.073}.Replicates(0.9)
	if err != nil || *n.PerLevel != want || *n.RackHolds != 40 || n.DF != nil {
		t.Errorf("%+v, want %d, %v", n, want, err)
	}
}

// Sizes rest on the spread of the stratum that a treatment is tested in, and what
// that spread is not known for has no size but a reason.
func TestNextTrialByStratum(t *testing.T) {
	t.Parallel()
	in := trial{bins: 6, rows: 6, columns: 8, media: 3, medium: 0.1, light: 0.1, level: 0.2, binSD: 0.1, sd: 0.3}.input(rand.New(rand.NewPCG(1, 9)))
	in.BinPositions = []int{48, 48, 48, 48, 48, 48}
	in.Guard = make([]bool, len(in.Plants))
	in.Guard[0] = true
	r := result(t, in, Options{})
	o := r.Outcomes[0]
	if o.Name != "mass_g" {
		t.Fatal(o.Name)
	}
	list := needs(t, r, next.Ask{})
	medium, level := list["medium"], list["level"]
	if medium.Unit != "plant" || level.Unit != "bin" || medium.BinsPerLevel != nil || level.PerLevel != nil {
		t.Fatalf("%+v\n%+v", medium, level)
	}
	approx(t, "spread of plants", medium.SD, *o.ResidualSD, 1e-12)
	others := float64(o.N) - *o.ResidualDF - 3
	want, err := power.Means{Layout: power.Layout{Levels: 3, Others: int(others)}, SD: *o.ResidualSD, Difference: math.Log(1.1)}.Replicates(0.8)
	if err != nil || *medium.PerLevel != want || *r.NextTrial.PerLevel != want || *r.NextTrial.BinsPerLevel != *level.BinsPerLevel {
		t.Errorf("%d plants and %d bins per level, want %d, %v", *medium.PerLevel, *level.BinsPerLevel, want, err)
	}
	if *medium.RackHolds != (6*48-1)/3 || *level.RackHolds != 3 || *level.DF != 4 || *medium.WithoutCovariates <= *medium.PerLevel {
		t.Errorf("%+v\n%+v", medium, level)
	}
	// level acts through light, so that plants in its model stand without it; what the
	// start's slope adds to a pair's error is no spread of bins.
	if c := comparisons(o, "level")[0]; c.SE == nil || c.SlopeShare == nil || math.Abs(*level.SD-*c.SE*math.Sqrt((1-*c.SlopeShare)/(2./3))) > 1e-9 {
		t.Errorf("bins spread by %v, and a pair's error is %v", *level.SD, *c.SE)
	}
	approx(t, "parts of the spread of bins", level.SD, math.Hypot(*level.BinSD, *level.PlantSD/math.Sqrt(*level.PlantsPerBin)), 1e-9)
	crowded := needs(t, r, next.Ask{PlantsPerBin: 400})["level"]
	if *level.BinSD > 0 && *crowded.BinsPerLevel >= *level.BinsPerLevel || *crowded.SD < *crowded.BinSD {
		t.Errorf("%d bins of many plants, %d of few", *crowded.BinsPerLevel, *level.BinsPerLevel)
	}
	// A log-normal outcome's relative spread is √(e^σ² − 1), about its geometric mean
	// m it is m e^(σ²/2) √(e^σ² − 1) (Aitchison, Brown 1957, section 2.3).
	given := needs(t, r, next.Ask{SD: &Difference{Value: 0.24, Share: true}, BinSD: &Difference{Value: 0.1, Share: true}, PlantsPerBin: 20})
	plants, bins := math.Log(1+0.24*0.24), math.Log(1+0.1*0.1)
	approx(t, "a spread of plants in per cent, on the log scale", given["medium"].SD, math.Sqrt(plants), 1e-12)
	approx(t, "of bins", given["level"].SD, math.Sqrt(bins+plants/20), 1e-12)
	grams := *medium.Mean * math.Exp(0.3*0.3/2) * math.Sqrt(math.Expm1(0.3*0.3))
	approx(t, "in g", needs(t, r, next.Ask{SD: &Difference{Value: grams}})["medium"].SD, 0.3, 1e-12)
	// Counts and yes/no answers.
	leaves := needs(t, r, next.Ask{Outcome: "leaves"})
	if n := leaves["medium"]; *n.PerLevel < 2 || *n.Power < 0.8 || *n.MonteCarloError > 0.01 || n.SD != nil || n.Dispersion == nil || n.CI95[0] >= *n.PerLevel || n.CI95[1] <= *n.PerLevel || n.SmallestRatio == nil {
		t.Errorf("%+v", n)
	}
	again := needs(t, r, next.Ask{Outcome: "leaves"})
	if a, b := leaves["medium"], again["medium"]; *a.PerLevel != *b.PerLevel || *a.Power != *b.Power {
		t.Error("the same question was answered otherwise")
	}
	if n := leaves["level"]; n.BinsPerLevel == nil || *n.Mean < 20**leaves["medium"].Mean {
		t.Errorf("bins: %+v", n)
	}
	rotten := needs(t, r, next.Ask{Outcome: "rotten", Difference: &Difference{Value: 0.2}})
	n := rotten["medium"]
	s := power.Shares{A: n.Shares[1], B: n.Shares[0], Pairs: 3}
	if math.Abs(n.Shares[1]-n.Shares[0]-0.2) > 1e-12 || s.Power(*n.PerLevel) < 0.8 || s.Power(*n.PerLevel-1) >= 0.8 {
		t.Errorf("%+v", n)
	}
	share := *n.Mean
	if n := needs(t, r, next.Ask{Outcome: "rotten", Difference: &Difference{Value: 2 * share}})["medium"]; n.Shares[0] != 0 || n.Ratio != nil || !strings.Contains(n.Says, "To settle shares of 0 % and") {
		t.Errorf("%+v", n)
	}
	if n, ok := needs(t, r, next.Ask{Outcome: "rotten", Difference: &Difference{Value: 3 * share}})["medium"]; ok {
		t.Errorf("shares below none: %+v", n)
	}
	_, reasons, err := next.Trial(r, next.Ask{Outcome: "rotten", Difference: &Difference{Value: 0.2}})
	if err != nil || len(reasons[3]) != 1 || reasons[3][0].Of != "level" || !strings.Contains(reasons[3][0].Says, "tells nothing of how bins vary") {
		t.Errorf("%v, %v", reasons, err)
	}
	for _, o := range r.Outcomes[1:] {
		if _, said := check(o, "next_trial"); said || strings.Contains(told(o), "Next trial") {
			t.Errorf("%s is not primary, yet speaks of the next trial", o.Name)
		}
	}
}

// Without what a size rests on there is none, and the checks say why.
func TestNoNextTrial(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		change func(in *Input)
		want   string // in the check; "": there is none
		needs  int
	}{
		{"no smallest difference", func(in *Input) { in.Outcomes[0].Matters = nil }, "does not say which difference in mass_g matters", 0},
		{"one bin a level", func(in *Input) {
			in.Treatments[1].Codes = slices.Clone(in.Bin.Codes)
			in.Treatments[1].Levels = in.Bin.Levels
		}, "each level has one bin", 1},
		{"a table", func(in *Input) { in.Table = true }, "", 0},
		{"nothing primary", func(in *Input) { in.Outcomes[0].Primary = false }, "", 0},
		{"out of reach", func(in *Input) { in.Outcomes[0].Matters = &Difference{Value: 1e-9, Share: true} }, "out of reach", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			in := trial{bins: 4, rows: 4, columns: 6, media: 3, sd: 0.3, binSD: 0.1}.input(rand.New(rand.NewPCG(2, 9)))
			c.change(in)
			r := result(t, in, Options{})
			if got, ok := check(r.Outcomes[0], "next_trial"); ok != (c.want != "") || !strings.Contains(got.Says, c.want) {
				t.Errorf("%+v", got)
			}
			if got := r.NextTrial; (got != nil) != (c.needs > 0) || got != nil && len(got.Needs) != c.needs {
				t.Errorf("%+v", got)
			}
			if text, err := json.Marshal(r); err != nil || strings.Contains(string(text), "next_trial\":{") != (c.needs > 0) {
				t.Errorf("%v: %s", err, text)
			}
		})
	}
}

// What rests on no trial: R's power of t, and bins as replicates.
func TestSize(t *testing.T) {
	t.Parallel()
	sized, err := next.Size(next.Ask{SD: &Difference{Value: 1}, Difference: &Difference{Value: 1}, Power: 0.9})
	if err != nil || *sized.PerLevel != 23 || sized.BinsPerLevel != nil {
		t.Errorf("%+v, %v", sized, err)
	}
	share, err := next.Size(next.Ask{SD: &Difference{Value: 0.2, Share: true}, Difference: &Difference{Value: 0.2, Share: true}, Power: 0.9})
	if err != nil || *share.PerLevel != 23 || !strings.Contains(share.Needs[0].Says, "20 % of the mean") {
		t.Errorf("%+v, %v", share, err)
	}
	a := next.Ask{SD: &Difference{Value: 2}, Difference: &Difference{Value: 1.5}, BinSD: &Difference{Value: 0.8}, PlantsPerBin: 16, Bins: 6, Levels: 3}
	sized, err = next.Size(a)
	if err != nil {
		t.Fatal(err)
	}
	want, err := power.Means{Layout: power.Layout{Levels: 3}, SD: math.Sqrt(0.8*0.8 + 2.*2/16), Difference: 1.5}.Replicates(0.8)
	if bins := sized.Needs[1]; err != nil || *sized.BinsPerLevel != want || *bins.RackHolds != 2 || *bins.Fits || model.Unit(bins.Unit) != model.PerBin {
		t.Errorf("%+v, want %d, %v", bins, want, err)
	}
	if plants := sized.Needs[0]; *plants.RackHolds != 32 || *plants.PerLevel != *sized.PerLevel {
		t.Errorf("%+v", plants)
	}
	for _, c := range []struct {
		a    next.Ask
		want string
	}{
		{next.Ask{}, "needs the spread"},
		{next.Ask{SD: a.SD, Difference: &Difference{}}, "the difference is 0"},
		{next.Ask{SD: &Difference{}, Difference: a.Difference}, "the spread of plants is 0"},
		{next.Ask{SD: a.SD, Difference: &Difference{Value: math.Inf(1)}}, "above zero"},
		{next.Ask{SD: a.SD, Difference: a.Difference, Power: 1}, "no trial is certain"},
		{next.Ask{SD: a.SD, Difference: a.Difference, Power: 0.05}, "which chance alone gives"},
		{next.Ask{SD: a.SD, Difference: a.Difference, Levels: 1}, "1 levels"},
		{next.Ask{SD: a.SD, Difference: &Difference{Value: 0.1, Share: true}}, "don't meet"},
		{next.Ask{SD: a.SD, Difference: a.Difference, BinSD: a.BinSD}, "number of plants per bin"},
		{next.Ask{SD: a.SD, Difference: &Difference{Value: 1e-5}}, "out of reach"},
		{next.Ask{SD: a.SD, Difference: a.Difference, Bins: -1}, "above zero"},
	} {
		if _, err := next.Size(c.a); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %q", c.a, err, c.want)
		}
	}
}

// Reservoirs are the replicates of what they got; and no finding multiplies
// replicates where the sentence on the next trial counts them, or where few degrees
// of freedom make more of them worth more.
func TestNextTrialOfReservoirs(t *testing.T) {
	t.Parallel()
	in := trial{bins: 8, rows: 4, columns: 6, media: 3, binSD: 0.05, sd: 0.3}.input(rand.New(rand.NewPCG(3, 9)))
	in.Reservoir = &Factor{Name: "reservoir", Levels: []string{"A", "B", "C", "D"}, Codes: make([]int, len(in.Plants))}
	in.BinPositions = make([]int, 8)
	for i, b := range in.Bin.Codes {
		in.Reservoir.Codes[i] = b / 2
		in.Treatments[1].Codes[i] = b / 2 % 2
	}
	in.Treatments[1].SetPer = PerReservoir
	r := result(t, in, Options{})
	level := needs(t, r, next.Ask{})["level"]
	if level.Unit != "reservoir" || level.ReservoirsPerLevel == nil || level.BinsPerLevel != nil || *level.DF != 2 || *level.RackHolds != 2 || r.NextTrial.BinsPerLevel != nil {
		t.Errorf("%+v", level)
	}
	if !strings.Contains(level.Says, "reservoirs per level") {
		t.Error(level.Says)
	}
	for _, o := range r.Outcomes {
		text := told(o)
		if o.Primary && strings.Contains(text, "times as many") || strings.Contains(text, "times as many reservoirs") {
			t.Error(text)
		}
	}
	if _, _, err := next.Trial(r, next.Ask{Power: 2}); err == nil {
		t.Error("a power of 2 was taken")
	}
	_, reasons, err := next.Trial(r, next.Ask{Treatment: "level", PlantsPerBin: 3, SD: &Difference{Value: 1, Share: false}})
	if err != nil || len(reasons[0]) != 1 || !strings.Contains(reasons[0][0].Says, "takes its spread from the trial") {
		t.Errorf("%v, %v", reasons, err)
	}
}
