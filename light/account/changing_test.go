package account

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/field"
)

// A day whose map changes with the hour, summed up for all places at once, gives each
// the figure that adding its hours one by one gives.
func TestADayOfManyMapsIsTheSumOfItsHours(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(8, 2026))
	b := &bin{Bin: light.Bin{Name: "b", Rows: 2, Columns: 3}, rack: &light.Rack{Calendar: light.Calendar{Zone: time.UTC}}}
	b.tracks = []*track{{weight: 400}}
	b.all = newPooled(b, b.tracks, true)
	for hour := range 24 {
		m := &field.Map{OwnScale: hour%5 == 0}
		for range 6 {
			m.Ratio = append(m.Ratio, 0.5+random.Float64())
			m.RelativeError = append(m.RelativeError, random.Float64())
		}
		if hour == 3 {
			m.Ratio[5] = math.NaN()
		}
		b.cells = append(b.cells, cell{m: m})
		l := cellLight{}
		if hour > 5 && hour < 20 {
			l.measured = part{mol: random.Float64(), ns: int64(50 * time.Minute), error: 0.02}
			l.profile = part{mol: random.Float64() / 9, ns: int64(5 * time.Minute), error: 0.01}
			l.timer = part{mol: random.Float64() / 9, ns: int64(4 * time.Minute), error: 0.01}
			l.profileError, l.timerError, l.meterError = 0.01, 0.02, 0.01
			l.missing = int64(time.Minute)
		} else {
			l.measured = part{ns: int64(time.Hour)}
		}
		b.light = append(b.light, l)
	}
	day := b.changing(0, 24)
	for i := range 6 {
		p := &place{index: i}
		var sum tally
		for c := range 24 {
			b.tallyBin(&sum, p, c, &b.light[c])
		}
		want, got := sum.figure(), Figure{}
		if ok := day.put(p, &got); ok != (i < 5) {
			t.Fatalf("place %d: %v", i, ok)
		}
		if i == 5 {
			continue
		}
		near := func(a, c float64) bool { return math.Abs(a-c) <= 1e-12*math.Abs(c) }
		if !near(float64(got.DLI), float64(want.DLI)) || !near(got.Filled, want.Filled) || !near(got.Error.Independent, want.Error.Independent) ||
			!near(got.Error.Bin, want.Error.Bin) || !near(got.Error.All, want.Error.All) ||
			got.Covered != want.Covered || got.Missing != want.Missing || got.Source != want.Source || got.Known != want.Known {
			t.Errorf("place %d: %+v, want %+v", i, got, want)
		}
	}
	if dark := b.changing(0, 5); dark.put(&place{}, new(Figure)) {
		t.Error("a day in the dark has no light to weigh by")
	}
}
