//go:build worlds

package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"parstead/cmd/parstead/harvest"
	"parstead/correlate"
	"parstead/correlate/analysis"
	"parstead/correlate/ranking"
	"parstead/testdata/claimsworlds"
)

// worldTrials is how many trials of each world are judged: PARSTEAD_WORLD_TRIALS,
// or a short run's.
func worldTrials(t *testing.T) int {
	t.Helper()
	text := os.Getenv("PARSTEAD_WORLD_TRIALS")
	if text == "" {
		return 40
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 2 {
		t.Fatalf("PARSTEAD_WORLD_TRIALS=%s: write a number of trials, from 2", text)
	}
	return n
}

// share is how often something was so.
type share struct{ of, n int }

func (s *share) add(is bool) {
	s.n++
	if is {
		s.of++
	}
}

func (s share) rate() float64 { return float64(s.of) / float64(max(s.n, 1)) }

// error is one Monte Carlo error about a rate that is promised.
func (s share) error(promised float64) float64 {
	return math.Sqrt(promised * (1 - promised) / float64(max(s.n, 1)))
}

func (s share) String() string {
	return fmt.Sprintf("%5.1f ±%.1f %%", 100*s.rate(), 100*s.error(min(max(s.rate(), 0.01), 0.99)))
}

// tally is what trials of one world came to.
type tally struct {
	world     claimsworlds.World
	claimed   share // any false claim
	lead      share
	caution   share
	plainly   share             // a false claim of an outcome that has no caution
	of        map[string]*share // false claims by what they are of
	covered   map[string]*share // all intervals of a treatment, or that of a slope, by what they are of
	slopes    map[string]bool   // of covered: a slope of yes/no
	besides   map[string]bool   // of covered: whole bins beside light
	unstated  int               // intervals that were absent
	incorrect []string          // examples
}

func counted(m map[string]*share, key string, is bool) {
	if m[key] == nil {
		m[key] = &share{}
	}
	m[key].add(is)
}

// analysed puts a dealt trial through the reading of a flat table. The mother, a
// label, is held as a treatment that the plants came with.
func analysed(t *testing.T, trial claimsworlds.Trial, file string, seed uint64) *correlate.Result {
	t.Helper()
	if err := os.WriteFile(file, []byte(trial.CSV()), 0o600); err != nil {
		t.Fatal(err)
	}
	r := trial.Roles
	table := harvest.Table{File: file, Light: r.Light, Bin: r.Bin, Block: r.Block, Row: r.Row, Column: r.Column, By: r.Species}
	for _, o := range r.Outcomes {
		scale := correlate.Natural
		if o.Log {
			scale = correlate.Log
		}
		table.Outcomes = append(table.Outcomes, correlate.Outcome{Name: o.Name, Kind: correlate.Kind(o.Kind), Scale: scale})
	}
	treat := func(names []string, per correlate.SetPer) {
		for _, name := range names {
			table.Treatments = append(table.Treatments, correlate.Treatment{
				Factor: correlate.Factor{Name: name}, SetPer: per, SetsLight: slices.Contains(r.ThroughLight, name),
			})
		}
	}
	treat(r.PlantTreatments, correlate.PerPlant)
	treat(r.BinTreatments, correlate.PerBin)
	if r.Mother != "" {
		treat([]string{r.Mother}, correlate.Given)
	}
	for _, name := range r.Covariates {
		if name != r.Mother {
			table.Covariates = append(table.Covariates, name)
		}
	}
	in, err := table.Read()
	if err != nil {
		t.Fatal(err)
	}
	crossed := slices.ContainsFunc(r.Interactions, func(p [2]string) bool { return p[0] != r.Light && p[1] != r.Light })
	result, err := correlate.Analyse(t.Context(), in, correlate.Options{Interactions: crossed, Seed: seed})
	if err != nil {
		t.Fatal(err)
	}
	return result
}

// judged are the truths that judge plain claims and intervals of one outcome and
// factor. Answers that are yes or no are compared over bins, in tables of their own:
// where a truth over bins is stated too, that one judges.
func judged(truth claimsworlds.Truth, o *correlate.OutcomeResult, factor string) (list claimsworlds.Truth) {
	for _, e := range truth {
		here := e.WhereColumn == "" || o.Of[e.WhereColumn] == e.WhereLevel
		if e.Outcome != o.Name || e.Factor != factor || e.By != "" || !here {
			continue
		}
		over := o.Kind == correlate.YesNo && e.Standing == claimsworlds.AlsoRight && !e.IsSlope() && !slices.Contains(e.Held, "bin")
		same := slices.IndexFunc(list, func(l claimsworlds.Estimand) bool { return l.From == e.From && l.To == e.To })
		switch {
		case over && same >= 0, e.Standing == claimsworlds.Judge && same >= 0 && e.WhereColumn != "":
			list[same] = e
		case (over || e.Standing == claimsworlds.Judge) && same < 0:
			list = append(list, e)
		}
	}
	return list
}

// wrong tells whether a claim has no truth behind it: none of what it is of is so,
// or the direction of a pair that it names is another one.
func wrong(truth claimsworlds.Truth, o *correlate.OutcomeResult, f correlate.Finding, null bool) bool {
	list := judged(truth, o, f.About)
	if len(list) == 0 {
		return null && strings.Contains(f.About, " × ")
	}
	if !slices.ContainsFunc(list, func(e claimsworlds.Estimand) bool { return e.Value != 0 }) {
		return true
	}
	for _, e := range list {
		if e.IsSlope() {
			return o.Light != nil && o.Light.Slope.Slope != nil && f.About == "light" && e.Value*(*o.Light.Slope.Slope) < 0
		}
		for _, c := range o.Comparisons {
			sign := direction(&c, e)
			claims := c.Verdict == analysis.Larger || c.Verdict == analysis.Smaller
			if sign == 0 || !claims || !strings.Contains(f.Says, c.A) || !strings.Contains(f.Says, c.B) {
				continue
			}
			if c.Verdict == analysis.Smaller {
				sign = -sign
			}
			if !math.IsNaN(e.Value) && sign*e.Value <= 0 {
				return true
			}
		}
	}
	return false
}

// direction is 1 where a comparison is of To against From, −1 where of From against
// To, 0 where it is of another pair.
func direction(c *correlate.Comparison, e claimsworlds.Estimand) float64 {
	switch {
	case c.Treatment == e.Factor && c.A == e.To && c.B == e.From:
		return 1
	case c.Treatment == e.Factor && c.A == e.From && c.B == e.To:
		return -1
	}
	return 0
}

// stated is what is stated of an estimand, on its scale and in its direction.
func stated(o *correlate.OutcomeResult, e claimsworlds.Estimand, throughLight []string) *[2]float64 {
	if e.IsSlope() {
		if e.Factor == "light" && o.Light != nil {
			return o.Light.CI95
		}
		for _, c := range o.Coefficients {
			if c.Of == e.Factor && c.Level == "" {
				return c.CI95
			}
		}
		return nil
	}
	for _, c := range o.Comparisons {
		sign := direction(&c, e)
		if sign == 0 {
			continue
		}
		ci, difference := (*[2]float64)(c.CI95), c.Difference
		if !slices.Contains(e.Held, "light") && !slices.Contains(throughLight, e.Factor) && c.WithoutLight != nil {
			ci, difference = c.WithoutLight.CI95, c.WithoutLight.Difference
		}
		if read := ranking.Read(o, &c); read.Limits != c.CI95 { // by its levels' own spreads
			ci, difference = read.CI95, read.Difference
		}
		if ci == nil {
			return nil
		}
		low, high := ci[0], ci[1]
		if difference == nil {
			low, high = math.Log(max(low, 0)), math.Log(high) // an open low end is −∞ on any scale
		}
		if sign < 0 {
			low, high = -high, -low
		}
		return &[2]float64{low, high}
	}
	return nil
}

// standing begins the caution that stands over every trial with light: it warns of
// nothing that a world does.
const standing = "Positions were not given their light at random"

// judge adds one trial.
func (y *tally) judge(trial claimsworlds.Trial, r *correlate.Result) {
	truth := slices.Concat(trial.Realised, y.world.Truth)
	var anyFalse, anyLead, anyCaution, plain bool
	falsely := map[string]bool{}
	for i := range r.Outcomes {
		o := &r.Outcomes[i]
		cautioned := slices.ContainsFunc(o.Findings, func(f correlate.Finding) bool {
			return f.Kind == analysis.Caution && !strings.HasPrefix(f.Says, standing)
		})
		anyCaution = anyCaution || cautioned
		for _, f := range o.Findings {
			anyLead = anyLead || f.Kind == analysis.Lead
			if f.Kind != analysis.Claim || !wrong(truth, o, f, y.world.Null) {
				continue
			}
			anyFalse, falsely[string(o.Kind)+" "+f.About] = true, true
			plain = plain || !cautioned
			if len(y.incorrect) < 1 {
				y.incorrect = append(y.incorrect, f.Says)
			}
		}
		y.cover(trial, truth, o)
	}
	y.claimed.add(anyFalse)
	y.lead.add(anyLead)
	y.caution.add(anyCaution)
	y.plainly.add(plain)
	for _, o := range trial.Roles.Outcomes {
		for _, about := range slices.Concat(trial.Roles.PlantTreatments, trial.Roles.BinTreatments, []string{"light"}) {
			counted(y.of, o.Kind+" "+about, falsely[o.Kind+" "+about])
		}
	}
}

// cover counts whether all intervals of each treatment, which hold at once, and those
// of slopes hold the truth.
func (y *tally) cover(trial claimsworlds.Trial, truth claimsworlds.Truth, o *correlate.OutcomeResult) {
	r := trial.Roles
	for _, factor := range slices.Concat(r.PlantTreatments, r.BinTreatments, r.Covariates, []string{"light"}) {
		told, holds, beside := 0, true, slices.Contains(r.BinTreatments, factor)
		slope := false
		for _, e := range judged(truth, o, factor) {
			if math.IsNaN(e.Value) {
				continue
			}
			ci := stated(o, e, r.ThroughLight)
			if ci == nil {
				y.unstated++
				continue
			}
			told++
			slope = slope || e.IsSlope()
			beside = beside && slices.Contains(e.Held, "light")
			const rounding = 1e-9
			holds = holds && ci[0]-rounding <= e.Value && e.Value <= ci[1]+rounding
		}
		if told > 0 {
			key := o.Name + " " + factor
			counted(y.covered, key, holds)
			y.slopes[key] = slope && o.Kind == correlate.YesNo
			y.besides[key] = beside
		}
	}
}

// misses are the promises that a world breaks beyond three Monte Carlo errors.
func (y *tally) misses() (list []string) {
	over := func(what string, s share, promised float64) {
		if s.rate() > promised+3*s.error(promised) {
			list = append(list, fmt.Sprintf("%s: %v, promised at most %g %%", what, s, 100*promised))
		}
	}
	under := func(what string, s share, promised float64) {
		if s.rate() < promised-3*s.error(promised) {
			list = append(list, fmt.Sprintf("%s: %v, promised at least %g %%", what, s, 100*promised))
		}
	}
	switch y.world.Blame {
	case claimsworlds.CannotKnow:
		return nil
	case claimsworlds.MustAdmit:
		over("plain", y.plainly, 0.06)
		under("caution", y.caution, 0.80)
		return list
	case claimsworlds.MustHold:
	}
	over("claims", y.claimed, 0.06)
	for key, s := range y.of {
		switch kind, about, _ := strings.Cut(key, " "); {
		case kind == string(correlate.YesNo) && about == "light":
			over("claims of "+key, *s, 0.055)
		case slices.Contains(y.world.Deal(1).Roles.BinTreatments, about):
			over("claims of "+key, *s, 0.05)
		}
	}
	for key, s := range y.covered {
		promised := 0.935
		if y.slopes[key] {
			promised = 0.915
		}
		under("coverage of "+key, *s, promised)
		if y.besides[key] {
			over("coverage of "+key, *s, 0.99)
		}
	}
	slices.Sort(list)
	return list
}

// lowest is the worst coverage.
func (y *tally) lowest() (key string, s share) {
	s = share{1, 1}
	for k, c := range y.covered {
		if c.rate() < s.rate() || key == "" {
			key, s = k, *c
		}
	}
	return key, s
}

// What a trial of a known world is said to show, judged by promises: see
// testdata/claimsworlds/README.md. A seed fixes each trial; the table gives rates with
// one Monte Carlo error. Promises that are broken and known to be stand in
// worldsKnown with what was measured.
func TestWorlds(t *testing.T) {
	n := worldTrials(t)
	var mu sync.Mutex
	rows := map[string]string{}
	worlds := claimsworlds.Worlds()
	t.Run("world", func(t *testing.T) {
		for _, w := range worlds {
			t.Run(w.Name, func(t *testing.T) {
				t.Parallel()
				y := &tally{world: w, of: map[string]*share{}, covered: map[string]*share{}, slopes: map[string]bool{}, besides: map[string]bool{}}
				file := filepath.Join(t.TempDir(), "plants.csv")
				for seed := range uint64(n) {
					trial := w.Deal(seed + 1)
					y.judge(trial, analysed(t, trial, file, seed+1))
				}
				key, low := y.lowest()
				row := fmt.Sprintf("%-36s %-11s %v %v %v  %v %s", w.Name, w.Blame, y.claimed, y.lead, y.caution, low, key)
				for _, miss := range y.misses() {
					what, _, _ := strings.Cut(miss, ":")
					if why, known := worldsKnown[w.Name+"/"+what]; known {
						row += "\n    known: " + miss + " (" + why + ")"
						continue
					}
					t.Errorf("%s; such as %q", miss, y.incorrect)
				}
				mu.Lock()
				defer mu.Unlock()
				rows[w.Name] = row
			})
		}
	})
	t.Logf("%d trials a world: any false claim, any lead, any caution, the lowest coverage", n)
	for _, w := range worlds {
		if row, ok := rows[w.Name]; ok {
			t.Log(row)
		}
	}
}
