package account

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"parstead/light"
)

// PlantStay is where a plant stood, and the last light day that counts for it.
type PlantStay struct {
	Code  string
	Stays []light.Stay
	Until light.Date
}

// Window chooses some of a plant's light days: its first or last so many, or
// those between two dates, both included. The zero window is all of them.
type Window struct {
	First, Last int
	From, To    light.Date
}

// Of is the first and last day that the window takes out of a plant's days.
func (w Window) Of(first, last light.Date) (from, to light.Date) {
	from, to = first, last
	switch {
	case w.First > 0:
		to = light.Earlier(last, first.Add(w.First-1))
	case w.Last > 0:
		from = light.Later(first, last.Add(1-w.Last))
	case !w.From.IsZero():
		from, to = light.Later(first, w.From), light.Earlier(last, w.To)
	}
	return from, to
}

// PlantLight is the light that one plant got.
type PlantLight struct {
	Code   string
	Trial  Summary // from the trial's start to the plant's last day
	Window Summary // the chosen window of it
}

// Summary is a plant's light over some light days. Means are over whole days: a
// day of which more than a thousandth is missing counts in Total alone, and so
// does the day on which a plant came or went at another hour than days begin.
type Summary struct {
	Days    int       // light days asked for
	Whole   int       // of these, days whose light is known as a whole
	Known   bool      // whether there is any such day; else MeanDLI, Error and Source mean nothing
	MeanDLI light.DLI // mol m⁻² d⁻¹
	Spread  light.DLI // standard deviation between days; NaN for fewer than two
	Total   light.DLI // mol m⁻², whatever is known
	Covered float64   // share of the days' length that readings bridge
	Filled  float64   // share of Total that was estimated
	Missing float64   // share of the days' length that is neither

	Photoperiod float64 // hours a day above 1 µmol m⁻² s⁻¹, over days that one sensor covers; NaN if none
	HoursAbove  float64 // hours a day above Options.Level, likewise; NaN if not wanted

	Error   Error // of MeanDLI
	Source  Source
	Sources [FromTimer + 1]float64 // share of Total by source
}

// photoperiodLevel is the PPFD in µmol m⁻² s⁻¹ from which a plant's day is light
// (common practice, no source).
const photoperiodLevel = 1

// Plants gives the light of plants: of the positions they held, while they held
// them, from the trial's start to each one's last day. A running day does not
// count. The result is in the order of the plants.
//
// Errors: those of Days, and a stay in a bin that the rack does not have.
func (a *Account) Plants(ctx context.Context, plants []PlantStay, w Window) ([]PlantLight, error) {
	lights, _, err := a.PlantsAndRemarks(ctx, plants, w)
	return lights, err
}

// PlantsAndRemarks is Plants together with the remarks that Season would make.
func (a *Account) PlantsAndRemarks(ctx context.Context, plants []PlantStay, w Window) ([]PlantLight, []string, error) {
	last := a.rack.Starts.Add(-1)
	var cuts []int64
	for _, p := range plants {
		last = light.Later(last, light.Earlier(p.Until, a.rack.Ends))
		for _, s := range p.Stays {
			if _, ok := a.rack.Bin(s.Position.Bin); !ok {
				return nil, nil, fmt.Errorf("plant %s stands in bin %s, which the trial does not have: correct its place", p.Code, s.Position.Bin)
			}
			for _, t := range []time.Time{s.During.From, s.During.Until} {
				if !t.IsZero() {
					cuts = append(cuts, t.UnixNano())
				}
			}
		}
	}
	slices.Sort(cuts)
	f := a.frame(a.rack.Starts, last, slices.Compact(cuts))
	if f.now != 0 {
		f.now = 0
		f.dates, f.bounds = f.dates[:len(f.dates)-1], f.bounds[:len(f.dates)]
	}
	levels := []float64{photoperiodLevel}
	if a.o.Level > 0 {
		levels = append(levels, float64(a.o.Level))
	}
	bins, err := a.bins(ctx, f, levels)
	if err != nil {
		return nil, nil, err
	}
	byName := map[string]*bin{}
	for _, b := range bins {
		byName[b.Name] = b
	}
	lights := make([]PlantLight, len(plants))
	for i, p := range plants {
		until := light.Earlier(p.Until, a.rack.Ends)
		from, to := w.Of(a.rack.Starts, until)
		days := plantDays(p, f, byName, until, len(levels))
		first := min(len(days), max(0, a.rack.Starts.DaysUntil(from)))
		end := max(first, min(len(days), a.rack.Starts.DaysUntil(to)+1))
		lights[i] = PlantLight{p.Code, summarise(days, len(levels)), summarise(days[first:end], len(levels))}
	}
	return lights, a.remarks(bins), nil
}

// plantDay is a plant's light on one light day.
type plantDay struct {
	tally
	length int64
	above  []float64 // ns per level; NaN where not known
}

// plantDays are the plant's days of the frame, up to its last.
func plantDays(p PlantStay, f frame, bins map[string]*bin, until light.Date, levels int) []plantDay {
	var days []plantDay
	for d, date := range f.dates {
		if until.Before(date) {
			break
		}
		from, to := f.bounds[d], f.bounds[d+1]
		day := plantDay{length: to - from, above: make([]float64, levels)}
		held := int64(0)
		for _, s := range p.Stays {
			b := bins[s.Position.Bin]
			i := slices.IndexFunc(b.places, func(p place) bool { return p.Position == s.Position })
			if i < 0 || !light.Span.Overlaps(s.During, light.Span{From: unix(from), Until: unix(to)}) {
				continue
			}
			for c := b.first[d]; c < b.first[d+1]; c++ {
				cell := b.cells[c]
				if !s.During.Holds(unix(cell.from)) {
					continue
				}
				held += cell.until - cell.from
				b.tally(&day.tally, &b.places[i], c)
				for l := range day.above {
					ns, ok := b.timeAbove(i, c, l)
					if !ok {
						ns = math.NaN()
					}
					day.above[l] += ns
				}
			}
		}
		day.missing = day.length - day.covered - day.filled
		if held < day.length {
			for l := range day.above {
				day.above[l] = math.NaN()
			}
		}
		days = append(days, day)
	}
	return days
}

// summarise sums days up.
func summarise(days []plantDay, levels int) Summary {
	s := Summary{Days: len(days), Spread: light.DLI(math.NaN()), Photoperiod: math.NaN(), HoursAbove: math.NaN()}
	var all, whole tally
	var mols []float64
	hours, counted := make([]float64, levels), make([]float64, levels)
	length := int64(0)
	for i := range days {
		d := &days[i]
		all.merge(&d.tally)
		length += d.length
		if float64(d.missing) <= (1-fullDay)*float64(d.length) {
			whole.merge(&d.tally)
			mols = append(mols, d.mol)
		}
		for l, ns := range d.above {
			if !math.IsNaN(ns) {
				hours[l] += ns / 3.6e12
				counted[l]++
			}
		}
	}
	if length > 0 {
		s.Covered, s.Missing = float64(all.covered)/float64(length), float64(all.missing)/float64(length)
	}
	s.Total = light.DLI(all.mol)
	if all.mol > 0 {
		s.Filled = all.filledMol / all.mol
		for source, mol := range all.bySource {
			s.Sources[source] = mol / all.mol
		}
	}
	s.Photoperiod = hours[0] / counted[0]
	if levels > 1 {
		s.HoursAbove = hours[1] / counted[1]
	}
	if s.Whole = len(mols); s.Whole == 0 {
		return s
	}
	f := whole.figure()
	s.Known, s.Error, s.Source = true, f.Error, f.Source
	n := float64(s.Whole)
	mean := whole.mol / n
	s.MeanDLI = light.DLI(mean)
	if s.Whole > 1 {
		squares := 0.0
		for _, x := range mols {
			squares += square(x - mean)
		}
		s.Spread = light.DLI(math.Sqrt(squares / (n - 1)))
	}
	return s
}
