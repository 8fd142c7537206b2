package demo

import (
	"sort"
	"time"

	"parstead/light"
)

// epochs of the lamps: as hung, after one was raised, after all were wiped.
const epochs = 3

const (
	dustLoss     = 0.03 // of every lamp's light by the day it is wiped
	clockBehind  = 9 * time.Hour
	timerDrift   = 47 * time.Minute
	hotCelsius   = 31.0
	outageLasts  = 31 * time.Hour
	missedFloods = 3 // days
)

// season holds when everything of the scenario happens. Days are counted from
// one. A shorter season keeps the order and the length of the events.
type season struct {
	stuck       light.Span // the lux chip of stuckBin repeats itself
	stuckBin    string
	outage      light.Span // the lamp of outageBin is out
	outageBin   string
	cut         light.Span // no power anywhere
	clockRight  time.Time  // until then the daemon's clock lags by clockBehind
	swap        time.Time  // two plants change places
	driftBin    string
	drift       [2]int // first and last day of the drifting timer
	accident    int    // day a pot is dropped
	missed      light.Span
	missedIn    string // reservoir
	raised      time.Time
	raisedBin   string // known once the light levels are dealt
	wiped       time.Time
	hot         int
	repeated    time.Time // duplicates, and a retained value long out of date
	counts      [2]int
	walks       [4]int
	harvest     [4]int
	firstRot    int
	lastRot     int
	epochStarts [epochs]time.Time
}

func newSeason(c Config, calendar light.Calendar, starts light.Date) season {
	day := func(scenario int) int { return (scenario*c.Days + FullSeason - 1) / FullSeason }
	at := func(day int, clock string) time.Time {
		tod, err := light.ParseTimeOfDay(clock)
		if err != nil {
			panic("demo: " + err.Error())
		}
		return tod.On(starts.Add(day-1), calendar.Zone)
	}
	lasting := func(from time.Time, d time.Duration) light.Span { return light.Span{From: from, Until: from.Add(d)} }

	s := season{
		counts: [2]int{day(56), day(112)},
		walks:  [4]int{day(2), day(51), day(111), day(129)},
	}
	for i := range s.harvest {
		s.harvest[i] = c.Days - len(s.harvest) + 1 + i
	}
	s.firstRot, s.lastRot = day(20), day(140)
	if c.Quiet {
		return s
	}
	s.stuckBin, s.stuck = "middle-left", lasting(at(day(33), "15:10"), 51*time.Hour)
	s.outageBin, s.outage = "upper-right", lasting(at(day(41), "09:20"), outageLasts)
	s.cut = lasting(at(day(58), "09:05"), clockBehind)
	s.clockRight = s.cut.Until.Add(100 * time.Minute)
	s.swap = at(day(61), "18:30")
	s.driftBin, s.drift = "lower-left", [2]int{day(70), day(91)}
	s.accident = day(75)
	s.missedIn, s.missed = "B", lasting(at(day(86), "00:00"), missedFloods*24*time.Hour)
	s.raised = at(day(110), "08:30")
	s.wiped = at(day(128), "09:00")
	s.hot = day(140)
	s.repeated = at(day(150), "12:00")
	s.epochStarts = [epochs]time.Time{1: s.raised, 2: s.wiped}
	return s
}

// epoch is the number of the lamps' epoch at t.
func (s *season) epoch(t time.Time) int {
	e := 0
	for i := 1; i < epochs; i++ {
		if start := s.epochStarts[i]; !start.IsZero() && !t.Before(start) {
			e = i
		}
	}
	return e
}

// clockLags tells whether the daemon's clock is wrong at t.
func (s *season) clockLags(t time.Time) bool {
	return !s.cut.From.IsZero() && (light.Span{From: s.cut.Until, Until: s.clockRight}).Holds(t)
}

// lit lists when the bin's lamp truly burns.
func (s *season) lit(name string, c Config, calendar light.Calendar, starts light.Date) []light.Span {
	var lit []light.Span
	for n := 1; n <= c.Days; n++ {
		date := starts.Add(n - 1)
		burning := light.Span{From: lampOn.On(date, calendar.Zone), Until: lampOff.On(date, calendar.Zone)}
		if s.driftBin == name && n >= s.drift[0] && n <= s.drift[1] {
			late := timerDrift * time.Duration(n-s.drift[0]+1) / time.Duration(s.drift[1]-s.drift[0]+1)
			burning.From, burning.Until = burning.From.Add(late), burning.Until.Add(late)
		}
		lit = append(lit, burning)
	}
	if s.outageBin == name {
		lit = light.Without(lit, s.outage)
	}
	if !s.cut.From.IsZero() {
		lit = light.Without(lit, s.cut)
	}
	return lit
}

// dayNumber counts light days from one; before the season it is 0.
func (w *World) dayNumber(t time.Time) int {
	return sort.Search(len(w.days), func(i int) bool { return w.days[i].From.After(t) })
}

// date of a day counted from one.
func (w *World) date(day int) light.Date { return w.Rack.Starts.Add(day - 1) }

// clock is a local time on a day counted from one.
func (w *World) clock(day int, hour, minute int) time.Time {
	tod := light.TimeOfDay(time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute)
	return tod.On(w.date(day), w.Rack.Zone)
}
