//go:build slow

package correlate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// Calibration of the whole analysis on made-up trials of a known truth: how
// often each test alarms at 5 % where there is nothing, and how often each
// interval holds what is true. Seeded. Every bound is widened by three Monte
// Carlo errors, which the table prints; of the trials named, one in oneIn is drawn.

// calibrated counts what happened over the trials of one case.
type calibrated struct {
	rows map[string]*tally
	name []string
}

type tally struct{ hits, of int }

func (c *calibrated) count(what string, hit bool) {
	r := c.rows[what]
	if r == nil {
		r = &tally{}
		c.rows[what] = r
		c.name = append(c.name, what)
	}
	r.of++
	if hit {
		r.hits++
	}
}

// alarm counts a p value below 0.05; absent ones are no trial of the test.
func (c *calibrated) alarm(what string, p *float64) {
	if p != nil {
		c.count(what, *p < 0.05)
	}
}

func (c *calibrated) holds(what string, ci *[2]float64, truth float64) {
	if ci != nil {
		c.count(what, ci[0] <= truth && truth <= ci[1])
	}
}

// bound is what a share may be; why names the cause where it is not the rule.
type bound struct {
	low, high float64
	why       string
}

var (
	exactTest  = bound{0, 0.05, ""}
	otherTest  = bound{0.04, 0.06, ""}
	single     = bound{0.93, 0.97, ""}
	family     = bound{0.93, 0.97, ""}
	toldOnly   = bound{0, 1, "told only"}
	naiveClaim = bound{0.06, 1, "what plants as replicates would have claimed"}
)

// trialCase is one kind of trial: draw draws one and counts what came of it.
type trialCase struct {
	name   string
	trials int
	bounds map[string]bound
	draw   func(t *testing.T, rng *rand.Rand, c *calibrated)
}

// longCases take many minutes: they come in with the tag worlds.
var longCases []func() []trialCase

// oneIn is how many of a simulation's trials are drawn: one in five, which takes two
// minutes and widens the bounds by its Monte Carlo error; all with the tag worlds.
var oneIn = 5

func TestCalibration(t *testing.T) {
	t.Parallel()
	cases := slices.Concat(massCases(), countCases(), eventCases(), unitCases())
	for _, f := range longCases {
		cases = append(cases, f()...)
	}
	lines := make([][]string, len(cases))
	t.Cleanup(func() {
		t.Logf("%-36s %-33s %7s %7s  %s\n%s", "trials of the kind", "what", "share", "± MC", "bounds", strings.Join(slices.Concat(lines...), "\n"))
	})
	for i, k := range cases {
		t.Run(k.name, func(t *testing.T) {
			t.Parallel()
			c := &calibrated{rows: map[string]*tally{}}
			for n := range k.trials / oneIn {
				k.draw(t, rand.New(rand.NewPCG(uint64(1000+i), uint64(n))), c)
			}
			for what := range k.bounds {
				if c.rows[what] == nil {
					t.Errorf("%s was never seen", what)
				}
			}
			for _, what := range c.name {
				b, ok := k.bounds[what]
				if !ok {
					t.Fatalf("%s has no bounds", what)
				}
				r := c.rows[what]
				share := float64(r.hits) / float64(r.of)
				mc := math.Sqrt(0.05 * 0.95 / float64(r.of))
				lines[i] = append(lines[i], fmt.Sprintf("%-36s %-33s %7.4f %7.4f  %g to %g %s", k.name, what, share, mc, b.low, b.high, b.why))
				if share < b.low-3*mc || share > b.high+3*mc {
					t.Errorf("%s: %.4f of %d, want %g to %g", what, share, r.of, b.low, b.high)
				}
			}
		})
	}
}

// grown is a made-up trial without an outcome: media shuffled within bins.
func grown(rng *rand.Rand, bins, perBin, media int) *Input {
	n := bins * perBin
	in := &Input{Bin: &Factor{Name: "bin"}, Light: &Light{Name: "light"}}
	medium := Factor{Name: "medium"}
	for m := range media {
		medium.Levels = append(medium.Levels, fmt.Sprint("m", m))
	}
	start := Column{Name: "start_g"}
	for b := range bins {
		in.Bin.Levels = append(in.Bin.Levels, fmt.Sprint("b", b))
		labels := rng.Perm(perBin)
		bright := 4 + rng.Float64()
		for p := range perBin {
			in.Plants = append(in.Plants, fmt.Sprint("p", len(in.Plants)))
			in.Bin.Codes = append(in.Bin.Codes, b)
			medium.Codes = append(medium.Codes, labels[p]%media)
			in.Light.Values = append(in.Light.Values, bright+0.5*rng.NormFloat64())
			start.Values = append(start.Values, math.Exp(0.3*rng.NormFloat64()))
		}
	}
	in.Treatments = []Treatment{{Factor: medium, SetPer: PerPlant}}
	in.Outcomes = []Outcome{{Name: "y", Kind: Measure, Values: make([]float64, n), Start: &start}}
	return in
}

func analyse(t *testing.T, in *Input) OutcomeResult {
	t.Helper()
	r, err := Analyse(t.Context(), in, Options{Seed: 1, Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	return r.Outcomes[0]
}

// tests counts the effects that a trial without effects alarms for.
func (c *calibrated) tests(o OutcomeResult, names ...string) {
	for _, e := range o.Effects {
		if slices.Contains(names, e.Effect) {
			c.alarm(e.Effect+" alarms", e.P)
			if e.PRedealt != nil {
				c.alarm(e.Effect+" alarms, dealt anew", e.PRedealt)
			}
		}
	}
}

// checks counts the checks that alarm.
func (c *calibrated) checks(o OutcomeResult) {
	for _, k := range o.Checks {
		switch k.Check {
		case "equal_slopes":
			c.alarm("equal slopes alarm", k.P)
		case "spread":
			c.alarm("spread alarms", k.P)
		}
	}
}

// pairs counts whether all intervals of a family hold the truth at once.
func (c *calibrated) pairs(o OutcomeResult, treatment string, truth float64) {
	all, some := true, false
	for _, p := range o.Comparisons {
		if p.Treatment == treatment && p.CI95 != nil {
			some = true
			all = all && p.CI95[0] <= truth && truth <= p.CI95[1]
		}
	}
	if some {
		c.count(treatment+" pairs hold at once", all)
	}
}

func (c *calibrated) coefficient(o OutcomeResult, of, level string, truth float64) {
	for _, k := range o.Coefficients {
		if k.Of == of && k.Level == level {
			c.holds(strings.TrimSpace(of+" "+level)+" interval holds", k.CI95, truth)
		}
	}
}
