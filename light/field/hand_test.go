package field

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"parstead/light"
)

// handWalk walks a bin of 7 × 8 so many times, with a meter that is off by 4 % of its
// own in every reading and by held in six readings on end alike.
func handWalk(seed uint64, times int, held float64) []Reading {
	rng := rand.New(rand.NewPCG(seed, 41))
	bin := handBin()
	var walk []Reading
	for n := range times {
		alike := 0.0
		for i, p := range bin.Positions() {
			if i%6 == 0 {
				alike = held * rng.NormFloat64()
			}
			walk = append(walk, Reading{
				At: time.Unix(int64(n*86400+i*15), 0), Position: p,
				PPFD: 100 * math.Exp(lampLight(bin, p, 24, 20, 30, 0.1)+alike+0.04*rng.NormFloat64()), Reference: 100,
			})
		}
	}
	return walk
}

func handBin() light.Bin {
	return light.Bin{Name: "b", Rows: 7, Columns: 8, PitchRows: 6, PitchColumns: 6}
}

// What the hand adds to errors is what is thought of it before where nothing was
// walked twice, less where repeats show that neighbours don't go together, and more
// where they do.
func TestHandByRepeats(t *testing.T) {
	t.Parallel()
	once := group(handBin(), handWalk(1, 1, 0.04))
	if got := once.hand(); got != 1 {
		t.Errorf("without a repeat: %v times what is thought before", got)
	}
	for _, c := range []struct {
		held        float64
		least, most float64 // in the mean of 40 walks
	}{{0, 0, 0.4}, {0.04, 2, 6}} {
		sum := 0.0
		for seed := range uint64(40) {
			w := group(handBin(), handWalk(seed, 3, c.held))
			if w.visit[len(w.visit)-1] != 2 {
				t.Fatalf("three walks of three days are %d", 1+w.visit[len(w.visit)-1])
			}
			sum += w.hand() / 40
		}
		t.Logf("a hand that holds %g %% alike: %.2f times what is thought before", 100*c.held, sum)
		if sum < c.least || sum > c.most {
			t.Errorf("a hand that holds %g %% alike: %.2f times what is thought before, want %g to %g", 100*c.held, sum, c.least, c.most)
		}
	}
}

// A bin's stated errors follow: three steady walks state less than three by a hand
// that holds each row otherwise, over the same lamp and the same noise.
func TestUnsteadyHandStatesMore(t *testing.T) {
	t.Parallel()
	mean := func(held float64) (sum float64) {
		for seed := range uint64(8) {
			m, err := fit(handBin(), handWalk(seed, 3, held), []Anchor{{Position: handBin().Positions()[27], Weight: 1}})
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range m.RelativeError {
				sum += e / float64(len(m.RelativeError)*8)
			}
		}
		return sum
	}
	steady, unsteady := mean(0), mean(0.04)
	t.Logf("steady %.4f, unsteady %.4f", steady, unsteady)
	if unsteady < 1.3*steady {
		t.Errorf("an unsteady hand states %.4f, a steady one %.4f", unsteady, steady)
	}
}
