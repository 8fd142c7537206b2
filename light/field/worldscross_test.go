//go:build worlds

package field_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"parstead/light/internal/worlds"
)

// crossRacks is how many racks each combination of optics and size has: PARSTEAD_CROSS_RACKS=1
// is a short look. All walks, noises and places of the sensor share them.
var crossRacks = number("PARSTEAD_CROSS_RACKS", 0)

// crossSeed is the first rack's; no number of the estimator was chosen on them.
const crossSeed = 2_000_000

// crossCell is where a walk belongs in the cross.
type crossCell struct{ optics, size, walk, sensor, noise string }

func (c crossCell) String() string {
	return strings.Join([]string{c.optics, c.size, c.walk, c.sensor, c.noise}, ", ")
}

// without forgets optics, as coverage is also promised over all of them.
func (c crossCell) without() crossCell { c.optics = "all optics"; return c }

// fewNoisy is up to how many single readings a noise of 10 % may tell less.
const fewNoisy = 24

// limits are those that are promised of a combination, walked with so many readings.
func (c crossCell) limits(readings int) (least, most float64) {
	thin := c.walk == string(worlds.WalkTwo) || c.walk == string(worlds.WalkOne)
	noisy := c.noise == "10 %" && c.walk != string(worlds.WalkTwice) && readings <= fewNoisy
	if thin || noisy {
		return 0.78, 1
	}
	return 0.88, 0.995
}

// Every combination of optics, size, walk, place of the sensor and noise, on its own:
// racks of one combination are few, so that one is told where it lies beyond twice its
// Monte Carlo error, and the rest add up over the optics. It runs only when it is asked for.
func TestMapsOfEveryCombination(t *testing.T) {
	t.Parallel()
	if crossRacks == 0 {
		t.Skip("set PARSTEAD_CROSS_RACKS, to 12 say: two minutes of one core for each one")
	}
	cells, readings := map[crossCell]*cell{}, map[crossCell]int{}
	for f, family := range worlds.Families() {
		for s, size := range worlds.Sizes {
			for k := range crossRacks {
				crossRack(t, cells, readings, family, size, crossSeed+uint64(f*1000+s*50)+k)
			}
		}
	}
	keys := make([]crossCell, 0, len(cells))
	for k := range cells {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b crossCell) int { return strings.Compare(a.String(), b.String()) })
	t.Log("which | racks | median % | 95th % | stated % | covered % | racks under 80 %")
	few, many, all := 0, 0, 0
	for _, k := range keys {
		c := cells[k]
		least, most := k.limits(readings[k])
		summed := k.optics == "all optics"
		off := ""
		switch n := float64(len(c.covered)); {
		case c.coverage() < least-2*max(c.monteCarlo(), math.Sqrt(least*(1-least)/n/4)):
			off = " UNDER"
			few++
		case c.coverage() > most+2*math.Sqrt(most*(1-most)/n):
			off = " OVER"
			many++
		}
		all++
		if summed || off != "" {
			t.Logf("%-60s | %s | ±%.1f%s", k, c, 100*c.monteCarlo(), off)
		}
		if summed && off != "" {
			t.Errorf("%s: covers %.3f ± %.3f", k, c.coverage(), c.monteCarlo())
		}
	}
	t.Logf("of %d combinations %d lie under their limit and %d over it", all, few, many)
}

// crossRack walks over one rack with its sensor in the middle and in a corner.
func crossRack(t *testing.T, cells map[crossCell]*cell, readings map[crossCell]int, family string, size [2]int, seed uint64) {
	k, err := worlds.NewRack(family, size[0], size[1], seed)
	if err != nil {
		t.Fatal(err)
	}
	for sensor, at := range map[string][2]int{
		"centre": {(size[0] - 1) / 2, (size[1] - 1) / 2},
		"corner": {(size[0] - 1) * int(seed%2), (size[1] - 1) * int(seed/2%2)},
	} {
		k.Sensor, k.SensorKind = at, sensor
		for noise, meter := range map[string]worlds.Meter{
			"3 %": worlds.PlainMeter(0.03), "6 %": worlds.PlainMeter(0.06), "10 %": worlds.PlainMeter(0.10),
			"meter with habits": worlds.NewMeter(worlds.Sub(seed, "field")),
		} {
			for _, coverage := range worlds.Coverages {
				w := walkOver(k, meter, worlds.Sub(seed, "cross", len(coverage)), coverage, 1, seed)
				maps, _ := w.maps()
				if len(maps) != 1 {
					t.Fatalf("%s %v %s: %d maps", family, size, coverage, len(maps))
				}
				rows := fmt.Sprintf("%d × %d", size[0], size[1])
				if size[0] == 1 {
					rows = "one row"
				}
				key := crossCell{family, rows, string(coverage), sensor, noise}
				for _, c := range []crossCell{key, key.without()} {
					if cells[c] == nil {
						cells[c] = new(cell)
					}
					cells[c].add(maps[0], &w)
					readings[c] = max(readings[c], len(w.survey))
				}
			}
		}
	}
}
