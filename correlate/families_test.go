package correlate

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"parstead/correlate/analysis"
)

// Four p values as R's p.adjust by Holm's method gives them (R 4, stats).
func TestHolm(t *testing.T) {
	t.Parallel()
	p, want := []float64{0.01, 0.04, 0.03, 0.005}, []float64{0.03, 0.06, 0.06, 0.02}
	told := []FindingKind{Claim, Open, Open, Claim}
	standings := make([]Standing, len(p))
	var blocks []block
	for i := range p {
		blocks = append(blocks, block{members: []member{{p[i], &standings[i]}}})
	}
	holm(blocks)
	for i, s := range standings {
		approx(t, "adjusted", s.Adjusted, want[i], 1e-12)
		if s.Told != told[i] {
			t.Errorf("p %g is told as %s, want %s", p[i], s.Told, told[i])
		}
	}
}

// Within a block that holds, each pair has to hold by the block's own multiplier, and
// none does once a block before it has failed, however small its p times fewer.
func TestHolmWithinBlocks(t *testing.T) {
	t.Parallel()
	var a, b, c [3]Standing
	of := func(s *[3]Standing, p ...float64) (x block) {
		for i, v := range p {
			x.members = append(x.members, member{v, &s[i]})
		}
		return x
	}
	holm([]block{of(&a, 0.04, 0.012, 0.9), of(&b, 0.03, 0.02, 0.6), of(&c, 0.045)})
	// sorted: 0.012 × 3, 0.02 × 2, 0.045 × 1: all hold by their smallest p
	for i, want := range []FindingKind{Open, Claim, Open} {
		if a[i].Told != want {
			t.Errorf("pair %d of the first is told as %s, want %s", i, a[i].Told, want)
		}
	}
	if b[0].Told != Open || b[1].Told != Claim || c[0].Told != Claim {
		t.Errorf("%+v %+v", b, c)
	}
	holm([]block{of(&a, 0.012), of(&b, 0.026), of(&c, 0.03)})
	if a[0].Told != Claim || b[0].Told != Open || c[0].Told != Open {
		t.Errorf("0.026 × 2 fails, and with it 0.03 × 1: %+v %+v %+v", a, b, c)
	}
}

// Four p values as R's p.adjust by Benjamini and Hochberg's method gives them, and as
// many leads as hold by it.
func TestDiscoveries(t *testing.T) {
	t.Parallel()
	p, want := []float64{0.01, 0.06, 0.03, 0.005}, []float64{0.02, 0.06, 0.04, 0.02}
	standings := make([]Standing, len(p))
	var blocks []block
	for i := range p {
		blocks = append(blocks, block{members: []member{{p[i], &standings[i]}}})
	}
	for i, q := range discoveries(blocks) {
		approx(t, "rate", &q, want[i], 1e-12)
		if lead := standings[i].Told == Lead; lead != (q <= 0.05) {
			t.Errorf("p %g is told as %s", p[i], standings[i].Told)
		}
	}
}

// unmoved is a trial in which nothing does anything: four media on plants, two levels
// of light on bins that differ by themselves, light by place, and losses by chance.
func unmoved(rng *rand.Rand, species int) *Input {
	in := trial{bins: 6, rows: 4, columns: 6, media: 4, binSD: 0.3, sd: 0.25}.input(rng)
	in.Row, in.Column, in.Electricity = nil, nil, nil // place is no planned question
	in.Outcomes = in.Outcomes[:1]
	in.Outcomes[0].Matters = nil
	if species > 1 {
		in.By = &Factor{Name: "species", Codes: make([]int, len(in.Plants))}
		for s := range species {
			in.By.Levels = append(in.By.Levels, string(rune('A'+s)))
		}
		for i := range in.Plants {
			in.By.Codes[i] = i / 4 % species
		}
	}
	return in
}

// claimed is the share of trials with any claim where nothing does anything.
func claimed(t *testing.T, trials, species int) float64 {
	t.Helper()
	rng := rand.New(rand.NewPCG(5, uint64(species)))
	any := 0
	for range trials {
		r, err := Analyse(t.Context(), unmoved(rng, species), Options{Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		if slices.ContainsFunc(r.Outcomes, func(o OutcomeResult) bool {
			return slices.ContainsFunc(o.Findings, func(f Finding) bool { return f.Kind == Claim })
		}) {
			any++
		}
	}
	return float64(any) / float64(trials)
}

// Where nothing does anything a claim is made in at most 6 of 100 trials, beyond three
// Monte Carlo errors; the slow tests use more trials.
func TestClaimsWhereNothingIs(t *testing.T) {
	t.Parallel()
	for _, species := range []int{1, 3} {
		const trials = 120
		error := math.Sqrt(0.05 * 0.95 / trials)
		share := claimed(t, trials, species)
		t.Logf("%d species: %.3f ± %.3f of %d trials", species, share, error, trials)
		if share > 0.06+3*error {
			t.Errorf("%d species: a claim in %.3f of trials", species, share)
		}
	}
}

// A pair that its interval shows and Holm does not is told, and told as what it is.
func TestAPairThatStandsOutAlone(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(8, 1))
	seen := 0
	for range 60 {
		for _, o := range result(t, unmoved(rng, 3), Options{}).Outcomes {
			for _, c := range o.Comparisons {
				if c.Verdict != Larger && c.Verdict != Smaller || c.Standing.Told == Claim {
					continue
				}
				seen++
				if !slices.ContainsFunc(o.Findings, func(f Finding) bool {
					return f.Kind == Open && f.Topic == analysis.About(c.Term) && strings.Contains(f.Says, "stands out alone; one of ")
				}) {
					t.Errorf("%s %s against %s is not told:\n%s", c.Treatment, c.A, c.B, told(o))
				}
			}
		}
	}
	if seen < 5 {
		t.Errorf("only %d pairs stood out alone", seen)
	}
}
