//go:build slow

package correlate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"parstead/correlate/next"
	"parstead/correlate/power"
)

// Trials of the size that is told show the difference as often as is promised, by
// the whole analysis with its bins and covariates. 1,500 trials a case, or 300 (see
// oneIn): the Monte Carlo error of a share of 0.8 is 0.010 or 0.023, and four of them
// are allowed; covariates and bins that chance sets against the treatment cost up to 0.02 more.
func TestSizesReachTheirPower(t *testing.T) {
	t.Parallel()
	const cost = 0.02
	trials := 1500 / oneIn
	monteCarlo := math.Sqrt(0.8 * 0.2 / float64(trials))
	for _, c := range slices.Concat(masses(t), wholeBins(t), plantlets(t)) {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			shown := 0
			for s := range trials {
				in, of := c.draw(rand.New(rand.NewPCG(31, uint64(s))))
				o := analyse(t, in)
				if c.pair {
					for _, p := range comparisons(o, of) {
						if p.A == "m1" && p.B == "m0" && p.Verdict == Larger {
							shown++
						}
					}
				} else if e := effect(t, o, of); e.P != nil && *e.P < 0.05 {
					shown++
				}
			}
			got := float64(shown) / float64(trials)
			t.Logf("power %.3f, promised %.3f, Monte Carlo error %.3f", got, c.want, monteCarlo)
			if got < c.want-4*monteCarlo-cost || got > c.want+4*monteCarlo {
				t.Errorf("power %.3f, promised %.3f", got, c.want)
			}
		})
	}
}

// promised is a trial of the size that was promised to have a power.
type promised struct {
	name string
	draw func(rng *rand.Rand) (*Input, string)
	pair bool // the interval of levels 0 and 1 rather than the test of all
	want float64
}

// mid is −½ for the first level, ½ for the second and 0 for all others.
func mid(level int) float64 {
	switch level {
	case 0:
		return -0.5
	case 1:
		return 0.5
	}
	return 0
}

// alongFourBins gives each level perLevel plants, in turn along four bins.
func alongFourBins(levels, perLevel int) (*Input, []int) {
	in := &Input{Bin: &Factor{Name: "bin", Levels: []string{"b0", "b1", "b2", "b3"}}}
	medium := Factor{Name: "medium"}
	for l := range levels {
		medium.Levels = append(medium.Levels, fmt.Sprint("m", l))
	}
	n := levels * perLevel
	for i := range n {
		in.Plants = append(in.Plants, fmt.Sprint("p", i))
		in.Bin.Codes = append(in.Bin.Codes, i*4/n)
		medium.Codes = append(medium.Codes, i%levels)
	}
	in.Treatments = []Treatment{{Factor: medium, SetPer: PerPlant}}
	return in, medium.Codes
}

func masses(t *testing.T) (cases []promised) {
	t.Helper()
	for _, c := range []struct {
		levels int
		ratio  float64
		sd     float64
	}{{2, 1.3, 0.25}, {3, 1.25, 0.25}, {4, 1.5, 0.3}} {
		// One covariate and three more bins than the intercept stands for.
		m := power.Means{Layout: power.Layout{Levels: c.levels, Others: 4}, SD: c.sd, Difference: math.Log(c.ratio)}
		for _, pair := range []bool{false, true} {
			find := m.Replicates
			reached := m.Power
			if pair {
				find, reached = m.PairReplicates, m.PairPower
			}
			n, err := find(0.8)
			if err != nil {
				t.Fatal(err)
			}
			cases = append(cases, promised{fmt.Sprintf("masses, %d levels, %d plants each, pair %v", c.levels, n, pair), func(rng *rand.Rand) (*Input, string) {
				in, medium := alongFourBins(c.levels, n)
				o := Outcome{Name: "mass_g", Kind: Measure, Scale: Log, Start: &Column{Name: "start_g"}}
				bins := []float64{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}
				for i := range medium {
					start := 0.3 * rng.NormFloat64()
					o.Start.Values = append(o.Start.Values, math.Exp(start))
					o.Values = append(o.Values, math.Exp(1+0.3*bins[in.Bin.Codes[i]]+0.7*start+math.Log(c.ratio)*mid(medium[i])+c.sd*rng.NormFloat64()))
				}
				in.Outcomes = []Outcome{o}
				return in, "medium"
			}, pair, reached(n)})
		}
	}
	return cases
}

func wholeBins(t *testing.T) (cases []promised) {
	t.Helper()
	for _, c := range []struct {
		levels         int
		binSD, plantSD float64
		perBin         int
	}{{2, 0.1, 0.3, 12}, {3, 0.05, 0.4, 8}} {
		sized, err := next.Size(next.Ask{SD: &Difference{Value: c.plantSD}, BinSD: &Difference{Value: c.binSD}, PlantsPerBin: c.perBin, Levels: c.levels, Difference: &Difference{Value: 0.3}})
		if err != nil {
			t.Fatal(err)
		}
		bins := *sized.BinsPerLevel
		cases = append(cases, promised{fmt.Sprintf("masses, %d levels, %d bins each", c.levels, bins), func(rng *rand.Rand) (*Input, string) {
			in := &Input{Bin: &Factor{Name: "bin"}}
			level := Factor{Name: "level"}
			for l := range c.levels {
				level.Levels = append(level.Levels, fmt.Sprint("l", l))
			}
			o := Outcome{Name: "mass_g", Kind: Measure, Scale: Natural}
			for b := range c.levels * bins {
				in.Bin.Levels = append(in.Bin.Levels, fmt.Sprint("b", b))
				own := 5 + c.binSD*rng.NormFloat64() + 0.3*mid(b%c.levels)
				for range c.perBin {
					in.Plants = append(in.Plants, fmt.Sprint("p", len(in.Plants)))
					in.Bin.Codes, level.Codes = append(in.Bin.Codes, b), append(level.Codes, b%c.levels)
					o.Values = append(o.Values, own+c.plantSD*rng.NormFloat64())
				}
			}
			in.Treatments, in.Outcomes = []Treatment{{Factor: level, SetPer: PerBin}}, []Outcome{o}
			return in, "level"
		}, false, *sized.Needs[1].Power})
	}
	return cases
}

func plantlets(t *testing.T) (cases []promised) {
	t.Helper()
	for _, c := range []struct {
		levels            int
		mean, size, ratio float64 // of the negative binomial
	}{{2, 8, 6, 1.5}, {4, 3, 1e9, 1.8}} {
		// The variance of the negative binomial is not φ times the mean; at the mean it is.
		counts := power.Counts{Layout: power.Layout{Levels: c.levels, Others: 3}, Mean: c.mean, Dispersion: 1 + c.mean/c.size, Ratio: c.ratio, Seed: 5}
		found, err := counts.Replicates(0.8)
		if err != nil {
			t.Fatal(err)
		}
		cases = append(cases, promised{fmt.Sprintf("plantlets, %d levels, %d plants each", c.levels, found.Replicates), func(rng *rand.Rand) (*Input, string) {
			in, medium := alongFourBins(c.levels, found.Replicates)
			o := Outcome{Name: "plantlets", Kind: Count}
			for i := range medium {
				mean := c.mean * math.Exp(math.Log(c.ratio)*mid(medium[i]))
				o.Values = append(o.Values, poisson(rng, mean*gamma(rng, c.size)/c.size))
			}
			in.Outcomes = []Outcome{o}
			return in, "medium"
		}, false, found.Power})
	}
	return cases
}

// gamma draws from the gamma distribution of the given shape, 1 or more, by
// rejection (Marsaglia, Tsang 2000, ACM Transactions on Mathematical Software
// 26:363–372).
func gamma(rng *rand.Rand, shape float64) float64 {
	d := shape - 1./3
	for {
		x := rng.NormFloat64()
		v := 1 + x/math.Sqrt(9*d)
		if v > 0 && math.Log(rng.Float64()) < x*x/2+d-d*v*v*v+d*math.Log(v*v*v) {
			return d * v * v * v
		}
	}
}
