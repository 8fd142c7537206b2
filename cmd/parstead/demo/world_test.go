package demo

import (
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"parstead/light"
)

func newWorld(tb testing.TB, c Config) *World {
	tb.Helper()
	w, err := New(c)
	if err != nil {
		tb.Fatal(err)
	}
	return w
}

// The scenario's figures for the light field: a CV of 18 % within a bin, and
// edge and light that can be told apart.
func TestLightWithinBins(t *testing.T) {
	t.Parallel()
	var cvs []float64
	for seed := range uint64(80) {
		w := newWorld(t, Config{Seed: seed, Days: MinDays})
		var edge, dli []float64 // centred within bins
		for i := range w.places {
			b := &w.places[i]
			if b.level == pond {
				continue
			}
			mean, sd := stat.MeanStdDev(b.field[0], nil)
			cvs = append(cvs, sd/mean)
			if target := float64(b.TargetDLI) / 14 / 3600 * 1e6; math.Abs(mean/target-1) > 0.1 {
				t.Errorf("seed %d, %s: mean PPFD %.1f, target %.1f", seed, b.Name, mean, target)
			}
			var e, l []float64
			for _, p := range w.Plants {
				if p.Dealt.Bin != b.Name || p.Guard() {
					continue
				}
				e = append(e, 0)
				if b.Edge(p.Dealt) {
					e[len(e)-1] = 1
				}
				l = append(l, float64(b.dli(b.Index(p.Dealt), 0)))
			}
			edge, dli = append(edge, centred(e)...), append(dli, centred(l)...)
		}
		r := stat.Correlation(edge, dli, nil)
		if vif := 1 / (1 - r*r); vif >= 1.5 {
			t.Errorf("seed %d: variance inflation of edge beside light %.2f, want under 1.5", seed, vif)
		}
	}
	if mean := stat.Mean(cvs, nil); math.Abs(mean-0.18) > 0.01 {
		t.Errorf("mean CV of light within a bin %.3f, want 0.18", mean)
	}
}

func centred(v []float64) []float64 {
	mean := stat.Mean(v, nil)
	c := make([]float64, len(v))
	for i := range v {
		c[i] = v[i] - mean
	}
	return c
}

// A lamp at 14 h of constant PPFD gives PPFD × 0.0504 mol m⁻² d⁻¹ (arithmetic).
func TestTrueDLI(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Config{Seed: 3})
	long := w.Rack.Day(light.Date{Year: 2025, Month: time.October, Day: 26})
	if long.Length() != 25*time.Hour {
		t.Errorf("the day the clocks change lasts %s, want 25 h", long.Length())
	}
	if day := w.dayNumber(long.From); day != 97 {
		t.Errorf("the clocks change on day %d, want 97", day)
	}
	for i := range w.places {
		b := &w.places[i]
		for _, day := range []int{1, 33, 41, 58, 80, 97, 110, 128, 150} {
			for _, cell := range []int{0, 17} {
				at := b.at(cell)
				want, step := 0.0, time.Minute
				span := w.Rack.Day(w.date(day))
				for m := span.From.Add(step / 2); m.Before(span.Until); m = m.Add(step) {
					want += float64(w.PPFD(at, m)) * step.Seconds() / 1e6
				}
				got := float64(w.DLI(at, w.date(day)))
				if math.Abs(got-want) > 2e-3*want+1e-6 {
					t.Errorf("%s on day %d: DLI %.5f, by minutes %.5f", at, day, got, want)
				}
			}
		}
	}
	if got := w.DLI(light.Position{Bin: "upper-right", Row: 1, Column: 1}, w.date(155)); got != 0 {
		t.Errorf("DLI after the season is %g", got)
	}
}

func TestEventsAreFelt(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Config{Seed: 5})
	ratio := func(bin string, cell, later, earlier int) float64 {
		at := w.place(bin).Positions()[cell]
		return float64(w.DLI(at, w.date(later)) / w.DLI(at, w.date(earlier)))
	}
	if got := ratio("upper-right", 20, 41, 39); got > 0.25 {
		t.Errorf("the day the lamp went out brought %.2f of an ordinary one", got)
	}
	if got := ratio("middle-left", 20, 58, 56); got > 0.45 {
		t.Errorf("the day of the power cut brought %.2f of an ordinary one", got)
	}
	noon := func(day int) time.Time { return w.clock(day, 13, 0) }
	b := w.place(w.season.raisedBin)
	mean := func(t time.Time) float64 {
		var sum float64
		for cell := range b.field[0] {
			sum += w.inAir(b, cell, t) / w.supplyAt(t)
		}
		return sum / float64(len(b.field[0]))
	}
	if got := mean(noon(110))/mean(noon(109)) - 1; math.Abs(got+0.11) > 0.003 {
		t.Errorf("raising the lamp changed its light by %.3f, want -0.11", got)
	}
	if got := mean(noon(128))/mean(noon(127)) - 1; math.Abs(got-0.03) > 0.003 {
		t.Errorf("wiping the lamps changed their light by %.3f, want 0.03", got)
	}
	low := w.place("lower-left")
	for day, late := range map[int]time.Duration{69: 0, 91: 47 * time.Minute, 92: 0} {
		on := w.clock(day, 7, 0).Add(late)
		if low.burning(on.Add(-time.Second)) || !low.burning(on) {
			t.Errorf("day %d: the timer of lower-left does not switch on %s late", day, late)
		}
	}
	if w.flooded("B", w.clock(87, 8, 5)) || !w.flooded("A", w.clock(87, 8, 5)) || !w.flooded("B", w.clock(89, 8, 5)) {
		t.Error("reservoir B alone misses its floods on days 86 to 88")
	}
	hottest := -1.0
	for h := range 24 {
		hottest = max(hottest, w.celsius(b, w.clock(140, h, 0)))
	}
	if math.Abs(hottest-31) > 0.1 {
		t.Errorf("day 140 reaches %.1f °C, want 31", hottest)
	}
	if got := len(w.Messages(w.clock(58, 12, 0), nil)); got != 0 {
		t.Errorf("%d messages during the power cut", got)
	}
	if got := len(w.Messages(w.season.repeated, nil)); got < 30 {
		t.Errorf("%d messages at the repeat, want the tick's and two hours' worth of copies", got)
	}
	if got := len(w.Notes()); got != 9 {
		t.Errorf("%d notes, want 9", got)
	}
}

// A season in which nothing goes wrong has no reason for any condition.
func TestQuietSeason(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Config{Seed: 5, Quiet: true})
	for i := range w.places {
		b := &w.places[i]
		for day := range w.Days {
			if got := float64(b.dli(0, day) / b.dli(0, 0)); math.Abs(got-1) > 0.08 {
				t.Errorf("%s, day %d: light at %.2f of the first day's", b.Name, day+1, got)
			}
			for h := range 24 {
				if c := w.celsius(b, w.clock(day+1, h, 0)); c < 16.8 || c > 29.2 {
					t.Errorf("%s, day %d: %.1f °C", b.Name, day+1, c)
				}
			}
		}
	}
	for _, p := range w.Plants {
		if p.Lost() || p.Reverted {
			t.Errorf("plant %s met with misfortune", p.Code)
		}
	}
}

// A survey in the dark would show nothing: every length of season walks in light.
func TestWalksMeetLight(t *testing.T) {
	t.Parallel()
	for days := MinDays; days <= FullSeason; days += 3 {
		w := newWorld(t, Config{Seed: 1, Days: days})
		for n, tour := range w.walks {
			for _, r := range tour.readings {
				if r.Value < 10 {
					t.Fatalf("%d days: walk %d reads %.1f at %s, %s", days, n+1, r.Value, r.Position, r.At)
				}
			}
		}
	}
}

func TestSensorsTellTheLight(t *testing.T) {
	t.Parallel()
	exact := newWorld(t, Config{Seed: 9, Exact: true})
	real := newWorld(t, Config{Seed: 9})
	var scales []float64
	for i := range exact.probes {
		p := &exact.probes[i]
		if !p.Measures.IsLight() {
			continue
		}
		noon := exact.clock(10, 13, 0)
		truth := exact.inAir(p.bin, p.cell, noon)
		value := p.Value(exact.raw(p, noon))
		if p.Measures == light.QuantityLux {
			value = float64(light.Lux(value).PPFD(luxPerPPFD))
		}
		if math.Abs(value/truth-1) > 5*lightNoise {
			t.Errorf("%s reads %.2f where %.2f is true", p.Name, value, truth)
		}
		q := &real.probes[i]
		scales = append(scales, q.gain*q.Scale/luxPerPPFD)
	}
	if sd := stat.StdDev(scales[:6], nil); sd == 0 || sd > 0.15 {
		t.Errorf("scales of the lux chips differ by %.3f", sd)
	}
}

// The readings are the messages: every value that is published at a tick is in
// the memory of the same tick.
func TestReadingsAreTheMessages(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Config{Seed: 2, Days: MinDays})
	m := w.Readings(Every)
	var kept, published int
	for _, s := range m.Readings {
		kept += s.Len()
		for i, mark := range s.Marks {
			if mark&light.Stale != 0 {
				kept--
			}
			if i > 0 && s.Times[i] < s.Times[i-1] {
				t.Fatal("readings out of order")
			}
		}
	}
	seen := map[string]bool{}
	copies := 0
	for at := w.Rack.Trial().From; at.Before(w.Rack.Trial().Until); at = at.Add(Every) {
		for _, msg := range w.Messages(at, nil) {
			published++
			if msg.Payload[0] != '{' {
				continue
			}
			if w.season.clockLags(at) {
				published--
				continue
			}
			key := msg.Topic + string(msg.Payload)
			if seen[key] {
				copies++
				published--
				continue
			}
			seen[key] = true
			published++ // two readings in one message
		}
	}
	if copies < 20 {
		t.Errorf("%d messages came twice, want two devices' hour", copies)
	}
	if kept != published {
		t.Errorf("%d readings kept, %d published", kept, published)
	}
}

func TestOneSeedOneWorld(t *testing.T) {
	t.Parallel()
	a, b := newWorld(t, Config{Seed: 11}), newWorld(t, Config{Seed: 11})
	other := newWorld(t, Config{Seed: 12})
	at := a.clock(60, 12, 0)
	if string(a.message(&a.posts[0], at).Payload) != string(b.message(&b.posts[0], at).Payload) {
		t.Error("one seed, two readings")
	}
	same := 0
	for i := range a.Plants {
		if a.Plants[i].BiomassG != b.Plants[i].BiomassG || a.Plants[i].Dealt != b.Plants[i].Dealt {
			t.Fatalf("one seed, two fates for plant %s", a.Plants[i].Code)
		}
		if a.Plants[i].Code == other.Plants[i].Code {
			same++
		}
	}
	if same > 80 { // the guards and a few by chance
		t.Errorf("another seed deals %d of %d plants alike", same, len(a.Plants))
	}
	if _, err := New(Config{Days: 3}); err == nil {
		t.Error("a season of three days was accepted")
	}
}

// Least squares on the truth itself finds what was planted, over many seeds:
// the mean estimate lies within four standard errors of the mean.
func TestPlantedTruth(t *testing.T) {
	t.Parallel()
	const seeds = 60
	var pumice, slope, edge, cultivar []float64
	for seed := range uint64(seeds) {
		w := newWorld(t, Config{Seed: 1000 + seed, Days: 60})
		var rows [][]float64
		var y []float64
		var a, b, na, nb float64
		for _, p := range w.Plants {
			if p.Guard() || p.Species != Streptocarpus || p.Lost() {
				continue
			}
			row := make([]float64, 10) // bins, pumice, start, edge, saturation
			for i := range 6 {
				if w.places[i].Name == p.Dealt.Bin {
					row[i] = 1
				}
			}
			if p.Medium == "pumice" {
				row[6] = 1
			}
			row[7] = math.Log(p.StartG)
			if w.place(p.Dealt.Bin).Edge(p.Dealt) {
				row[8] = 1
			}
			row[9] = math.Log(p.MeanDLI / (HalfSaturation + p.MeanDLI))
			rows, y = append(rows, row), append(y, math.Log(p.BiomassG))
			rate := float64(p.Plantlets) / math.Pow(p.MeanDLI/PlantletsAt, PlantletsPower)
			if p.Cultivar == "A" {
				a, na = a+rate, na+1
			} else {
				b, nb = b+rate, nb+1
			}
		}
		x := mat.NewDense(len(rows), 10, nil)
		for i, row := range rows {
			x.SetRow(i, row)
		}
		var beta mat.VecDense
		if err := beta.SolveVec(x, mat.NewVecDense(len(y), y)); err != nil {
			t.Fatal(err)
		}
		pumice, slope = append(pumice, beta.AtVec(6)), append(slope, beta.AtVec(7))
		edge, cultivar = append(edge, beta.AtVec(8)), append(cultivar, b/nb/(a/na))
	}
	for _, c := range []struct {
		what string
		got  []float64
		want float64
	}{
		{"log effect of pumice", pumice, math.Log(PumiceFactor)},
		{"slope of log start", slope, StartSlope},
		{"log effect of the edge", edge, math.Log(EdgeFactor)},
		{"ratio of plantlets, B to A", cultivar, CultivarBFactor},
	} {
		mean, sd := stat.MeanStdDev(c.got, nil)
		if se := sd / math.Sqrt(seeds); math.Abs(mean-c.want) > 4*se {
			t.Errorf("%s: %.4f ± %.4f over %d seeds, planted %.4f", c.what, mean, se, seeds, c.want)
		}
	}
}

func TestFatesAreCounted(t *testing.T) {
	t.Parallel()
	for seed := range uint64(20) {
		w := newWorld(t, Config{Seed: seed})
		n := map[string]int{}
		for _, p := range w.Plants {
			if p.Guard() {
				n["guard"]++
				continue
			}
			n[p.Species]++
			if p.Species != marsilea {
				n[p.Medium]++
			}
			if p.Cause == "rot" {
				n["rot"]++
				if p.Medium == "sphagnum" {
					n["rot on sphagnum"]++
				}
			}
			if p.Cause == "accident" {
				n["accident"]++
			}
			if p.Reverted {
				n["reverted"]++
			}
		}
		for what, want := range map[string]int{
			"guard": 42, Streptocarpus: 144, peperomia: 144, marsilea: 40,
			"coir": 72, "pumice": 72, "bark": 72, "sphagnum": 72,
			"rot": 13, "rot on sphagnum": 11, "accident": 1, "reverted": 8,
		} {
			if n[what] != want {
				t.Errorf("seed %d: %d of %s, want %d", seed, n[what], what, want)
			}
		}
		moved := 0
		for _, p := range w.Plants {
			moved += len(p.stays) - 1
		}
		if moved != 2 {
			t.Errorf("seed %d: %d moves, want 2", seed, moved)
		}
	}
}

// Six bins share three light levels, a shelf of two lacking one; within a bin
// every medium falls on six plants of each species, cultivars in halves.
func TestDealIsBalanced(t *testing.T) {
	t.Parallel()
	for seed := range uint64(20) {
		w := newWorld(t, Config{Seed: seed})
		bins, shelves := map[string]int{}, map[string]string{}
		for _, b := range w.places {
			bins[b.level]++
			if shelves[b.Block] == b.level {
				t.Errorf("seed %d: both bins of the %s shelf are %s", seed, b.Block, b.level)
			}
			shelves[b.Block] = b.level
		}
		if bins["low"] != 2 || bins["mid"] != 2 || bins["high"] != 2 || bins[pond] != 1 {
			t.Errorf("seed %d: bins by level %v", seed, bins)
		}
		cells := map[[3]string]int{}
		for _, p := range w.Plants {
			if p.Guard() && !w.place(p.Dealt.Bin).Edge(p.Dealt) {
				t.Errorf("seed %d: guard %s stands at %s", seed, p.Code, p.Dealt)
			}
			if !p.Guard() && p.Species != marsilea {
				cells[[3]string{p.Dealt.Bin, p.Cultivar, p.Medium}]++
				if w.place(p.Dealt.Bin).Index(p.Dealt) == w.sensorCell(w.place(p.Dealt.Bin)) {
					t.Errorf("seed %d: %s stands on the sensor at %s", seed, p.Code, p.Dealt)
				}
			}
		}
		if len(cells) != 6*3*4 {
			t.Errorf("seed %d: %d cells of bin, cultivar and medium", seed, len(cells))
		}
		for cell, n := range cells {
			want := 3
			if cell[1] == "variegated" {
				want = 6
			}
			if n != want {
				t.Errorf("seed %d: %d plants in %v, want %d", seed, n, cell, want)
			}
		}
	}
}

func BenchmarkWorld(b *testing.B) {
	for i := range b.N {
		newWorld(b, Config{Seed: uint64(i)})
	}
}

func BenchmarkReadings(b *testing.B) {
	w := newWorld(b, Config{Seed: 1})
	for b.Loop() {
		w.Readings(Every)
	}
}
