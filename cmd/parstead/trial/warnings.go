package trial

import (
	"fmt"
	"slices"
	"time"

	"parstead/ingest/broker"
	"parstead/light"
	"parstead/light/account"
)

// warnings tells what is worth knowing of a trial that may be sound.
func (l *loader) warnings() {
	l.warnUnreachable()
	l.warnDayStarts()
	l.warnUnlit()
	l.warnSun()
	l.warnDrive()
	l.warnSense()
	l.warnDesign()
}

// warnUnreachable tells when sensors on the network can't reach the broker.
func (l *loader) warnUnreachable() {
	if !l.Broker.Embedded || len(l.feeds) == 0 || !broker.Loopback(l.Broker.Listen) {
		return
	}
	at := l.doc.at("broker.listen")
	l.warn(at, fmt.Sprintf("the broker listens on %s: nothing outside this machine can connect", l.Broker.Listen),
		`for sensors on the network write listen = "0.0.0.0:1883" under [broker], with username and password_file`)
}

// warnDayStarts tells when a lamp is on where one light day ends and the next
// begins: every photoperiod would be cut in two.
func (l *loader) warnDayStarts() {
	const day = light.TimeOfDay(24 * time.Hour)
	cut := l.Rack.DayStarts
	for _, lamp := range l.Rack.Lamps {
		for i, on := range lamp.On {
			off := lamp.Off[i]
			lasts, since := (off-on+day)%day, (cut-on+day)%day
			if lasts > 0 && since > 0 && since < lasts { // lasts 0: the lamp is always on
				l.warn(l.doc.at("trial.day_starts"), fmt.Sprintf("light days begin at %v, while the lamp %q is on (%v to %v)", cut, lamp.Name, on, off),
					"let day_starts lie in the dark period")
				return
			}
		}
	}
}

// warnUnlit tells of bins with plants whose light nothing tells.
func (l *loader) warnUnlit() {
	known := map[string]bool{}
	for _, f := range l.feeds {
		for _, bin := range f.Bins { // a sensor of an unknown quantity was told already
			known[bin.Name] = known[bin.Name] || f.Sensor.Measures.IsLight() || f.Sensor.Measures == 0
		}
	}
	for _, bin := range l.Rack.Bins {
		surveyed := slices.ContainsFunc(l.Rack.Survey, func(r light.SurveyReading) bool { return r.Position.Bin == bin.Name })
		timed := slices.ContainsFunc(l.Rack.Lamps, func(lamp light.Lamp) bool {
			return len(lamp.On) > 0 && slices.Contains(bin.Lamps, lamp.Name)
		})
		known[bin.Name] = known[bin.Name] || surveyed && timed
	}
	plants := map[string]int{}
	for _, p := range l.Plants {
		for i, s := range p.Stays {
			bin := s.Position.Bin
			if !slices.ContainsFunc(p.Stays[:i], func(o light.Stay) bool { return o.Position.Bin == bin }) {
				plants[bin]++
			}
		}
	}
	for i, bin := range l.Rack.Bins {
		if n := plants[bin.Name]; n > 0 && !known[bin.Name] {
			l.warn(l.doc.at("bin[%d]", i), fmt.Sprintf("the light of %s in the bin %q is not known", countOf(n, "plant"), bin.Name),
				"add a light sensor to the bin; or a survey, and the lamp's on and off")
		}
	}
}

// warnSun tells what a bin in the sun needs, unless a sensor stands at each place or
// it was walked on three occasions.
func (l *loader) warnSun() {
	for i, bin := range l.Rack.Bins {
		if bin.Daylight != light.Sunlit {
			continue
		}
		own := map[light.Position]bool{}
		for _, s := range l.Rack.Sensors {
			if bin.Contains(s.Position) && s.Measures.IsLight() {
				own[s.Position] = true
			}
		}
		walks := account.Walks(&l.Rack, bin)
		if len(own) == bin.Rows*bin.Columns || walks >= 3 {
			continue
		}
		l.warn(l.doc.at("bin[%d]", i), fmt.Sprintf("the sun reaches the bin %q, where each place's share of the light changes with the hour and the sky: with %s its stated error is wide", bin.Name, countOf(walks, "walk")),
			account.SunAdvice)
	}
}

func countOf(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// warnDrive tells when the folder lies where a database may be torn: on a drive
// of the network, or in a folder that a program keeps alike on several machines.
func (l *loader) warnDrive() {
	const mend = "keep the trial on a disk of this machine, and back it up from there"
	if kind := networkDrive(l.Dir); kind != "" {
		l.warn(place{}, fmt.Sprintf("the folder lies on a drive that is reached over a network or through another program (%s), where the database may be torn", kind), mend)
	} else if marker := syncMarker(l.Dir); marker != "" {
		l.warn(place{}, fmt.Sprintf("the folder seems to be synchronised (%s is there), which may tear the database", marker), mend)
	}
}
