package page

import (
	"html/template"
	"math"
	"slices"
	"strings"
	"sync"

	"parstead/light"
	"parstead/light/account"
)

// Season is a bin's light on the light days that are over, from the trial's start
// on. Once it is filled it stays as it is, so that many views share it and what is
// drawn of it.
type Season struct {
	Bin          light.Bin
	Calendar     light.Calendar
	Starts, Ends light.Date
	Days         []account.BinDay // in order of date
	Events       []light.Event    // of the bin's light, in order of time

	places [][]PlaceDay // by light.Bin.Index; nil where nothing is known

	sum   sync.Once
	means []Figure // by light.Bin.Index

	draw  sync.Once
	drawn template.HTML

	mu     sync.Mutex
	charts map[int]template.HTML // of places, by index; drawn as they are asked for
}

// PlaceDay is the light of one position on one light day. Many are held at once.
type PlaceDay struct {
	DLI, Error      float32 // mol m⁻² d⁻¹; one standard deviation, as a share
	Filled, Missing float32 // shares, of DLI and of the day's length
	Source          account.Source
	Known           bool
}

// NewSeason begins a bin's season.
func NewSeason(bin light.Bin, rack *light.Rack, events []light.Event) *Season {
	return &Season{
		Bin: bin, Calendar: rack.Calendar, Starts: rack.Starts, Ends: rack.Ends, Events: events,
		places: make([][]PlaceDay, bin.Rows*bin.Columns),
	}
}

// AddPlace adds a day of the position with that index, later than those before.
func (s *Season) AddPlace(index int, d account.Day) {
	n := s.Starts.DaysUntil(d.Date)
	days := slices.Grow(s.places[index], n+1-len(s.places[index]))
	for len(days) <= n {
		days = append(days, PlaceDay{})
	}
	days[n] = PlaceDay{
		DLI: float32(d.DLI), Error: float32(d.Error.Total()), Filled: float32(d.Filled), Missing: float32(d.Missing),
		Source: d.Source, Known: d.Known,
	}
	s.places[index] = days
}

// Place is the light of the position with that index, a day each from the trial's
// start on.
func (s *Season) Place(index int) []PlaceDay { return s.places[index] }

// Means are what the bin's places got a day, in the mean of the days that are known,
// by light.Bin.Index; they are made once. The error is that of a usual day: most of it
// is the light map's, which does not shrink in a mean.
func (s *Season) Means() []Figure {
	s.sum.Do(func() {
		s.means = make([]Figure, len(s.places))
		for i, days := range s.places {
			s.means[i] = meanOf(days)
		}
	})
	return s.means
}

func meanOf(days []PlaceDay) (f Figure) {
	var by [len(sourceOrder) + 1]int
	sum, filled, errs, n := 0.0, 0.0, 0.0, 0
	for _, d := range days {
		if d.Known {
			x := float64(d.DLI)
			sum, filled, errs, n = sum+x, filled+x*float64(d.Filled), errs+float64(d.Error), n+1
			by[d.Source]++
		}
	}
	if n == 0 {
		return f
	}
	f = Figure{DLI: light.DLI(sum / float64(n)), Known: true, Error: errs / float64(n)}
	if sum > 0 {
		f.Filled = filled / sum
	}
	most := sourceOrder[0]
	for _, source := range sourceOrder {
		if by[source] > by[most] {
			most = source
		}
	}
	f.Source, f.Measured = most.String(), most == account.FromSensor
	return f
}

// offTarget counts the known days that were off the bin's target by more than a share
// of it, and all that are known.
func (s *Season) offTarget(share float64) (off, of int) {
	if s.Bin.TargetDLI <= 0 || share <= 0 {
		return 0, 0
	}
	for _, d := range s.Days {
		if d.Known {
			of++
			if math.Abs(float64(d.Mean/s.Bin.TargetDLI)-1) > share {
				off++
			}
		}
	}
	return off, of
}

// Chart is the bin's season as a picture: every day against the target, with gaps
// and events. It is drawn once.
func (s *Season) Chart() template.HTML {
	s.draw.Do(func() {
		c := newChart(s)
		c.target = float64(s.Bin.TargetDLI)
		for _, d := range s.Days {
			c.add(s.Starts.DaysUntil(d.Date), point{
				known: d.Known, value: float64(d.Mean), low: float64(d.Mean), high: float64(d.Mean), estimated: d.Filled > mostlyFilled,
			})
		}
		s.drawn = c.svg("Light of bin " + s.Bin.Name)
	})
	return s.drawn
}

// mostCharts bounds the drawn places that are held: some kilobytes each.
const mostCharts = 64

// PlaceChart is the season of the position with that index as a picture, with the
// error of each day.
func (s *Season) PlaceChart(index int, title string) template.HTML {
	s.mu.Lock()
	defer s.mu.Unlock()
	if drawn, known := s.charts[index]; known {
		return drawn
	}
	if len(s.charts) >= mostCharts || s.charts == nil {
		s.charts = map[int]template.HTML{}
	}
	c := newChart(s)
	for d, day := range s.places[index] {
		c.add(d, day.point())
	}
	s.charts[index] = c.svg(title)
	return s.charts[index]
}

// point is a place's day in a picture, with the 95 % interval of its error.
func (d PlaceDay) point() point {
	x := float64(d.DLI)
	off := math.Exp(1.96 * float64(d.Error))
	return point{known: d.Known, value: x, low: x / off, high: x * off, estimated: d.Filled > mostlyFilled}
}

// mostlyFilled is the share of a day's light beyond which the day counts as
// estimated.
const mostlyFilled = 0.5

// happened are the days on which something happened, in order, with what.
type happened struct {
	Number int
	Date   light.Date
	Words  []string
	Events []light.Event
}

// Happenings are the season's events by day, as they are numbered in the chart.
func (s *Season) Happenings() (list []happened) {
	for _, e := range s.Events {
		at := e.At
		if !e.During.From.IsZero() {
			at = e.During.From
		}
		date := s.Calendar.DateAt(at)
		if date.Before(s.Starts) || s.Ends.Before(date) {
			continue
		}
		i := slices.IndexFunc(list, func(h happened) bool { return h.Date == date })
		if i < 0 {
			i, list = len(list), append(list, happened{Date: date})
		}
		list[i].Events = append(list[i].Events, e)
		if words := shortWords(e); !slices.Contains(list[i].Words, words) {
			list[i].Words = append(list[i].Words, words)
		}
	}
	slices.SortStableFunc(list, func(a, b happened) int { return b.Date.DaysUntil(a.Date) })
	for i := range list {
		list[i].Number = i + 1
	}
	return list
}

// longestWords is how much of a note stands under a chart; the log has all of it.
const longestWords = 32

// shortWords is an event in very few words: its kind, or the beginning of a note
// that has none.
func shortWords(e light.Event) string {
	if e.Kind != light.Other {
		return strings.ReplaceAll(string(e.Kind), "_", " ")
	}
	words := []rune(e.Text)
	if len(words) <= longestWords {
		return string(words)
	}
	return strings.TrimRight(string(words[:longestWords]), " ,;:") + "…"
}
