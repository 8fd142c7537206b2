package account_test

import (
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/account"
	"parstead/light/daylight"
	"parstead/light/field"
)

// bigRack has bins of 7 × 8, one quantum sensor each, read once a minute, walked
// twice, with a lamp moved half way and an outage a month.
func bigRack(b *testing.B, bins, days int) (*light.Rack, *light.Memory) {
	b.Helper()
	rack := newRack(b)
	rack.Ends = rack.Starts.Add(days - 1)
	rack.Bins = nil
	src := &light.Memory{Readings: map[string]*light.Series{}}
	trial := rack.Trial()
	random := rand.New(rand.NewPCG(5, 2026))
	lit := lamp(rack.Zone, 1)
	shape := make([]float64, 0, days*1440)
	for t := trial.From; !t.After(trial.Until); t = t.Add(time.Minute) {
		shape = append(shape, lit(t))
	}
	for i := range bins {
		name := fmt.Sprintf("bin %d", i)
		bin := light.Bin{Name: name, Rows: 7, Columns: 8, PitchRows: 6, PitchColumns: 6, Lamps: []string{"bar"}}
		rack.Bins = append(rack.Bins, bin)
		rack.Sensors = append(rack.Sensors, quantum(name, light.Position{Bin: name, Row: 4, Column: 4}))
		s := &light.Series{}
		for k, x := range shape {
			if k%43200 > 40000 && k%43200 < 40600 {
				continue
			}
			s.Add(trial.From.Add(time.Duration(k)*time.Minute), x*(100+float64(random.IntN(8))), 0)
		}
		src.Readings[name] = s
		for _, day := range []int{1, days/2 + 1} {
			at := light.TimeOfDay(10*time.Hour).On(rack.Starts.Add(min(day, days-1)), rack.Zone)
			for k, p := range bin.Positions() {
				x, y := float64(p.Column)-4-float64(i%3), float64(p.Row)-3.5 // a lamp off the middle
				rack.Survey = append(rack.Survey, light.SurveyReading{
					At: at.Add(time.Duration(k) * 20 * time.Second), Position: p, Measures: light.QuantityPPFD,
					Value: 110 / (1 + (x*x/3+y*y)/25) * (1 + 0.06*random.NormFloat64()),
				})
			}
		}
	}
	src.Log = []light.Event{{ID: 1, Kind: light.LampMoved, At: rack.Day(rack.Starts.Add(days / 2)).From}}
	return rack, src
}

// BenchmarkSeason compares the whole account of a season, light maps, epochs and
// filling included, with the bare rule over the same arrays. Reading is a copy
// out of memory here; a store adds its decoding.
func BenchmarkSeason(b *testing.B) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1)) // the limit has one thread too
	rack, src := bigRack(b, 8, 182)
	benchmarkSeason(b, rack, src)
}

// BenchmarkSeasonOfEverything is the same with half of the sensors lux chips under a
// lamp's factor, a scale and an offset each, and two bins in the sun, walked at five
// hours.
func BenchmarkSeasonOfEverything(b *testing.B) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	rack, src := bigRack(b, 8, 182)
	for i := range rack.Sensors {
		if i%2 == 1 {
			s := &rack.Sensors[i]
			s.Measures, s.Scale, s.Offset = light.QuantityLux, 1.02*67, -1
			s.Low, s.High = s.Measures.Valid()
		}
	}
	rack.Lamps[0].LuxPerPPFD = 67
	for i := range 2 {
		rack.Bins[i].Daylight = light.Sunlit
		for n, hour := range []int{8, 11, 13, 16, 18} {
			at := light.TimeOfDay(time.Duration(hour)*time.Hour).On(rack.Starts.Add(3+n), rack.Zone)
			for k, p := range rack.Bins[i].Positions() {
				rack.Survey = append(rack.Survey, light.SurveyReading{
					At: at.Add(time.Duration(k) * 20 * time.Second), Position: p, Measures: light.QuantityPPFD,
					Value: 80 + float64((k*7+n*11)%40),
				})
			}
		}
	}
	benchmarkSeason(b, rack, src)
}

// benchmarkSeason reports the ratio with all light maps made anew (xfirst) and with
// those kept that were made before, as a daemon and a page have them (xlimit).
func benchmarkSeason(b *testing.B, rack *light.Rack, src *light.Memory) {
	b.Helper()
	n := 0
	for _, s := range src.Readings {
		n += s.Len()
	}
	var bounds []int64
	for d := rack.Starts; !rack.Ends.Before(d); d = d.Add(1) {
		bounds = append(bounds, rack.Day(d).From.UnixNano())
	}
	bounds = append(bounds, rack.Trial().Until.UnixNano())
	took := func(o account.Options) time.Duration {
		start := time.Now()
		if _, err := account.New(rack, src, o).Days(b.Context(), rack.Starts, rack.Ends); err != nil {
			b.Fatal(err)
		}
		return time.Since(start)
	}
	kept := account.Options{Maps: new(field.Kept).Maps, Suns: new(daylight.Kept)}
	took(kept)
	var first, ratios, each []float64
	for b.Loop() {
		start := time.Now()
		for _, s := range src.Readings {
			bare(s, bounds)
		}
		limit := time.Since(start)
		again := took(kept)
		ratios = append(ratios, float64(again)/float64(limit))
		each = append(each, float64(again.Nanoseconds())/float64(n))
		first = append(first, float64(took(account.Options{}))/float64(limit))
	}
	b.ReportMetric(median(ratios), "xlimit")
	b.ReportMetric(median(first), "xfirst")
	b.ReportMetric(median(each), "ns/reading")
}

// BenchmarkOneMoreDay compares the cost of one day at the end of a long trial
// with that at the end of a short one.
func BenchmarkOneMoreDay(b *testing.B) {
	short, shortSrc := bigRack(b, 2, 10)
	long, longSrc := bigRack(b, 2, 200)
	day := func(rack *light.Rack, src light.Source) time.Duration {
		start := time.Now()
		for range 20 {
			if _, err := account.New(rack, src, account.Options{}).Days(b.Context(), rack.Ends, rack.Ends); err != nil {
				b.Fatal(err)
			}
		}
		return time.Since(start)
	}
	var ratios []float64
	for b.Loop() {
		limit := day(short, shortSrc)
		ratios = append(ratios, float64(day(long, longSrc))/float64(limit))
	}
	b.ReportMetric(median(ratios), "xshort")
}

func median(x []float64) float64 { return slices.Sorted(slices.Values(x))[len(x)/2] }

// bare is the rule alone: trapezoid, gaps, day cuts.
func bare(s *light.Series, bounds []int64) []float64 {
	days := make([]float64, len(bounds)-1)
	day, sum := 0, 0.0
	for i := 1; i < len(s.Times); i++ {
		t0, t1 := s.Times[i-1], s.Times[i]
		if t1-t0 > int64(10*time.Minute) {
			continue
		}
		for t0 >= bounds[day+1] { // a reading on the boundary, or days lost in a gap
			days[day], sum = sum, 0
			day++
		}
		if t1 <= bounds[day+1] {
			sum += (s.Values[i-1] + s.Values[i]) * float64(t1-t0)
			continue
		}
		cut := s.Values[i-1] + (s.Values[i]-s.Values[i-1])*float64(bounds[day+1]-t0)/float64(t1-t0)
		days[day] = sum + (s.Values[i-1]+cut)*float64(bounds[day+1]-t0)
		day++
		sum = (cut + s.Values[i]) * float64(t1-bounds[day])
	}
	days[day] = sum
	return days
}

// BenchmarkSensorEverywhere is a rack of two bins of 9 × 9 with a sensor at every
// position, read once a minute for 200 days: 46.7 million readings (one series,
// read 162 times), on one thread and on two, against the bare rule on one.
func BenchmarkSensorEverywhere(b *testing.B) {
	rack, src := bigRack(b, 1, 200)
	shared := src.Readings["bin 0"]
	rack.Bins, rack.Sensors, rack.Survey, src.Log = nil, nil, nil, nil
	for _, name := range []string{"left", "right"} {
		bin := light.Bin{Name: name, Rows: 9, Columns: 9, PitchRows: 6, PitchColumns: 6, Lamps: []string{"bar"}}
		rack.Bins = append(rack.Bins, bin)
		for _, p := range bin.Positions() {
			s := quantum(p.String(), p)
			rack.Sensors = append(rack.Sensors, s)
			src.Readings[s.Name] = shared
		}
	}
	var bounds []int64
	for d := rack.Starts; !rack.Ends.Before(d); d = d.Add(1) {
		bounds = append(bounds, rack.Day(d).From.UnixNano())
	}
	bounds = append(bounds, rack.Trial().Until.UnixNano())
	for _, threads := range []int{1, 2} {
		b.Run(fmt.Sprint(threads, "threads"), func(b *testing.B) {
			defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(threads))
			var ratios []float64
			for b.Loop() {
				start := time.Now()
				for range rack.Sensors {
					bare(shared, bounds)
				}
				limit := time.Since(start)
				start = time.Now()
				if _, err := account.New(rack, src, account.Options{}).Days(b.Context(), rack.Starts, rack.Ends); err != nil {
					b.Fatal(err)
				}
				ratios = append(ratios, float64(time.Since(start))/float64(limit))
			}
			b.ReportMetric(median(ratios), "xlimit")
		})
	}
}
