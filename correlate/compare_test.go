package correlate

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/rivo/uniseg"

	"parstead/correlate/model"
	"parstead/correlate/several"
)

// madeUp is trials without any effect, changed by change where given.
func madeUp(t *testing.T, n int, change func(k int, trial *several.Trial)) []several.Trial {
	t.Helper()
	trials := make([]several.Trial, n)
	for k := range trials {
		in := rack(uint64(40+k), 6, 18)
		trials[k] = several.Trial{
			Name: fmt.Sprint("trial ", k+1), Folder: fmt.Sprint("folder", k+1), Days: 90, Window: "the whole trial", WindowDays: 90, Input: in,
		}
		if change != nil {
			change(k, &trials[k])
		}
		trials[k].Result = result(t, in, Options{})
	}
	return trials
}

func compared(t *testing.T, trials []several.Trial) *several.Compared {
	t.Helper()
	c, err := several.Compare(trials)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func pairOf(t *testing.T, c *several.Compared, a, b string) several.ComparedEffect {
	t.Helper()
	i := slices.IndexFunc(c.Comparisons, func(e several.ComparedEffect) bool { return e.A == a && e.B == b })
	if i < 0 {
		t.Fatalf("no %s against %s", a, b)
	}
	return c.Comparisons[i]
}

// Three trials: each line is what correlate gives of its trial, and what is
// pooled is worked out here from these lines by the formulas of model.Pool's
// sources; those formulas have oracles of their own.
func TestCompareThreeTrials(t *testing.T) {
	t.Parallel()
	trials := madeUp(t, 3, nil)
	c := compared(t, trials)
	if len(c.Comparisons) != 4 || len(c.Light) != 1 {
		t.Fatalf("%d comparisons and %d slopes", len(c.Comparisons), len(c.Light))
	}
	intervals := 0
	for _, e := range c.Comparisons {
		var mean, within, spread float64
		for k, in := range e.Trials {
			r := trials[k].Result.Outcomes[0]
			i := slices.IndexFunc(r.Comparisons, func(k Comparison) bool { return k.A == e.A && k.B == e.B })
			if in.Trial != trials[k].Name || in.Difference != r.Comparisons[i].Difference || in.Verdict != r.Comparisons[i].Verdict || in.Unit != r.Comparisons[i].Unit {
				t.Errorf("%s against %s in %s: %+v", e.A, e.B, in.Trial, in)
			}
			if want := map[string]int{"plant": 36, "bin": 3}[in.Unit]; in.NA != want || in.NB != want {
				t.Errorf("%s against %s: %d and %d %ss, want %d", e.A, e.B, in.NA, in.NB, in.Unit, want)
			}
			mean += *in.Difference / 3
			within += *in.SE * *in.SE / 3
		}
		for _, in := range e.Trials {
			spread += (*in.Difference - mean) * (*in.Difference - mean) / 2
		}
		if sd := e.Pooled.BetweenTrials.SD; math.Abs(sd-math.Sqrt(max(0, spread-within))) > 1e-12 {
			t.Errorf("%s: between trials %g", e.Treatment, sd)
		}
		if ci := e.Pooled.BetweenTrials.CI95; ci != nil && (ci[0] > e.Pooled.BetweenTrials.SD || ci[1] < e.Pooled.BetweenTrials.SD) {
			t.Errorf("%s: between trials %g, interval %v", e.Treatment, e.Pooled.BetweenTrials.SD, *ci)
		} else if ci != nil {
			intervals++
		}
		like := model.Estimate{Value: mean, SE: math.Sqrt(max(spread, within) / 3), DF: 2}
		approx(t, "mean", e.Pooled.TheseTrials.Difference, mean, 1e-12)
		approx(t, "se of these", e.Pooled.TheseTrials.SE, math.Sqrt(within/3), 1e-12)
		approx(t, "trials like these", &e.Pooled.TrialsLikeThese.CI95[0], like.CI95()[0], 1e-12)
		least, sum := math.Inf(1), 0.0
		for k, in := range e.Trials {
			if in.Unit == "plant" && *in.DF != *trials[k].Result.Outcomes[0].ResidualDF || *in.DF < 4 { // six bins, two levels, and the slopes
				t.Errorf("%s in %s: on %g", e.Treatment, in.Trial, *in.DF)
			}
			least, sum = min(least, *in.DF), sum+*in.DF
		}
		if got := *e.Pooled.TheseTrials.DF; got < least || got > sum+1e-9 {
			t.Errorf("%s: on %g, the trials on %g to %g in all", e.Treatment, got, least, sum)
		}
	}
	if intervals == 0 {
		t.Error("no interval of the spread between trials")
	}
	s := c.Light[0]
	if s.Pooled == nil || s.Agreement == nil || len(s.Trials) != 3 || s.Trials[0].DLI[0] >= s.Trials[0].DLI[1] {
		t.Errorf("light: %+v", s)
	}
}

// The scale of a trial's light is one number for all its plants: its error goes
// into what trials are compared and pooled by, and not into the trial's own line.
func TestCompareAddsErrorOfLightsScale(t *testing.T) {
	t.Parallel()
	exact, rough := compared(t, madeUp(t, 2, nil)), compared(t, madeUp(t, 2, func(_ int, trial *several.Trial) { trial.Input.Light.Scale = 0.2 }))
	a, b := exact.Light[0], rough.Light[0]
	if *a.Trials[0].SE != *b.Trials[0].SE {
		t.Error("a trial's own line changed")
	}
	var variance float64
	for _, in := range b.Trials {
		shared := 0.2 * *in.Slope.Slope
		variance += *in.SE**in.SE + shared*shared
	}
	approx(t, "se", b.Pooled.TheseTrials.SE, math.Sqrt(variance)/2, 1e-12)
	// Satterthwaite: the scale's own error is known and takes no degree of freedom.
	var fourth float64
	for _, in := range b.Trials {
		fourth += math.Pow(*in.SE, 4) / *in.DF
	}
	approx(t, "df", b.Pooled.TheseTrials.DF, variance*variance/fourth, 1e-12)
	if *a.Pooled.TheseTrials.SE >= *b.Pooled.TheseTrials.SE {
		t.Error("the scale's error is not there")
	}
}

// A trial that lists its levels the other way round is turned, its result not.
func TestCompareTurnsLevels(t *testing.T) {
	t.Parallel()
	flip := func(k int, trial *several.Trial) {
		if k == 1 {
			m := &trial.Input.Treatments[0]
			slices.Reverse(m.Levels)
			for i, code := range m.Codes {
				m.Codes[i] = 2 - code
			}
			for i := range trial.Input.Outcomes[0].Values {
				if m.Levels[m.Codes[i]] == "coir" {
					trial.Input.Outcomes[0].Values[i] += 5
				}
			}
		}
	}
	trials := madeUp(t, 2, flip)
	e := pairOf(t, compared(t, trials), "coir", "bark")
	own := trials[1].Result.Outcomes[0]
	i := slices.IndexFunc(own.Comparisons, func(k Comparison) bool { return k.A == "bark" && k.B == "coir" })
	if i < 0 || own.Comparisons[i].Verdict != Smaller {
		t.Fatalf("%+v", own.Comparisons)
	}
	in := e.Trials[1]
	if in.A != "coir" || *in.Difference != -*own.Comparisons[i].Difference || in.Verdict != Larger ||
		in.CI95[0] != -own.Comparisons[i].CI95[1] || *in.WithoutLight.Difference != -*own.Comparisons[i].WithoutLight.Difference {
		t.Errorf("%+v", in)
	}
	approx(t, "pooled", e.Pooled.TheseTrials.Difference, (*e.Trials[0].Difference+*in.Difference)/2, 1e-12)
}

// What trials say together in words.
func TestCompareSays(t *testing.T) {
	t.Parallel()
	shift := func(by ...float64) func(int, *several.Trial) {
		return func(k int, trial *several.Trial) {
			m := trial.Input.Treatments[0]
			for i := range m.Codes {
				if m.Levels[m.Codes[i]] == "coir" {
					trial.Input.Outcomes[0].Values[i] += by[k]
				}
			}
		}
	}
	for _, c := range []struct {
		by   []float64
		want []string
	}{
		{[]float64{4, 4, 4}, []string{"mass_g is larger with coir than with bark in all 3 trials.", "not shown (p", "only where it is large"}},
		{[]float64{4, -4}, []string{"contradict one another: mass_g is larger with coir than with bark in trial 1, but smaller in trial 2.", "differ by more than their own errors explain (p below 0.001)"}},
		{[]float64{4, 0}, []string{"larger with coir than with bark in trial 1; not shown in trial 2."}},
		{[]float64{-4, -4}, []string{"smaller with coir than with bark in both trials.", "apart by "}},
		{[]float64{0, 0}, []string{"Shown in neither trial."}},
	} {
		e := pairOf(t, compared(t, madeUp(t, len(c.by), shift(c.by...))), "coir", "bark")
		for _, want := range c.want {
			if !strings.Contains(e.Says, want) {
				t.Errorf("%v: no %q in %q", c.by, want, e.Says)
			}
		}
	}
}

// The sentence about agreement follows the test at 5 %.
func TestCompareAgreement(t *testing.T) {
	t.Parallel()
	shown, not, close := 0, 0, 0
	for step := range 16 {
		e := pairOf(t, compared(t, madeUp(t, 2, func(k int, trial *several.Trial) {
			for i, code := range trial.Input.Treatments[0].Codes {
				if code == 1 {
					trial.Input.Outcomes[0].Values[i] += float64(k*step) * 0.12
				}
			}
		})), "coir", "bark")
		differ := strings.Contains(e.Says, "The trials differ by more than their own errors explain")
		if p := e.Agreement.P; differ != (p < 0.05) || differ == strings.Contains(e.Says, "is not shown") || differ == (e.Agreement.SmallestDetectable != nil) {
			t.Errorf("p %g: %q", p, e.Says)
		} else if differ {
			shown++
			if p > 0.001 {
				close++
			}
		} else {
			not++
		}
	}
	if shown == 0 || not == 0 || close == 0 {
		t.Errorf("%d shown, %d of them narrowly, %d not", shown, close, not)
	}
}

// What was measured in another way is set side by side and not pooled, and a
// sentence says why.
func TestCompareDoesNotPoolWhatDiffers(t *testing.T) {
	t.Parallel()
	for _, c := range trialsThatDiffer {
		got := compared(t, madeUp(t, 2, c.change))
		e := pairOf(t, got, "coir", "bark")
		agree := func(what, why string, j several.Judged) {
			if why == "-" {
				return
			}
			if (why == "") != (j.Pooled != nil) || (j.Pooled == nil) != (j.Agreement == nil) || !strings.Contains(j.NotPooled, why) ||
				why != "" && !strings.Contains(j.Says, "Not pooled: "+j.NotPooled) {
				t.Errorf("%s, %s: not pooled because %q, want %q; %q", c.name, what, j.NotPooled, why, j.Says)
			}
		}
		agree("medium", c.effect, e.Judged)
		agree("light", c.light, got.Light[0].Judged)
		if len(e.Trials) != 2 || e.Trials[1].Verdict == "" {
			t.Errorf("%s: the second trial is not beside: %+v", c.name, e.Trials)
		}
	}
}

// second changes the second trial alone.
func second(f func(*several.Trial)) func(int, *several.Trial) {
	return func(k int, trial *several.Trial) {
		if k == 1 {
			f(trial)
		}
	}
}

func positive(trial *several.Trial) {
	for i, v := range trial.Input.Outcomes[0].Values {
		trial.Input.Outcomes[0].Values[i] = math.Abs(v) + 1
	}
}

// trialsThatDiffer are two trials one of which is changed, or both.
var trialsThatDiffer = []struct {
	name   string
	change func(int, *several.Trial)
	effect string // why treatments are not pooled; "" where they are
	light  string
}{
	{"scale", second(func(x *several.Trial) { positive(x); x.Input.Outcomes[0].Scale = Log }), "the scale is natural in trial 1 and log in trial 2", "the scale is natural"},
	{"unit", second(func(x *several.Trial) { x.Input.Outcomes[0].Unit = "mg" }), "unit is g in trial 1 and mg in trial 2", "unit is g"},
	{"basis", second(func(x *several.Trial) { x.Input.Outcomes[0].Basis = "dry" }), "the basis is not said in trial 1 and dry in trial 2", "the basis is"},
	{"only", second(func(x *several.Trial) { x.Input.Outcomes[0].OnlyText = "species = A" }), "the choice of plants is all in trial 1 and species = A in trial 2", "the choice of plants"},
	{"start", second(func(x *several.Trial) {
		start := &Column{Name: "start_g"}
		for i := range x.Input.Plants {
			start.Values = append(start.Values, 1+float64((i*37)%50)/50)
		}
		x.Input.Outcomes[0].Start = start
	}), "the starting value is none in trial 1 and start_g in trial 2", "the starting value is"},
	{"exposure", func(k int, x *several.Trial) {
		o := &x.Input.Outcomes[0]
		o.Kind, o.Scale = Count, ""
		for i, v := range o.Values {
			o.Values[i] = math.Floor(math.Abs(v))
		}
		if k == 1 {
			o.Exposure = &Column{Name: "days"}
			for i := range o.Values {
				o.Exposure.Values = append(o.Exposure.Values, 10+float64(i%5))
			}
		}
	}, "the exposure is none in trial 1 and days in trial 2", "the exposure is"},
	{"model", func(k int, x *several.Trial) {
		o := &x.Input.Outcomes[0]
		o.Kind, o.Scale = YesNo, ""
		for i, v := range o.Values {
			o.Values[i] = 0
			if v > 5.8 {
				o.Values[i] = 1
			}
		}
		x.Input.Treatments = x.Input.Treatments[:1]
		if k == 0 {
			x.Input.Light = nil
		}
	}, "the model is exact table in trial 1 and penalised logistic in trial 2", "-"},
	{"length", second(func(x *several.Trial) { x.Days = 28 }), "the trial is 90 days in trial 1 and 28 in trial 2", "the trial is 90 days"},
	{"window", second(func(x *several.Trial) { x.Window, x.WindowDays = "the first 28 days", 28 }), "", "the light window is the whole trial in trial 1 and the first 28 days in trial 2"},
	{"window's length", second(func(x *several.Trial) { x.WindowDays = 60 }), "", "the light window is 90 days in trial 1 and 60 in trial 2"},
	{"no light", second(func(x *several.Trial) { x.Input.Light = nil }), "it is adjusted for light in trial 1 and not in trial 2", "-"},
	{"light elsewhere", second(func(x *several.Trial) {
		for i := range x.Input.Light.Values {
			x.Input.Light.Values[i] += 20
		}
	}), "", "where the response bends"},
	{"replicate", second(func(x *several.Trial) {
		m := &x.Input.Treatments[0]
		for i, b := range x.Input.Bin.Codes {
			m.Codes[i] = b % 3
		}
		m.SetPer = PerBin
		x.Input.Treatments = x.Input.Treatments[:1]
	}), "the replicate is plant in trial 1 and bin in trial 2", ""},
}

// Odds ratios of rare answers have no interval that a mean could rest on.
func TestCompareRareAnswers(t *testing.T) {
	t.Parallel()
	rotten := func(every int) func(int, *several.Trial) {
		return func(k int, trial *several.Trial) {
			o := Outcome{Name: "rotten", Kind: YesNo}
			for i := range trial.Input.Plants {
				yes := 0.0
				if (i+i/7+k)%every == 0 {
					yes = 1
				}
				o.Values = append(o.Values, yes)
			}
			trial.Input.Outcomes = []Outcome{o}
			trial.Input.Treatments, trial.Input.Light = trial.Input.Treatments[:1], nil
		}
	}
	if e := pairOf(t, compared(t, madeUp(t, 2, rotten(2))), "coir", "bark"); e.Pooled == nil || e.Pooled.TheseTrials.Ratio == nil {
		t.Errorf("frequent answers are not pooled: %q", e.Says)
	} else {
		approx(t, "odds ratio", e.Pooled.TheseTrials.Ratio, math.Sqrt(*e.Trials[0].Ratio**e.Trials[1].Ratio), 1e-12)
	}
	sound := func(k int, trial *several.Trial) { // nearly every answer is yes
		rotten(19)(k, trial)
		for i, v := range trial.Input.Outcomes[0].Values {
			trial.Input.Outcomes[0].Values[i] = 1 - v
		}
	}
	if e := pairOf(t, compared(t, madeUp(t, 2, sound)), "coir", "bark"); e.Pooled != nil {
		t.Errorf("rare noes are pooled: %q", e.Says)
	}
	e := pairOf(t, compared(t, madeUp(t, 2, rotten(19))), "coir", "bark")
	if e.Pooled != nil || !strings.Contains(e.Says, "fewer than 5 of one answer") && !strings.Contains(e.Says, "no estimate") {
		t.Errorf("rare answers: %q", e.Says)
	}
}

// What one trial has stands behind what several have, and says why another that
// has the levels does not.
func TestCompareFoundOnce(t *testing.T) {
	t.Parallel()
	c := compared(t, madeUp(t, 2, func(k int, trial *several.Trial) {
		in := trial.Input
		if k == 0 { // one bin a level
			for i, b := range in.Bin.Codes {
				in.Treatments[1].Codes[i] = min(b, 1)
				in.Bin.Codes[i] = min(b, 1)
			}
			in.Bin.Levels = in.Bin.Levels[:2]
		}
		trial.Input.Outcomes[0].Primary = true
	}))
	last := c.Comparisons[len(c.Comparisons)-1]
	if last.Treatment != "level" || len(last.Trials) != 1 || last.Trials[0].Trial != "trial 2" || last.Pooled != nil || last.NotPooled != "" {
		t.Fatalf("%+v", last)
	}
	if !strings.Contains(last.Says, "trial 1 has both levels, but: each level has one bin") {
		t.Errorf("%q", last.Says)
	}
	var text strings.Builder
	if err := c.WriteText(&text); err != nil || !strings.Contains(text.String(), "Found in one trial only") {
		t.Errorf("%v\n%s", err, &text)
	}
}

func TestCompareRefusesTheSameTrial(t *testing.T) {
	t.Parallel()
	if _, err := several.Compare(madeUp(t, 1, nil)); err == nil {
		t.Error("one trial was compared")
	}
	trials := madeUp(t, 2, func(k int, trial *several.Trial) {
		if k == 0 {
			return
		}
		first := rack(40, 6, 18)
		*trial.Input = *first
		trial.Input.Outcomes[0].Values[3] += 0.5 // a typing error mended in one copy
	})
	if _, err := several.Compare(trials); err == nil || !strings.Contains(err.Error(), "folder1 and folder2 hold the same harvest: name each trial once") {
		t.Errorf("%v", err)
	}
	trials = madeUp(t, 2, func(k int, trial *several.Trial) {
		if k == 1 { // read when half of the harvest was weighed
			*trial.Input = *rack(40, 6, 18)
			for i := range trial.Input.Plants {
				if i%3 > 0 {
					trial.Input.Outcomes[0].Values[i] = math.NaN()
				}
			}
		}
	})
	if _, err := several.Compare(trials); err == nil {
		t.Error("the same harvest, read early, was compared")
	}
	counts := madeUp(t, 2, func(k int, trial *several.Trial) {
		o := Outcome{Name: "leaves", Kind: Count}
		for i := range trial.Input.Plants {
			o.Values = append(o.Values, float64(3+(i*7)%5))
		}
		trial.Input.Outcomes = []Outcome{o}
		for i := range trial.Input.Plants {
			trial.Input.Row, trial.Input.Column = append(trial.Input.Row, 1+(i+k)%18), append(trial.Input.Column, 1)
		}
	})
	if _, err := several.Compare(counts); err != nil {
		t.Errorf("equal counts at other places: %v", err)
	}
}

// The same plants in a second season are no second answer.
func TestCompareTheSamePlants(t *testing.T) {
	t.Parallel()
	c := compared(t, madeUp(t, 2, func(_ int, trial *several.Trial) {
		start := &Column{Name: "start_g"}
		for i := range trial.Input.Plants {
			start.Values = append(start.Values, 1+float64((i*37)%50)/50)
		}
		trial.Input.Outcomes[0].Start = start
	}))
	e := pairOf(t, c, "coir", "bark")
	if e.Pooled != nil || !strings.Contains(e.NotPooled, "trial 1 and trial 2 hold the same plants") || !strings.Contains(strings.Join(c.Remarks, "\n"), "they are not two answers") {
		t.Errorf("%q, %q", e.NotPooled, c.Remarks)
	}
}

// Names with a percent sign or of several columns' width do no harm.
func TestCompareOddNames(t *testing.T) {
	t.Parallel()
	c := compared(t, madeUp(t, 2, func(_ int, trial *several.Trial) {
		m := &trial.Input.Treatments[0]
		m.Levels = []string{"20 %d", "100 %s of the dose that the label gives for plants under glass", "氧"}
		trial.Name = "spring"
	}))
	if c.Trials[0].Trial != "folder1" {
		t.Errorf("two trials of one name go by %q", c.Trials[0].Trial)
	}
	var text strings.Builder
	if err := c.WriteText(&text); err != nil || strings.Contains(text.String(), "!") || !strings.Contains(text.String(), "20 %d") {
		t.Errorf("%v\n%s", err, &text)
	}
	for line := range strings.Lines(text.String()) {
		if uniseg.StringWidth(strings.TrimRight(line, "\n")) > 80 {
			t.Errorf("wide: %q", line)
		}
	}
}
