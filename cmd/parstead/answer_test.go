package main

import (
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/rivo/uniseg"

	"parstead/correlate"
	"parstead/correlate/phrase"
)

// jargon is what needs a statistician, and stands behind --full alone.
var jargon = regexp.MustCompile(`(?i)kriging|\bcv\b|moran|aicc|variance inflation|degrees? of freedom|quasi-likelihood|\bletters?\b|\bp (?:below )?0\.|false discovery|reliability|residual|significan|\bodds ratio|penalised|least squares|power of`)

var (
	figure = regexp.MustCompile(`\d+(?:\.\d+)?(?:e[+−]?\d+)?`)
	// derived are figures that no key of the JSON holds: the ends of measured light, the
	// bins of a level, and sums and quotients of what it holds.
	derived  = regexp.MustCompile(`with \d+ (?:bins|reservoirs) a level|up to \S+, the brightest|from \S+, the darkest|\(\d+ such racks or seasons\)|on the other levels of .* \d+ of \d+ together|and \d+ more|^\d+ of \d+ plants`)
	claiming = regexp.MustCompile(` (?:is|are) behind|^Light matters`)
	behind   = regexp.MustCompile(`(\S+) is behind, (\S+) % below (\S+) \((\S+) to (\S+) %\)`)
)

// answerFaults are breaches of what an answer promises, by the JSON that it stands in.
func answerFaults(out string) (faults []string) {
	var r correlate.Result
	var any map[string]any
	if json.Unmarshal([]byte(out), &r) != nil || json.Unmarshal([]byte(out), &any) != nil {
		return []string{"not JSON"}
	}
	if n := len(r.Answer); n == 0 || n > 7 {
		faults = append(faults, fmt.Sprintf("%d sentences", n))
	}
	delete(any, "answer")
	held := map[string]bool{}
	figuresIn(any, held)
	claims := slices.ContainsFunc(r.Outcomes, func(o correlate.OutcomeResult) bool {
		return slices.ContainsFunc(o.Findings, func(f correlate.Finding) bool { return f.Kind == correlate.Claim })
	})
	names := namesOf(&r)
	for _, s := range r.Answer {
		says := s.Says
		if w := jargon.FindString(names.Replace(says)); w != "" {
			faults = append(faults, fmt.Sprintf("%q in: %s", w, says))
		}
		if !claims && claiming.MatchString(says) {
			faults = append(faults, "claims where no finding does: "+says)
		}
		_, plain, _ := strings.Cut(says, ": ")
		for _, f := range figure.FindAllString(derived.ReplaceAllString(names.Replace(plain), ""), -1) {
			if !held[f] {
				faults = append(faults, fmt.Sprintf("%s is in no figure of the JSON: %s", f, says))
			}
		}
		for _, m := range behind.FindAllStringSubmatch(says, -1) {
			if !compared(&r, m) {
				faults = append(faults, fmt.Sprintf("%q is no comparison of the JSON", m[0]))
			}
		}
	}
	return faults
}

// briefFaults are breaches of what the text without --full promises, beside its JSON.
func briefFaults(text, out string) (faults []string) {
	var r correlate.Result
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		return []string{err.Error()}
	}
	names := namesOf(&r)
	claims := slices.ContainsFunc(r.Outcomes, func(o correlate.OutcomeResult) bool {
		return slices.ContainsFunc(o.Findings, func(f correlate.Finding) bool { return f.Kind == correlate.Claim })
	})
	lines := 0
	for line := range strings.SplitSeq(text, "\n") {
		first, _, _ := strings.Cut(strings.TrimSpace(line), " ")
		switch {
		case uniseg.StringWidth(line) > 80:
			faults = append(faults, "a line of more than 80 columns: "+line)
		case strings.Contains(line, "──"), line == "":
			lines = 0
			continue
		case strings.HasPrefix(line, "  claim ") && !claims:
			faults = append(faults, "claims where no finding does: "+line)
		}
		if inBlock := slices.Contains([]string{"claim", "caution", "lead", "open", "next"}, first) && strings.HasPrefix(line, "  "); inBlock || lines > 0 {
			lines++
		}
		if lines == 13 {
			faults = append(faults, "more than twelve lines on an outcome: "+line)
		}
		if w := jargon.FindString(names.Replace(line)); w != "" {
			faults = append(faults, fmt.Sprintf("%q without --full: %s", w, line))
		}
	}
	return faults
}

// namesOf takes names out of sentences, that their figures and words be no fault.
func namesOf(r *correlate.Result) *strings.Replacer {
	seen := map[string]bool{}
	add := func(names ...string) {
		for _, n := range names {
			seen[n] = n != ""
		}
	}
	for _, o := range r.Outcomes {
		add(o.Name, o.Unit)
		for _, v := range o.Of {
			add(v)
		}
		for _, g := range o.Groups {
			for t, l := range g.Levels {
				add(t, l)
			}
		}
		for _, e := range o.Effects {
			add(e.Effect)
		}
		for _, c := range o.Checks {
			add(c.Of)
		}
		for _, s := range o.Suspects {
			add(s.Plant)
		}
		for _, c := range o.Coefficients {
			add(c.Of)
		}
	}
	delete(seen, "")
	var pairs []string
	for n := range seen {
		if _, err := strconv.ParseFloat(n, 64); err != nil { // one that is a figure stands in the JSON as such
			pairs = append(pairs, n)
		}
	}
	slices.SortFunc(pairs, func(a, b string) int { return len(b) - len(a) })
	var list []string
	for _, n := range pairs {
		list = append(list, n, "")
	}
	return strings.NewReplacer(list...)
}

// figuresIn lists every figure of a JSON value in the ways in which a sentence may
// write it: as it is, turned round, as a change in per cent.
func figuresIn(v any, held map[string]bool) {
	switch v := v.(type) {
	case map[string]any:
		for _, x := range v {
			figuresIn(x, held)
		}
	case []any:
		for _, x := range v {
			figuresIn(x, held)
		}
	case string:
		for _, f := range figure.FindAllString(v, -1) {
			held[f] = true
		}
	case float64:
		bare := func(text string) string { return strings.TrimPrefix(strings.TrimPrefix(text, "−"), "-") }
		for _, x := range []float64{v, 1 / v, math.Exp(v), math.Exp(-v)} {
			held[bare(phrase.Number(x))] = true
			held[bare(phrase.Given(x))] = true
			for _, share := range []float64{x, x - 1, 1 - x} {
				for digits := range 6 {
					held[bare(strconv.FormatFloat(100*share, 'f', digits, 64))] = true
				}
				held[bare(strconv.FormatFloat(100*share, 'g', 1, 64))] = true
			}
		}
	}
}

// compared tells whether the JSON has a comparison of two levels with these figures.
func compared(r *correlate.Result, m []string) bool {
	close := func(text string, share float64) bool {
		x, err := strconv.ParseFloat(text, 64)
		return err == nil && math.Abs(x-100*share) <= 0.5001
	}
	for _, o := range r.Outcomes {
		for _, c := range o.Comparisons {
			if c.Ratio == nil || c.CI95 == nil {
				continue
			}
			value, ci := *c.Ratio, [2]float64(*c.CI95)
			if c.A == m[3] && c.B == m[1] {
				value, ci = 1/value, [2]float64{1 / ci[1], 1 / ci[0]}
			} else if c.A != m[1] || c.B != m[3] {
				continue
			}
			if close(m[2], 1-value) && close(m[4], 1-ci[1]) && close(m[5], 1-ci[0]) && ci[1] < 1 {
				return true
			}
		}
	}
	return false
}

// publishedTables are data sets with the columns that they are asked by.
var publishedTables = [][]string{
	{"npk.csv", "--outcome=yield:measure", "--treatment=N", "--treatment=P", "--treatment=K", "--block=block"},
	{"npk.csv", "--outcome=yield:measure", "--treatment=N", "--treatment=P", "--treatment=K", "--block=block", "--interactions"},
	{"oats.csv", "--outcome=Y:measure", "--treatment=N", "--bin-treatment=V", "--block=B", "--bin=plot", "--interactions"},
	{"quine.csv", "--outcome=Days:count", "--treatment=Eth", "--treatment=Sex", "--treatment=Age", "--interactions"},
	{"insectsprays.csv", "--outcome=count:count", "--treatment=spray"},
	{"orchardsprays.csv", "--outcome=decrease:measure", "--treatment=treatment", "--log=decrease", "--row=rowpos", "--column=colpos"},
	{"co2.csv", "--outcome=uptake:measure", "--treatment=Treatment", "--block=Type", "--light=conc"},
	{"cars.csv", "--outcome=dist:measure", "--light=speed", "--no-growth-in-dark"},
	{"anorexia.csv", "--outcome=Postwt:measure", "--treatment=Treat", "--covariate=Prewt"},
	{"endometrial.csv", "--outcome=HG:yes_no", "--covariate=NV", "--covariate=PI", "--covariate=EH"},
	{"plantgrowth.csv", "--outcome=weight:measure", "--treatment=group"},
	{"cabbages.csv", "--outcome=HeadWt:measure", "--outcome=VitC:measure", "--treatment=Cult", "--treatment=Date"},
}

// The answer on published data sets holds what is promised of it.
func TestAnswers(t *testing.T) {
	t.Parallel()
	for _, c := range publishedTables {
		t.Run(strings.Join(c, " "), func(t *testing.T) {
			t.Parallel()
			args := append([]string{"correlate", "--table", filepath.Join("..", "..", "testdata", "cases", c[0])}, c[1:]...)
			brief, _, out, err := saidThrice(t, args...)
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range append(answerFaults(out), briefFaults(brief, out)...) {
				t.Error(f)
			}
		})
	}
}

// What the answer is on tables whose answer is known. Dried plants (Dobson 1983, table
// 7.1): the two treatments alone differ, by 0.865 (0.174 to 1.56), as plantgrowth.json
// has it of general software. Insects (Beall 1942, from memory): after sprays C, D and E
// few are left, after A, B and F many. Peas (npk.csv): 5.62 more with nitrogen.
func TestAnswersThatAreKnown(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		of    []string
		wants string
	}{
		{publishedTables[10], "weight: trt2 and ctrl gave the highest weight (5.53 and 5.03), and can't be told apart; trt1 is behind, 0.865 below trt2 (0.174 to 1.56)."},
		{publishedTables[4], "spray D, E and C are behind spray F"},
		{publishedTables[0], "N 1 gave the highest yield (57.7); N 0 is behind, 5.62 below N 1 (2.13 to 9.10)"},
	} {
		r := correlated(t, filepath.Join("cases", c.of[0]), c.of[1:]...)
		if got := fmt.Sprint(r.Answer); !strings.Contains(got, c.wants) {
			t.Errorf("%s, want %q", got, c.wants)
		}
	}
}
