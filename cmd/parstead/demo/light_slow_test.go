//go:build slow

package demo

import (
	"sync"
	"testing"

	"parstead/light/account"
)

const racks = 200

// over plays the racks on all processors and adds up what play finds in each.
func over(play func(seed uint64) []accuracy, n int) []accuracy {
	found := make([][]accuracy, racks)
	seeds := make(chan int)
	var workers sync.WaitGroup
	for range 2 {
		workers.Go(func() {
			for i := range seeds {
				found[i] = play(uint64(i))
			}
		})
	}
	for i := range racks {
		seeds <- i
	}
	close(seeds)
	workers.Wait()
	sums := make([]accuracy, n)
	for _, f := range found {
		for k := range f {
			if len(f[k].off) > 0 {
				sums[k].add(f[k])
			}
		}
	}
	return sums
}

// Errors relative to the sensors' own scale, their calibration error set to zero.
func TestLightOfTwoHundredRacks(t *testing.T) {
	sums := over(func(seed uint64) []accuracy {
		w := exact(t, seed, MinDays)
		src := w.Readings(Every)
		return []accuracy{
			judge(t, w, src, nil), judge(t, w, src, nearest), judge(t, w, src, even),
			judge(t, w, src, nil, account.FromMap), judge(t, w, src, nil, account.FromBin),
		}
	}, 5)
	t.Logf("light account: %s", &sums[0])
	t.Logf("nearest surveyed value: %s", sums[1].errors())
	t.Logf("mean of the bin: %s", sums[2].errors())
	t.Logf("of the account, from maps: %s", &sums[3])
	t.Logf("of the account, without a map: %s", &sums[4])
	if sums[0].share(0.5) > 0.025 || sums[0].share(0.95) > 0.07 {
		t.Errorf("median %.4f, 95th percentile %.4f", sums[0].share(0.5), sums[0].share(0.95))
	}
	if cover, _ := sums[0].coverage(); cover < 0.92 || cover > 0.98 {
		t.Errorf("the stated 95 %% interval covers %.3f", cover)
	}
	for _, k := range []int{1, 2} {
		if sums[k].share(0.5) < sums[0].share(0.5) {
			t.Errorf("better without a model: %.4f against %.4f", sums[k].share(0.5), sums[0].share(0.5))
		}
	}
}

// With the sensors' calibration error, which a rack's days share: coverage is
// across racks.
func TestLightOfTwoHundredUncertainRacks(t *testing.T) {
	sums := over(func(seed uint64) []accuracy {
		w := newWorld(t, Config{Seed: seed, Days: MinDays})
		return []accuracy{judge(t, w, w.Readings(Every), nil)}
	}, 1)
	t.Logf("%s", &sums[0])
	if cover, se := sums[0].coverage(); cover < 0.92-2*se || cover > 0.98+2*se {
		t.Errorf("the stated 95 %% interval covers %.3f ± %.3f", cover, se)
	}
}
