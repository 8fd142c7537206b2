package page

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"
	"time"

	"parstead/light"
	"parstead/light/watch"
)

// view is a State with the sentences and shades that the template prints.
type view struct {
	*State
	Nonce    string
	Headline string
	Well     bool
	Lead     *watch.Condition // what the headline is about; nil where it is not about one
	Also     []watch.Condition
	Still    []watch.Condition // what is wrong at the rack of a trial that is over
	Heard    string
	Lines    []binLine
	Grids    []grid
	Happened []light.Event // newest first, the program's own left out
	Recent   []light.Event
	Lost     []Standing
	ByBin    []plantsOf
}

// plantsOf are the plants that stand in one bin.
type plantsOf struct {
	Name   string
	Plants []Standing
}

// logShown is how many of the newest log entries the page lists, and newsShown how
// many of them without a tap.
const (
	logShown  = 20
	newsShown = 6
)

func newView(s *State) view {
	v := view{State: s, Heard: heardWords(s), Lines: binLines(s)}
	v.Headline, v.Well = headline(s)
	v.Also = s.Conditions
	switch {
	case s.Over():
		v.Also, v.Heard = nil, ""
		for _, c := range s.Conditions { // what a bin got of its target stands beside the bin
			if c.Kind != watch.OffTarget {
				v.Still = append(v.Still, c)
			}
		}
	case len(s.Conditions) > 0:
		v.Lead, v.Also = &s.Conditions[0], s.Conditions[1:]
	}
	if v.Lead != nil && len(v.Also) == 0 && len(s.Sensors) > 0 && heard(s) == len(s.Sensors) {
		v.Heard = "All else is well. " + v.Heard
	}
	top := s.brightest(s.Bins...)
	for i, b := range s.Bins {
		v.Grids = append(v.Grids, newGrid(s, b, v.Lines[i], top))
	}
	v.Recent = slices.Clone(s.Log)
	slices.SortStableFunc(v.Recent, func(a, b light.Event) int { return b.At.Compare(a.At) })
	for _, e := range v.Recent {
		if !e.Kind.Programs() && len(v.Happened) < newsShown {
			v.Happened = append(v.Happened, e)
		}
	}
	v.Recent = v.Recent[:min(logShown, len(v.Recent))]
	for _, p := range s.Plants {
		if p.Fate != "" && p.Fate != "harvested" {
			v.Lost = append(v.Lost, p)
		}
	}
	for _, b := range s.Bins {
		if of := (plantsOf{b.Name, plantsIn(s, b.Name)}); len(of.Plants) > 0 {
			v.ByBin = append(v.ByBin, of)
		}
	}
	return v
}

func plantsIn(s *State, bin string) (plants []Standing) {
	for _, p := range s.Plants {
		if p.Bin == bin {
			plants = append(plants, p)
		}
	}
	return plants
}

// shown is what a place got yesterday or, where that is not known, today so far.
func (c Cell) shown() Figure {
	if c.Yesterday.Known {
		return c.Yesterday
	}
	return c.Today
}

// headline is the page's first sentence, and whether it says that all is well.
func headline(s *State) (says string, well bool) {
	switch {
	case s.Harvest != nil && s.Harvest.Out > 0:
		return "The trial has ended: weigh and count the plants.", false
	case s.Harvest != nil:
		return "The trial has ended, and the harvest is written down.", true
	case s.Over():
		return "The trial has ended.", true
	case len(s.Conditions) > 0:
		return s.Conditions[0].Says, false
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

// heardWords says how long ago the sensor that was heard longest ago was heard.
func heardWords(s *State) string {
	var worst *Sensor
	for i := range s.Sensors {
		x := &s.Sensors[i]
		switch {
		case !x.During.Holds(s.Now):
			continue
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
	"one": func(f Figure) string {
		if !f.Known {
			return "–"
		}
		return fmt.Sprintf("%.1f", float64(f.DLI))
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
	"hour":      func(c light.Calendar, t time.Time) string { return t.In(c.Zone).Format("15:04") },
	"moment":    func(c light.Calendar, t time.Time) string { return dayAndHour(t.In(c.Zone)) },
	"since":     since,
	"plantpath": plantPath,
	"placepath": placePath,
	"event":     eventWords,
	"days":      shortDate,
	"plants":    func(n int) string { return count(n, "plant") },
	"join":      func(list []string) string { return strings.Join(list, "; ") },
}

// since is when a condition began: its hour too, while that is fresh.
func since(s *State, t time.Time) string {
	local := t.In(s.Calendar.Zone)
	day := light.DateOf(local)
	days := day.DaysUntil(light.DateOf(s.Now.In(s.Calendar.Zone)))
	switch {
	case days <= 0:
		return "Since " + local.Format("15:04") + "."
	case days == 1:
		return "Since " + local.Format("15:04") + " yesterday."
	default:
		return fmt.Sprintf("Since %s, for %s.", local.Format("2 January"), count(days, "day"))
	}
}

// eventWords is an entry of the log in a few words.
func eventWords(e light.Event) string {
	words := strings.ReplaceAll(string(e.Kind), "_", " ")
	if e.Kind == light.Other {
		words = ""
	}
	for _, of := range []string{e.Sensor, e.Plant} {
		if of != "" {
			words = strings.TrimSpace(words + " " + of)
		}
	}
	if e.Text == "" {
		return words
	}
	if words != "" {
		words += ": "
	}
	return words + e.Text
}
