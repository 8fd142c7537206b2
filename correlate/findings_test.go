package correlate

import (
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

var quoted = regexp.MustCompile(`\(95 % interval (\S+) ?(\S*) to (?:× )?(\S+?)[ );]`)

// Whatever the trial, a sentence that gives a direction quotes an interval that
// leaves no difference out, on that side; one that says nothing was shown
// quotes one that holds it.
func TestNoFindingClaimsWhatItsIntervalDoesNot(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(20, 26))
	claims, open := 0, 0
	for range 12 {
		c := trial{
			bins: 2 + 2*rng.IntN(3), rows: 4, columns: 5, media: 2 + rng.IntN(5),
			medium: 0.1 * rng.NormFloat64(), light: 0.1 * rng.NormFloat64(), level: 0.3 * rng.NormFloat64(), binSD: 0.1, sd: 0.1 + 0.3*rng.Float64(),
		}
		in := c.input(rng)
		in.Table = rng.IntN(2) == 0
		r, err := Analyse(t.Context(), in, Options{Seed: 3, Interactions: rng.IntN(2) == 0})
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range r.Outcomes {
			for _, found := range o.Findings {
				f := found.Says
				sober(t, f)
				claim, none := claimOf(f)
				if claim == 0 && !none {
					continue
				}
				low, high, null, ok := intervalOf(f)
				if !ok {
					if claim != 0 && !strings.Contains(f, "no odds ratio") {
						t.Errorf("a claim without an interval: %s", f)
					}
					continue
				}
				switch {
				case claim > 0 && low <= null, claim < 0 && high >= null:
					t.Errorf("claims what its interval does not: %s", f)
				case none && (low > null || high < null):
					t.Errorf("hides what its interval shows: %s", f)
				case claim != 0:
					claims++
				default:
					open++
				}
			}
		}
	}
	if claims < 30 || open < 30 {
		t.Errorf("only %d claims and %d open comparisons were looked at", claims, open)
	}
}

// sober demands the words that a finding may use.
func sober(t *testing.T, finding string) {
	t.Helper()
	for _, word := range []string{"significan", "prove", "NaN", "Inf", "%!", "caus"} {
		if strings.Contains(finding, word) {
			t.Errorf("%q in: %s", word, finding)
		}
	}
	if len(finding) > 420 {
		t.Errorf("long: %s", finding)
	}
}

func claimOf(f string) (direction int, none bool) {
	switch {
	case strings.Contains(f, " lies above "), strings.Contains(f, " rises: "):
		return 1, false
	case strings.Contains(f, " lies below "), strings.Contains(f, " falls: "):
		return -1, false
	case strings.Contains(f, " no difference in "), strings.Contains(f, " no change in "), strings.Contains(f, "No difference of edge"):
		return 0, true
	}
	return 0, false
}

// intervalOf reads the quoted interval and the value of no difference.
func intervalOf(f string) (low, high, null float64, ok bool) {
	m := quoted.FindStringSubmatch(f)
	if m == nil {
		return 0, 0, 0, false
	}
	first := m[1]
	if first == "×" {
		first, null = m[2], 1
	}
	read := func(s string) float64 {
		v, err := strconv.ParseFloat(strings.Replace(s, "−", "-", 1), 64)
		ok = ok && err == nil
		return v
	}
	ok = true
	low, high = read(first), read(m[3])
	return low, high, null, ok
}
