package dli_test

import (
	"slices"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/dli"
)

// BenchmarkIntegrate compares the integration of a season with the bare rule:
// trapezoid with gaps and day cuts over arrays in memory, no scale, no range, no
// marks, no list of gaps. Both run in turn; reported is the median ratio.
func BenchmarkIntegrate(b *testing.B) {
	const n = 182
	bounds := days(light.Calendar{Zone: time.UTC}, light.Date{Year: 2026, Month: 3, Day: 2}, n)
	season := read(time.Unix(0, bounds[0]), time.Unix(0, bounds[n]), time.Minute, func(at time.Time) float64 {
		if h := at.UTC().Hour(); h >= 7 && h < 21 {
			return 100 + float64(at.Unix()%7)
		}
		return 0
	})
	stretches := quantum()
	dst := make([]dli.Light, 0, n)
	var ratios, perReading []float64
	var work light.Series
	for b.Loop() {
		start := time.Now()
		for range 20 {
			bare(season.Times, season.Values, bounds, int64(10*time.Minute))
		}
		limit := time.Since(start)
		work.Times = append(work.Times[:0], season.Times...)
		work.Values = append(work.Values[:0], season.Values...)
		start = time.Now()
		for range 20 {
			dli.Integrate(&work, stretches, bounds, dst[:0])
		}
		took := time.Since(start)
		ratios = append(ratios, float64(took)/float64(limit))
		perReading = append(perReading, float64(took.Nanoseconds())/20/float64(season.Len()))
	}
	slices.Sort(ratios)
	slices.Sort(perReading)
	b.ReportMetric(ratios[len(ratios)/2], "xlimit")
	b.ReportMetric(perReading[len(perReading)/2], "ns/reading")
}

func bare(times []int64, values []float64, bounds []int64, maxGap int64) []float64 {
	days := make([]float64, len(bounds)-1)
	day, sum := 0, 0.0
	for i := 1; i < len(times); i++ {
		t0, t1 := times[i-1], times[i]
		if t1-t0 > maxGap {
			continue
		}
		if t1 <= bounds[day+1] {
			sum += (values[i-1] + values[i]) * float64(t1-t0)
			continue
		}
		cut := values[i-1] + (values[i]-values[i-1])*float64(bounds[day+1]-t0)/float64(t1-t0)
		days[day] = sum + (values[i-1]+cut)*float64(bounds[day+1]-t0)
		day++
		sum = (cut + values[i]) * float64(t1-bounds[day])
		if day == len(days)-1 && t1 >= bounds[day+1] {
			break
		}
	}
	days[day] = sum
	return days
}
