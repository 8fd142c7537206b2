package climate_test

import (
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"

	"parstead/light/climate"
)

// examples are worked examples with their sources, see testdata/light.
type examples struct {
	DegreeDays []struct {
		Max     *float64 `json:"tmax"`
		Min     *float64 `json:"tmin"`
		Mean    *float64 `json:"tmean"`
		Base    float64  `json:"base"`
		Printed float64  `json:"printed"`
		SeenOn  string   `json:"seen_on"`
	} `json:"degree_days"`
	Pressure []struct {
		T       *float64 `json:"t"`
		Printed float64  `json:"es_kpa_printed"`
		Actual  float64  `json:"ea_kpa_printed"`
		Min     float64  `json:"tmin"`
		Max     float64  `json:"tmax"`
		RHMin   float64  `json:"rhmin"`
		RHMax   float64  `json:"rhmax"`
		SeenOn  string   `json:"seen_on"`
	} `json:"vapour_pressure"`
}

func worked(tb testing.TB) examples {
	tb.Helper()
	raw, err := os.ReadFile("../../testdata/light/worked_examples.json")
	if err != nil {
		tb.Fatal(err)
	}
	var e examples
	if err := json.Unmarshal(raw, &e); err != nil {
		tb.Fatal(err)
	}
	return e
}

// FAO-56, examples 3, 5 and 20, as printed there to three decimals.
func TestVapourPressureExamples(t *testing.T) {
	t.Parallel()
	n := 0
	for _, e := range worked(t).Pressure {
		switch {
		case e.T != nil: // saturation at one temperature
			n++
			if got := climate.SaturationVapourPressure(*e.T); math.Abs(got-e.Printed) > 0.0005 {
				t.Errorf("%v °C: %v kPa, printed %v (%s)", *e.T, got, e.Printed, e.SeenOn)
			}
		case e.RHMax != 0: // example 5: actual pressure from the day's extremes
			n++
			got := (climate.SaturationVapourPressure(e.Min)*e.RHMax + climate.SaturationVapourPressure(e.Max)*e.RHMin) / 200
			if math.Abs(got-e.Actual) > 0.005 {
				t.Errorf("example 5: %v kPa, printed %v", got, e.Actual)
			}
			// Its deficit by our own function: saturated less actual at each extreme.
			deficit := (climate.VapourPressureDeficit(e.Min, e.RHMax) + climate.VapourPressureDeficit(e.Max, e.RHMin)) / 2
			saturated := (climate.SaturationVapourPressure(e.Min) + climate.SaturationVapourPressure(e.Max)) / 2
			if math.Abs(saturated-got-deficit) > 1e-12 || math.Abs(deficit-0.91) > 0.005 { // example 6 prints 2.61 − 1.70 = 0.91
				t.Errorf("deficit %v kPa", deficit)
			}
		default: // example 20: air saturated at the lowest temperature
			n++
			if got := climate.SaturationVapourPressure(e.Min); math.Abs(got-e.Actual) > 0.005 {
				t.Errorf("example 20: %v kPa, printed %v", got, e.Actual)
			}
		}
	}
	if n < 6 {
		t.Errorf("%d examples", n)
	}
}

// Degree-days as printed by weather services and a university's lesson. The rule
// has no unit: °F examples hold as they stand. Where only a mean is printed, any
// day with that mean on one side of the base has it.
func TestDegreeDayExamples(t *testing.T) {
	t.Parallel()
	n := 0
	for _, e := range worked(t).DegreeDays {
		n++
		low, high := e.Min, e.Max
		if e.Mean != nil {
			a, b := *e.Mean-1, *e.Mean+1
			low, high = &a, &b
		}
		if got := climate.DegreeDays(*low, *high, e.Base); got != e.Printed {
			t.Errorf("%v to %v over %v: %v, printed %v (%s)", *low, *high, e.Base, got, e.Printed, e.SeenOn)
		}
	}
	if n < 4 {
		t.Errorf("%d examples", n)
	}
}

// The four cases, each by hand, and no jump between them.
func TestDegreeDayCases(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ low, high, want float64 }{
		{12, 20, 6},  // above: the mean is 16
		{2, 8, 0},    // below
		{8, 20, 4.5}, // straddling, mean 14: 10/2 − 2/4
		{2, 14, 1},   // straddling, mean 8: 4/4
		{10, 20, 5},  // just above
		{0, 10, 0},   // just below
		{6, 14, 1},   // mean at the base: 4/2 − 4/4 = 4/4
		{10, 10, 0},  // at the base all day
		{-10, -5, 0}, // frost
		{15.5, 16, 5.75},
	} {
		if got := climate.DegreeDays(c.low, c.high, 10); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%v to %v: %v, want %v", c.low, c.high, got, c.want)
		}
	}
	for low := -5.0; low < 15; low += 0.37 {
		before := 0.0
		for high := low; high < 30; high += 1.0 / 64 {
			got := climate.DegreeDays(low, high, 10)
			if got < before || high > low && got-before > 1.0/64 {
				t.Fatalf("%s: from %v to %v", strconv.FormatFloat(high, 'g', -1, 64), before, got)
			}
			before = got
			if high == low {
				before = got
			}
		}
	}
}
