package page

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"
	"time"

	"parstead/light"
)

// view is a State with the sentences and shades that the template prints.
type view struct {
	*State
	Headline string
	Well     bool
	Oldest   string
	Due      string
	Grids    []grid
	Recent   []light.Event
}

type grid struct {
	Bin
	Lines   []gridLine
	Summary string
}

type gridLine struct {
	Number int
	Cells  []gridCell
}

type gridCell struct {
	Cell
	Column int
	Shade  int // 0 (darkest place of the rack) to 9, by today's light or else yesterday's
}

// logShown is how many of the newest log entries the page lists.
const logShown = 20

func newView(s *State) view {
	v := view{State: s, Oldest: oldest(s), Due: due(s)}
	v.Headline, v.Well = headline(s)
	top := 0.0
	for _, b := range s.Bins {
		for _, c := range b.Cells {
			top = max(top, float64(c.shown().DLI))
		}
	}
	for _, b := range s.Bins {
		v.Grids = append(v.Grids, newGrid(b, top))
	}
	v.Recent = slices.Clone(s.Log)
	slices.SortStableFunc(v.Recent, func(a, b light.Event) int { return b.At.Compare(a.At) })
	v.Recent = v.Recent[:min(logShown, len(v.Recent))]
	return v
}

func (c Cell) shown() Figure {
	if c.Today.Known {
		return c.Today
	}
	return c.Yesterday
}

func newGrid(b Bin, top float64) grid {
	g := grid{Bin: b}
	var known []float64
	for r := 1; r <= b.Rows; r++ {
		row := gridLine{Number: r}
		for c := 1; c <= b.Columns; c++ {
			cell := b.Cells[b.Index(light.Position{Bin: b.Name, Row: r, Column: c})]
			shade := 0
			if f := cell.shown(); f.Known && top > 0 {
				shade = min(9, int(10*float64(f.DLI)/top))
			}
			if cell.Today.Known {
				known = append(known, float64(cell.Today.DLI))
			}
			row.Cells = append(row.Cells, gridCell{cell, c, shade})
		}
		g.Lines = append(g.Lines, row)
	}
	g.Summary = summary(b, known)
	return g
}

func summary(b Bin, known []float64) string {
	if len(known) == 0 {
		return "Light not known yet today."
	}
	sum := 0.0
	for _, x := range known {
		sum += x
	}
	parts := []string{fmt.Sprintf("So far %.2f mol m⁻² on average, %.2f to %.2f over its positions",
		sum/float64(len(known)), slices.Min(known), slices.Max(known))}
	if b.HasDue {
		parts = append(parts, fmt.Sprintf("%.2f due by now", b.Due))
	}
	if b.TargetDLI > 0 {
		parts = append(parts, fmt.Sprintf("%.1f meant for the day", b.TargetDLI))
	}
	cover := fmt.Sprintf("readings cover %.0f %% of the day so far", 100*b.Coverage)
	if b.Coverage < 0.995 {
		cover += ", the rest is estimated"
	}
	parts = append(parts, cover)
	if b.Map != "" {
		parts = append(parts, b.Map)
	}
	return strings.Join(parts, "; ") + "."
}

// headline is the page's first sentence, and whether it says that all is well.
func headline(s *State) (says string, well bool) {
	switch n := len(s.Conditions); {
	case n == 1:
		return s.Conditions[0].Says, false
	case n > 1:
		return fmt.Sprintf("%s And %d more below.", s.Conditions[0].Says, n-1), false
	case len(s.Sensors) == 0:
		return "No sensor is set up yet: nothing is watched.", false
	}
	timeless := 0
	for _, x := range s.Sensors {
		if x.Timeless != "" {
			timeless++
		}
	}
	refused := 0
	for _, r := range s.Refused {
		refused += r.Count
	}
	heard, all := heard(s), count(len(s.Sensors), "sensor")
	switch {
	case timeless > 0 && heard < len(s.Sensors):
		return fmt.Sprintf("%d of %s heard; messages of %s come without their time and can't be used, see below.", heard, all, count(timeless, "sensor")), false
	case heard == 0 && refused == 0:
		return fmt.Sprintf("Nothing heard yet from %s.", all), false
	case heard == 0:
		return fmt.Sprintf("Nothing usable heard yet from %s: %s refused, see below.", all, count(refused, "payload")), false
	case heard < len(s.Sensors):
		return fmt.Sprintf("Waiting: %d of %s heard so far.", heard, all), false
	case refused > 0:
		return fmt.Sprintf("%s heard, but %s refused within the last hour, see below.", all, count(refused, "payload")), false
	case timeless > 0:
		return fmt.Sprintf("%s heard, but the newest of %s came without its time, see below.", all, count(timeless, "sensor")), false
	case !s.Judged:
		return fmt.Sprintf("%s heard; what they show is being judged.", all), false
	}
	return fmt.Sprintf("All well: %s heard, nothing out of the ordinary.", all), true
}

// heard counts the sensors that were heard lately.
func heard(s *State) (n int) {
	for _, x := range s.Sensors {
		if x.Lately(s.Now) {
			n++
		}
	}
	return n
}

func oldest(s *State) string {
	var worst *Sensor
	for i := range s.Sensors {
		x := &s.Sensors[i]
		if !x.During.Holds(s.Now) {
			continue
		}
		switch {
		case !x.Heard && x.Timeless != "":
			return fmt.Sprintf("%s has sent nothing usable yet.", x.Name)
		case !x.Heard:
			return fmt.Sprintf("%s has not been heard yet.", x.Name)
		}
		if worst == nil || x.At.Before(worst.At) {
			worst = x
		}
	}
	if worst == nil {
		return ""
	}
	if age := worst.Age(s.Now); age.Round(time.Second) >= 0 {
		return fmt.Sprintf("Heard longest ago: %s, %s ago.", worst.Name, length(age.Abs()))
	}
	return "The newest readings of all sensors are dated ahead of this machine's clock."
}

func due(s *State) string {
	var got, owed float64
	bins := 0
	for _, b := range s.Bins {
		if !b.HasDue {
			continue
		}
		sum, n := 0.0, 0
		for _, c := range b.Cells {
			if c.Today.Known {
				sum, n = sum+float64(c.Today.DLI), n+1
			}
		}
		if n > 0 {
			got, owed, bins = got+sum/float64(n), owed+float64(b.Due), bins+1
		}
	}
	if bins == 0 {
		return ""
	}
	n := float64(bins)
	return fmt.Sprintf("Light so far today: %.2f mol m⁻² on average over %s; %.2f was due by this hour.",
		got/n, count(bins, "bin"), owed/n)
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// ago writes how long ago something was; what is still to come says so.
func ago(d time.Duration) string {
	if d.Round(time.Second) < 0 {
		return length(-d) + " ahead of this machine's clock"
	}
	return length(d.Abs())
}

// length writes a length of time in its largest fitting unit.
func length(d time.Duration) string {
	switch {
	case d < 2*time.Minute:
		return fmt.Sprintf("%d s", int(math.Round(d.Seconds())))
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h", int(d.Hours()))
	default:
		return fmt.Sprintf("%d days", int(d.Hours()/24))
	}
}

var words = template.FuncMap{
	"ago": func(now, then time.Time) string { return ago(now.Sub(then)) },
	"local": func(c light.Calendar, t time.Time) string {
		return t.In(c.Zone).Format("2006-01-02 15:04")
	},
	"dli": func(f Figure) string {
		if !f.Known {
			return "–"
		}
		return fmt.Sprintf("%.2f", float64(f.DLI))
	},
	"tries": func(n int) string {
		if n == 1 {
			return "1 try"
		}
		return fmt.Sprintf("%d tries", n)
	},
	"asked":   func(p Plant, outcome string) bool { return slices.Contains(p.Outcomes, outcome) },
	"percent": func(x float64) string { return fmt.Sprintf("%.0f %%", 100*x) },
	"value": func(s Sensor) string {
		switch {
		case !s.Heard && s.Timeless != "":
			return "nothing usable yet: its time is missing"
		case !s.Heard:
			return "not heard yet"
		case s.Saturated:
			return fmt.Sprintf("marked saturated (raw %v)", s.Raw)
		}
		text := s.Measures.Words(s.Value)
		if s.Measures.NeedsLampFactor() && s.PPFD > 0 {
			text += fmt.Sprintf(" (%.0f µmol m⁻² s⁻¹)", float64(s.PPFD))
		}
		return text
	},
	"day": func(s *State) string {
		n := s.Starts.DaysUntil(s.Day) + 1
		total := s.Starts.DaysUntil(s.Ends) + 1
		switch {
		case n < 1:
			return fmt.Sprintf("starts in %s", count(1-n, "day"))
		case n > total:
			return fmt.Sprintf("ended on %s", s.Ends)
		default:
			return fmt.Sprintf("day %d of %d", n, total)
		}
	},
}
