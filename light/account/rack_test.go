package account_test

import (
	"math"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/account"
	"parstead/light/field"
)

// The rack of these tests: one bin of 2 × 3 under one lamp, lit from 07:00 to
// 21:00, over the change to winter time.
func lisbon(tb testing.TB) *time.Location {
	tb.Helper()
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		tb.Fatal(err)
	}
	return zone
}

func date(tb testing.TB, s string) light.Date {
	tb.Helper()
	d, err := light.ParseDate(s)
	if err != nil {
		tb.Fatal(err)
	}
	return d
}

func hours(h float64) light.TimeOfDay { return light.TimeOfDay(h * float64(time.Hour)) }

func place(row, column int) light.Position {
	return light.Position{Bin: "upper", Row: row, Column: column}
}

func newRack(tb testing.TB) *light.Rack {
	tb.Helper()
	return &light.Rack{
		Calendar: light.Calendar{Zone: lisbon(tb)},
		Starts:   date(tb, "2026-10-12"), Ends: date(tb, "2026-11-08"),
		Bins:  []light.Bin{{Name: "upper", Rows: 2, Columns: 3, Lamps: []string{"bar"}}},
		Lamps: []light.Lamp{{Name: "bar", LuxPerPPFD: 67, On: []light.TimeOfDay{hours(7)}, Off: []light.TimeOfDay{hours(21)}}},
	}
}

func quantum(name string, at light.Position) light.Sensor {
	return light.Sensor{
		Name: name, Measures: light.QuantityPPFD, Position: at, Every: 5 * time.Minute, MaxGap: 50 * time.Minute,
		Scale: 1, High: 3000, RelativeError: 0.05,
	}
}

// lamp is a square wave of the rack's lamp: PPFD while it is lit. The light of a
// day is its PPFD for 14 h, exactly: the ramps are even about the switching.
func lamp(zone *time.Location, ppfd float64) func(time.Time) float64 {
	return func(at time.Time) float64 {
		local := at.In(zone)
		if m := local.Hour()*60 + local.Minute(); m >= 7*60 && m < 21*60 {
			return ppfd
		}
		return 0
	}
}

// season are readings of the whole trial every five minutes.
func season(rack *light.Rack, ppfd func(time.Time) float64) *light.Series {
	s := &light.Series{}
	trial := rack.Trial()
	for t := trial.From.Add(-time.Hour); !t.After(trial.Until.Add(time.Hour)); t = t.Add(5 * time.Minute) {
		s.Add(t, ppfd(t), 0)
	}
	return s
}

// cut takes the readings inside the span away, but for those on its edges.
func cut(s *light.Series, from, until time.Time) {
	kept := 0
	for i, at := range s.Times {
		if at > from.UnixNano() && at < until.UnixNano() {
			continue
		}
		s.Times[kept], s.Values[kept] = at, s.Values[i]
		kept++
	}
	s.Times, s.Values = s.Times[:kept], s.Values[:kept]
}

func local(tb testing.TB, rack *light.Rack, s string) time.Time {
	tb.Helper()
	at, err := time.ParseInLocation("2006-01-02 15:04", s, rack.Zone)
	if err != nil {
		tb.Fatal(err)
	}
	return at
}

// wholeDay is 14 h of light.
func wholeDay(ppfd float64) float64 { return ppfd * 14 * 0.0036 }

func allDays(tb testing.TB, rack *light.Rack, src light.Source, o account.Options) []account.Day {
	tb.Helper()
	o.Maps = ratios
	days, err := account.New(rack, src, o).Days(tb.Context(), rack.Starts, rack.Ends)
	if err != nil {
		tb.Fatal(err)
	}
	return days
}

func find(tb testing.TB, days []account.Day, p light.Position, d string) account.Figure {
	tb.Helper()
	for _, day := range days {
		if day.Position == p && day.Date == date(tb, d) {
			return day.Figure
		}
	}
	tb.Fatalf("nothing for %s on %s", p, d)
	return account.Figure{}
}

func near(tb testing.TB, what string, got, want, tolerance float64) {
	tb.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Max(1, math.Abs(want))) {
		tb.Errorf("%s: %v, want %v", what, got, want)
	}
}

// walk is a survey of all positions in order, one a minute.
func walk(rack *light.Rack, at time.Time, ppfd ...float64) {
	for i, x := range ppfd {
		rack.Survey = append(rack.Survey, light.SurveyReading{
			At: at.Add(time.Duration(i) * time.Minute), Position: rack.Bins[0].Positions()[i], Measures: light.QuantityPPFD, Value: x,
		})
	}
}

// ratios are light maps that know the surveyed positions alone: the last reading
// over the bin's sensors, 1 at the first anchor that was surveyed, each with an
// error of 6 %. They keep these tests apart from how maps are smoothed.
func ratios(bin light.Bin, survey []field.Reading, epochs []light.Span, anchors func(time.Time) []field.Anchor) (maps []field.Map, remarks []string) {
	for _, epoch := range epochs {
		n := bin.Rows * bin.Columns
		m := field.Map{Bin: bin.Name, Method: "reading", During: epoch, Plateau: 1, OwnScale: true, Ratio: make([]float64, n), RelativeError: make([]float64, n)}
		for k := range n {
			m.Ratio[k], m.RelativeError[k] = math.NaN(), 0.06
		}
		var at time.Time
		for _, r := range survey {
			if !epoch.Holds(r.At) {
				continue
			}
			if at.IsZero() {
				at = r.At
			}
			if m.Ratio[bin.Index(r.Position)] = r.PPFD; !math.IsNaN(r.Reference) {
				m.Ratio[bin.Index(r.Position)] /= r.Reference
			}
		}
		if at.IsZero() {
			continue
		}
		if !epoch.From.IsZero() {
			m.During.From = at
		}
		sum, weights := 0.0, 0.0
		for _, a := range anchors(at) {
			if x := field.At(bin, m.Ratio, a.Position); !math.IsNaN(x) {
				sum, weights = sum+a.Weight*x, weights+a.Weight
			}
		}
		if weights > 0 {
			m.OwnScale = false
			for k := range m.Ratio {
				m.Ratio[k] *= weights / sum
			}
		}
		maps = append(maps, m)
	}
	return maps, nil
}
