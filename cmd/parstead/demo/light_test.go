package demo

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/account"
	"parstead/light/field"
)

// The light account against the light that the simulated lamps truly gave:
// handheld surveys of half of the positions, supply drift, dust, a stuck chip, a
// lamp that fails, a power cut, a timer that drifts, a lamp raised and all wiped.

// accuracy is how far an account was off at positions without a sensor.
type accuracy struct {
	off     []float64 // |estimate / truth − 1|
	inside  []float64 // share of each rack's days within the stated 95 % interval
	unknown int
}

func (a *accuracy) add(other accuracy) {
	a.off, a.inside, a.unknown = append(a.off, other.off...), append(a.inside, other.inside...), a.unknown+other.unknown
}

// share is the q-th part of the errors, in order.
func (a *accuracy) share(q float64) float64 {
	slices.Sort(a.off)
	return a.off[int(q*float64(len(a.off)-1))]
}

// coverage is the share of days inside their interval, with its Monte Carlo
// standard error: racks are independent, days of one are not.
func (a *accuracy) coverage() (mean, se float64) {
	n := float64(len(a.inside))
	squares := 0.0
	for _, x := range a.inside {
		mean += x / n
	}
	for _, x := range a.inside {
		squares += (x - mean) * (x - mean)
	}
	return mean, math.Sqrt(squares / (n - 1) / n)
}

func (a *accuracy) String() string {
	mean, se := a.coverage()
	return fmt.Sprintf("%s, 95 %% interval covers %.1f %% (± %.1f), %d days unknown of %d",
		a.errors(), 100*mean, 100*se, a.unknown, len(a.off)+a.unknown)
}

func (a *accuracy) errors() string {
	return fmt.Sprintf("median %.2f %%, 95th percentile %.2f %%", 100*a.share(0.5), 100*a.share(0.95))
}

// judge compares one way to make maps with the truth.
func judge(tb testing.TB, w *World, src light.Source, maps account.Maps, from ...account.Source) accuracy {
	tb.Helper()
	days, err := account.New(&w.Rack, src, account.Options{Maps: maps}).Days(tb.Context(), w.Rack.Starts, w.Rack.Ends)
	if err != nil {
		tb.Fatal(err)
	}
	measured := map[light.Position]bool{}
	for _, s := range w.Rack.Sensors {
		measured[s.Position] = measured[s.Position] || s.Measures.IsLight()
	}
	var a accuracy
	inside := 0.0
	for _, d := range days {
		if measured[d.Position] || len(from) > 0 && !slices.Contains(from, d.Source) {
			continue
		}
		truth := float64(w.DLI(d.Position, d.Date))
		if !d.Known || d.Missing > 0.001 {
			a.unknown++
			continue
		}
		e := math.Abs(float64(d.DLI)/truth - 1)
		if truth == 0 {
			e = float64(d.DLI)
		}
		a.off = append(a.off, e)
		if math.Abs(float64(d.DLI)-truth) <= 1.96*d.Error.Total()*float64(d.DLI)+1e-9 {
			inside++
		}
	}
	a.inside = []float64{inside / float64(len(a.off))}
	return a
}

// nearest and even are what a grower would do with the same walks without a
// model: the value of the nearest surveyed position, and one value for the bin.
func nearest(bin light.Bin, survey []field.Reading, epochs []light.Span, anchors func(time.Time) []field.Anchor) ([]field.Map, []string) {
	return plainMaps(bin, survey, epochs, anchors, nearestValue)
}

func even(bin light.Bin, survey []field.Reading, epochs []light.Span, anchors func(time.Time) []field.Anchor) ([]field.Map, []string) {
	return plainMaps(bin, survey, epochs, anchors, func(bin light.Bin, _ light.Position, mean map[light.Position]float64) float64 {
		sum := 0.0
		for _, p := range bin.Positions() {
			sum += mean[p]
		}
		return sum / float64(len(mean))
	})
}

// nearestValue is the mean of the nearest surveyed positions, several if they
// are as near.
func nearestValue(bin light.Bin, at light.Position, mean map[light.Position]float64) float64 {
	least, sum, n := math.Inf(1), 0.0, 0.0
	for _, p := range bin.Positions() {
		x, ok := mean[p]
		d := math.Hypot(float64(p.Row-at.Row), float64(p.Column-at.Column))
		switch {
		case !ok || d > least:
		case d < least:
			least, sum, n = d, x, 1
		default:
			sum, n = sum+x, n+1
		}
	}
	return sum / n
}

func plainMaps(bin light.Bin, survey []field.Reading, epochs []light.Span, anchors func(time.Time) []field.Anchor, value func(light.Bin, light.Position, map[light.Position]float64) float64) (maps []field.Map, remarks []string) {
	for _, epoch := range epochs {
		sum, n := map[light.Position]float64{}, map[light.Position]float64{}
		// To its own scale, so that the account does not put it to that of the
		// position of the sensor, which one value a bin knows nothing of.
		m := field.Map{Bin: bin.Name, During: epoch, OwnScale: true}
		for _, r := range survey {
			if !epoch.Holds(r.At) {
				continue
			}
			if len(n) == 0 && !epoch.From.IsZero() {
				m.During.From = r.At
			}
			sum[r.Position] += r.PPFD / r.Reference
			n[r.Position]++
			m.Walked = r.At
		}
		if len(n) == 0 {
			continue
		}
		for p := range sum {
			sum[p] /= n[p]
		}
		for _, p := range bin.Positions() {
			m.Ratio = append(m.Ratio, value(bin, p, sum))
			m.RelativeError = append(m.RelativeError, 0) // these claim none
		}
		at := nearestValue(bin, anchors(m.Walked)[0].Position, sum)
		for i := range m.Ratio {
			m.Ratio[i] /= at
		}
		maps = append(maps, m)
	}
	return maps, nil
}

// exact is a rack whose sensors' scales are right, and are said to be.
func exact(tb testing.TB, seed uint64, days int) *World {
	tb.Helper()
	w := newWorld(tb, Config{Seed: seed, Days: days, Exact: true})
	for i := range w.Rack.Sensors {
		w.Rack.Sensors[i].RelativeError = 0
	}
	return w
}

// A few racks; TestLightOfTwoHundredRacks plays the many.
func TestLightIsAsExactAsItSays(t *testing.T) {
	t.Parallel()
	var mapped, plain accuracy
	for seed := range uint64(6) {
		w := exact(t, seed, MinDays)
		src := w.Readings(Every)
		mapped.add(judge(t, w, src, nil))
		plain.add(judge(t, w, src, even))
	}
	t.Logf("light map: %s", &mapped)
	t.Logf("one value a bin: %s", plain.errors())
	if mapped.share(0.5) > 0.025 || mapped.share(0.95) > 0.07 {
		t.Errorf("median %.3f, 95th percentile %.3f", mapped.share(0.5), mapped.share(0.95))
	}
	if cover, _ := mapped.coverage(); cover < 0.9 {
		t.Errorf("the stated interval covers %.3f", cover)
	}
	if plain.share(0.5) < 2*mapped.share(0.5) {
		t.Errorf("a light map is hardly better than one value a bin: %.3f against %.3f", mapped.share(0.5), plain.share(0.5))
	}
}
