package trial

import (
	"fmt"
	"slices"
	"time"

	"parstead/light"
)

// longestWalk bounds the time from the first to the last row of a walk over the
// positions: more means that a walk's last time is missing.
const longestWalk = 6 * time.Hour

// surveySheet holds the walks with a handheld meter.
var surveySheet = sheetKind{
	name: "survey", needed: []string{"time", "bin", "row", "column"},
	known: func(*loader) []string { return []string{"ppfd", "lux", "meter", "remarks"} },
	read:  (*loader).readSurvey, rests: 4,
}

func (l *loader) readSurvey(s *sheet, _ bool) {
	if s == nil {
		return
	}
	if !s.has("ppfd") && !s.has("lux") {
		l.fault(place{s.file, 1, 1}, "there is no column ppfd and none lux", "add the one that the meter shows")
		return
	}
	times := l.walkTimes(s)
	noFactor := map[string]bool{}
	for i, r := range s.rows {
		p, ok := l.position(r)
		ppfd, lux := r.cell("ppfd"), r.cell("lux")
		if !ppfd.blank() && !lux.blank() {
			l.fault(lux.at, "the row holds both ppfd and lux", "keep the one that the meter showed")
			continue
		}
		reading := light.SurveyReading{At: times[i], Position: p, Measures: light.QuantityPPFD, Meter: r.cell("meter").text, Row: light.Line{File: r.at.file, Line: r.at.line}}
		c := ppfd
		if ppfd.blank() {
			reading.Measures, c = light.QuantityLux, lux
		}
		var good bool
		if reading.Value, good = l.number(c, reading.Measures.String()); !good || !ok {
			continue
		}
		if reading.Value < 0 {
			l.fault(c.at, fmt.Sprintf("light can't be %v", reading.Value), "correct the value, or clear the cell")
			continue
		}
		if _, most := reading.Measures.Valid(); reading.Value > most {
			l.warn(c.at, fmt.Sprintf("%v %s is more than the sun gives", reading.Value, reading.Measures.Unit()), "correct the value, or see whether the meter showed lux or ppfd")
		}
		if bin, _ := l.Rack.Bin(p.Bin); reading.Measures.NeedsLampFactor() && !noFactor[bin.Name] && l.Rack.NeedsFactor(bin, times[i]) {
			if says, mend := l.luxTrouble(bin, light.Span{From: times[i], Until: times[i].Add(1)}); says != "" {
				noFactor[bin.Name] = true
				l.fault(c.at, says, mend)
			}
		}
		l.Rack.Survey = append(l.Rack.Survey, reading)
	}
	slices.SortStableFunc(l.Rack.Survey, func(a, b light.SurveyReading) int { return a.At.Compare(b.At) })
}

// walkTimes reads the time of each row. Rows without one lie evenly between the
// timed rows around them: the first and the last of their walk.
func (l *loader) walkTimes(s *sheet) []time.Time {
	times := make([]time.Time, len(s.rows))
	clock := Clock{Zone: l.Rack.Zone}
	last := -1 // the timed row before
	wrong := false
	for i, r := range s.rows {
		c := r.cell("time")
		if c.blank() {
			continue
		}
		at, err := clock.Parse(c.text)
		if err != nil {
			says, mend := cutMend(err, timeMend)
			l.fault(c.at, says, mend)
			wrong = true
			continue
		}
		times[i] = at
		if l.hasDays() {
			whole := l.Rack.Trial()
			if at.Before(whole.From.AddDate(-1, 0, 0)) || at.After(whole.Until.AddDate(1, 0, 0)) {
				l.fault(c.at, fmt.Sprintf("%s lies more than a year outside the trial", c.text), "correct the time")
			}
		}
		if untimed := i - last - 1; untimed > 0 && !wrong {
			l.spread(s, times, last, i)
		}
		last, wrong = i, false
	}
	if untimed := len(s.rows) - 1 - last; untimed > 0 && !wrong {
		l.fault(s.rows[last+1].cell("time").at, "the rows from here to the end have no time", "write the time into the last row of the walk")
	}
	return times
}

const timeMend = "write it like 2026-07-21 14:05, or 2026-07-21T13:05:00Z"

// spread gives the rows between two timed rows their times.
func (l *loader) spread(s *sheet, times []time.Time, first, last int) {
	at := s.rows[first+1].cell("time").at
	if first < 0 {
		l.fault(at, "the first rows have no time", "write the time into the first row of the walk")
		return
	}
	length := times[last].Sub(times[first])
	if length < 0 {
		l.fault(s.rows[last].cell("time").at, fmt.Sprintf("the walk would end before it began, in line %d", s.rows[first].at.line), "correct one of the times")
		return
	}
	if length > longestWalk {
		l.fault(at, fmt.Sprintf("the walk from line %d to %d would have lasted %.1f h", s.rows[first].at.line, s.rows[last].at.line, length.Hours()), "write the time into the first and the last row of every walk")
		return
	}
	for i := first + 1; i < last; i++ {
		times[i] = times[first].Add(length / time.Duration(last-first) * time.Duration(i-first))
	}
}
