package correlate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"parstead/correlate/sentences"
)

// Outcomes of some plants only, by species: what no plan asks of them is one family
// over all outcomes and species, by Benjamini and Hochberg's rule worked out here
// (1995, Journal of the Royal Statistical Society B 57:289–300): treatments by their
// smallest pair, light within bins and between them, and its bend.
func TestLeadsAreOneFamily(t *testing.T) {
	t.Parallel()
	in := rack(10, 4, 36)
	in.By = &Factor{Name: "species", Levels: []string{"Philodendron", "Anubias"}}
	rng := rand.New(rand.NewPCG(10, 10))
	leaves, roots := Outcome{Name: "leaves", Kind: Count}, Outcome{Name: "roots_cm", Kind: Measure, OnlyText: "species = Anubias"}
	for i := range in.Plants {
		in.By.Codes = append(in.By.Codes, i/3%2)
		leaves.Values = append(leaves.Values, poisson(rng, 5+3*float64(in.Treatments[0].Codes[i])))
		roots.Values = append(roots.Values, rng.NormFloat64())
		roots.Only = append(roots.Only, i/3%2 == 1)
	}
	in.Outcomes[0].Primary = true
	in.Outcomes = append(in.Outcomes, leaves, roots)
	r := result(t, in, Options{})
	var order []string
	var effects []Effect
	var p []float64
	for _, o := range r.Outcomes {
		order = append(order, o.Name+" "+o.Of["species"])
		p = append(p, *o.Light.BetweenBin.P)
		if o.Light.Bend != nil {
			p = append(p, o.Light.Bend.P)
		}
		for _, e := range o.Effects {
			if o.Primary || e.Effect == "bin" {
				if e.PFDR != nil {
					t.Errorf("%s %s: p_fdr %v", o.Name, e.Effect, *e.PFDR)
				}
				continue
			}
			least := *e.P
			for i, c := range o.ComparisonsOf(e.Term) {
				own := *c.P
				if c.PRobust != nil { // of counts the spread of their own too
					own = max(own, *c.PRobust)
				}
				if i == 0 || own < least {
					least = own
				}
			}
			effects, p = append(effects, e), append(p, least)
			e.P = &least
			effects[len(effects)-1] = e
		}
	}
	if want := "[mass_g Anubias mass_g Philodendron leaves Anubias leaves Philodendron roots_cm Anubias]"; fmt.Sprint(order) != want {
		t.Errorf("results %v, want %s", order, want)
	}
	if len(effects) != 9 || len(p) != 9+5+5 || r.Questions.Others != len(p) || r.Questions.Planned != 6 {
		t.Fatalf("%d effects of %d tests; %+v", len(effects), len(p), r.Questions)
	}
	slices.Sort(p)
	leads := 0
	for _, e := range effects {
		least := 1.0
		for rank := len(p); p[rank-1] >= *e.P; rank-- {
			if least = math.Min(least, p[rank-1]*float64(len(p))/float64(rank)); rank == 1 {
				break
			}
		}
		if least > 0.05 {
			if e.PFDR != nil {
				t.Errorf("%s is no lead, and its p_fdr is %v", e.Effect, *e.PFDR)
			}
			continue
		}
		leads++
		approx(t, e.Effect, e.PFDR, least, 1e-12)
	}
	if leads == 0 {
		t.Error("nothing was a lead")
	}
}

// Within treatments the plants with a rare event are the large ones, or what
// the media do to both does not show.
func TestOutcomesAgainstOneAnother(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(11, 11))
	for _, tied := range []bool{false, true} {
		in := rack(11, 4, 60)
		in.Light = nil
		flowers := Outcome{Name: "flower", Kind: YesNo, Values: make([]float64, len(in.Plants))}
		for i := range in.Plants {
			medium := float64(in.Treatments[0].Codes[i])
			in.Outcomes[0].Values[i] = 10*medium + rng.NormFloat64() // media do a great deal to both
			chance := 0.05 + 0.1*medium
			if tied {
				chance /= 1 + math.Exp(-3*(in.Outcomes[0].Values[i]-10*medium-1))
			}
			if rng.Float64() < chance {
				flowers.Values[i] = 1
			}
		}
		in.Outcomes = append(in.Outcomes, flowers)
		list := result(t, in, Options{}).OutcomeCorrelations
		if len(list) != 1 || list[0].A != "mass_g" || list[0].B != "flower" || list[0].N != 240 {
			t.Fatalf("correlations %+v", list)
		}
		c := list[0]
		if shown := c.CI95[0] > 0; shown != tied || (*c.P < 0.05) != tied {
			t.Errorf("tied %v: rho %g, %v, p %g", tied, *c.Rho, *c.CI95, *c.P)
		}
	}
	// One cell without ties is Spearman's 1 − 6 Σ d²/(n(n² − 1)).
	in := small(1, 6, func(_, i int) float64 { return []float64{1, 5, 2, 9, 4, 3}[i] })
	in.Treatments = nil
	in.Outcomes = append(in.Outcomes, Outcome{Name: "z", Kind: Measure, Values: []float64{10, 30, 20, 40, 60, 50}})
	approx(t, "rho", result(t, in, Options{}).OutcomeCorrelations[0].Rho, 1-6*(0+4+0+4+4+4.0)/(6*35), 1e-12)
}

// Losses by cause, accidents apart; withdrawn plants and guards took no part.
// The table without them is 3 of 4 against 1 of 4, by hand: of the C(8,4) = 70 ways
// to deal four losses to two fours, 16 + 1 are as uneven this way and as many the
// other, so that p is 34/70.
func TestLossesByCause(t *testing.T) {
	t.Parallel()
	in := small(2, 8, func(l, i int) float64 { return float64(l) + math.Sin(float64(7*i+3*l)) })
	in.Table = false
	n := len(in.Plants)
	in.Status, in.Cause, in.Guard = make([]Status, n), make([]string, n), make([]bool, n)
	lose := func(i int, cause string) { in.Status[i], in.Cause[i] = Lost, cause }
	lose(0, "rot")
	lose(1, "rot")
	lose(2, "") // unknown
	lose(8, "pest")
	for _, first := range []int{4, 12} { // four more of each level, which do not count
		lose(first, Accident)
		lose(first+1, Accident)
		in.Status[first+2] = Withdrawn
		in.Guard[first+3] = true
	}
	r := result(t, in, Options{})
	if len(r.Lost) != 2 {
		t.Fatalf("losses %+v", r.Lost)
	}
	for l, want := range []string{"6 3 2 map[accident:2 rot:2 unknown:1]", "6 1 2 map[accident:2 pest:1]"} {
		x := r.Lost[l]
		if got := fmt.Sprint(x.N, x.Lost, x.Accident, x.Causes); got != want {
			t.Errorf("%s: %s, want %s", x.Level, got, want)
		}
		approx(t, "p", x.P, 34.0/70, 1e-12)
	}
	o := r.Outcomes[0]
	if o.N != 4 || o.Missing != 10 { // withdrawn plants are missing, guards are not
		t.Errorf("n %d, missing %d", o.N, o.Missing)
	}
	for _, want := range []string{"These results are of the survivors: 4 plants were lost.", "No difference in losses between the levels of g was shown: 3 of 4 on a, 1 of 4 on b (p 0.486).", "4 more came to grief by accident"} {
		if !strings.Contains(told(o), want) {
			t.Errorf("no %q in:\n%s", want, told(o))
		}
	}
}

// A second weighing tells how well a value repeats; a plant that was left out
// is told with what it would have changed.
func TestRepeatabilityAndPlantsLeftOut(t *testing.T) {
	t.Parallel()
	in := small(2, 6, func(l, i int) float64 { return 3 + float64(l) + math.Sin(float64(7*i+3*l)) })
	in.Table = false
	n := len(in.Plants)
	again := make([]float64, n)
	for i := range again {
		again[i] = math.NaN()
	}
	y := in.Outcomes[0].Values
	again[0], again[7], again[9] = y[0]+0.1, y[7]-0.2, y[9]
	in.Outcomes[0].Again = again
	o := result(t, in, Options{}).Outcomes[0]
	c, _ := check(o, "repeatability")
	approx(t, "repeatability", c.Value, math.Sqrt((0.01+0.04)/6), 1e-12)
	if !strings.HasPrefix(c.Says, "3 plants were measured twice") {
		t.Error(c.Says)
	}
	p := effect(t, o, "g").P

	in.LeaveOut = make([]string, n)
	in.LeaveOut[3] = "dropped on the floor"
	o = result(t, in, Options{}).Outcomes[0]
	c, ok := check(o, "leave_out")
	if !ok || o.N != n-1 || !strings.Contains(c.Says, "1 plant was left out (dropped on the floor); with them p for g is") {
		t.Errorf("n %d, %s", o.N, says(o))
	}
	approx(t, "p with it", c.P, *p, 1e-12)
}

// What was planned, what is a lead, where the plan was left, and a look before
// the end stand first.
func TestStanding(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		primary, planned, early, table bool
		want, not                      string
	}{
		{true, true, false, false, "The planned answer of this trial.", "Exploratory"},
		{true, false, false, false, "No plan was sealed", "The planned answer"},
		{false, true, false, false, "A planned outcome beside the primary one.", "Departure"},
		{false, false, false, false, "Exploratory: what stands out here is a lead", "planned answer"},
		{true, true, true, false, "An early look, before the trial ends", "The planned answer of this trial"},
		{true, true, true, false, "once the trial has ended, it gives the planned answer", "Exploratory"},
		{true, false, false, true, "g", "planned"},
	} {
		in := small(2, 6, func(l, i int) float64 { return float64(l) + math.Sin(float64(7*i+3*l)) })
		in.Table, in.Early = c.table, c.early
		in.Outcomes[0].Primary, in.Outcomes[0].Planned = c.primary, c.planned
		in.Departures = []string{"12 plants stand elsewhere."}
		r := result(t, in, Options{})
		text := sentences.Standing(in, &r.Outcomes[0]) + "\n" + told(r.Outcomes[0])
		if !strings.Contains(text, c.want) || c.not != "" && strings.Contains(text, c.not) {
			t.Errorf("%+v:\n%s", c, text)
		}
		if strings.Contains(text, "Departure from the plan: 12 plants stand elsewhere.") != (c.primary && !c.table) {
			t.Errorf("departures of %+v:\n%s", c, text)
		}
	}
}

// A slope between bins that got a treatment as wholes may be that treatment's doing,
// and the finding itself says so; not where the treatment acts through light.
func TestSlopeBetweenBinsNamesWhatWholeBinsGot(t *testing.T) {
	t.Parallel()
	const between, doing = ", between bins on 1 residual degree of freedom", "; this may be what level did to whole bins"
	for _, setsLight := range []bool{false, true} {
		in := rack(3, 3, 24)
		in.Treatments[1].SetsLight = setsLight
		text := told(result(t, in, Options{}).Outcomes[0])
		if !strings.Contains(text, between) || strings.Contains(text, between+doing) == setsLight {
			t.Errorf("sets light %v:\n%s", setsLight, text)
		}
		if all := says(result(t, in, Options{}).Outcomes[0]); strings.Contains(all, `say so with sets = "light" in trial.toml`) == setsLight {
			t.Errorf("sets light %v:\n%s", setsLight, all)
		}
	}
}

// The more a plant moves the results, the louder it is said.
func TestInfluenceIsSaidByItsSize(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for push := range 60 {
		in := small(2, 6, func(l, i int) float64 { return float64(l) + math.Sin(float64(7*i+3*l)) })
		in.Outcomes[0].Values[0] += float64(push) / 4
		c, ok := check(result(t, in, Options{}).Outcomes[0], "influence")
		if !ok {
			t.Fatal("not checked")
		}
		want := "not by much"
		switch {
		case *c.Value > 1:
			want = "a great deal: look at it again"
		case *c.Value > 0.5:
			want = "more than any other: look at it again"
		}
		seen[want] = true
		if !strings.Contains(c.Says, want) {
			t.Errorf("%v: %s, want %s", *c.Value, c.Says, want)
		}
	}
	if len(seen) < 2 {
		t.Errorf("only %v were tried", seen)
	}
}
