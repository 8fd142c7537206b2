package watch

import (
	"fmt"
	"slices"
	"time"

	"parstead/light"
)

// air finds a bin whose air has been outside the limits without a break for
// longer than the grace, in the mean of what its thermometers read.
func (l *look) air(bin light.Bin) []Condition {
	limits := l.rack.Limits.Celsius
	if limits == nil {
		return nil
	}
	for _, side := range []struct {
		kind    Kind
		outside func(float64) bool
		word    string
		limit   float64
	}{
		{Hot, func(v float64) bool { return v > limits[1] }, "above", limits[1]},
		{Cold, func(v float64) bool { return v < limits[0] }, "below", limits[0]},
	} {
		var since time.Time
		newest, n := 0.0, 0
		for i := range l.sensors {
			s := &l.sensors[i]
			if s.Position.Bin != bin.Name || s.Measures != light.QuantityTemperature || s.quiet || len(s.points) == 0 {
				continue
			}
			last := len(s.points) - 1
			i := len(s.points)
			for i > 0 && side.outside(s.points[i-1].value) {
				i--
			}
			if i > last || s.points[last].at().Sub(s.points[i].at()) < grace {
				continue
			}
			if since.IsZero() || s.points[i].at().Before(since) {
				since = s.points[i].at()
			}
			newest, n = newest+s.points[last].value, n+1
		}
		if n == 0 {
			continue
		}
		return []Condition{{
			Kind: side.kind, Bin: bin.Name, Since: since,
			Says: fmt.Sprintf("The air at bin %s is %.1f °C, %s the limit of %g °C.", bin.Name, newest/float64(n), side.word, side.limit),
		}}
	}
	return nil
}

const (
	floodLate  = 15 * time.Minute // after the time by which a flood must have been seen
	floodStays = time.Hour        // longer than it should last
)

// floods judges each reservoir's floods by its float switches.
func (l *look) floods() []Condition {
	var found []Condition
	for _, f := range l.rack.Floods {
		for i := range l.sensors {
			s := &l.sensors[i]
			if s.Measures != light.QuantityWet || s.quiet || !l.serves(f.Reservoir, s.Position.Bin) || len(s.points) == 0 {
				continue
			}
			if c, ok := l.missed(f, s); ok {
				found = append(found, c)
			}
			if c, ok := l.overflows(f, s); ok {
				found = append(found, c)
			}
		}
	}
	return found
}

func (l *look) serves(reservoir, bin string) bool {
	return slices.ContainsFunc(l.rack.Bins, func(b light.Bin) bool { return b.Name == bin && b.Reservoir == reservoir })
}

// missed finds the newest flood that was due and not seen, unless one was seen
// since. A switch that is read more seldom than a flood lasts can't tell.
func (l *look) missed(f light.Flood, s *sensed) (Condition, bool) {
	if s.Every > f.Lasts {
		return Condition{}, false
	}
	var since time.Time
	for d := light.DateOf(l.now.Add(-window).In(l.rack.Zone)); !light.DateOf(l.now.In(l.rack.Zone)).Before(d); d = d.Add(1) {
		for _, t := range f.Times {
			at := t.On(d, l.rack.Zone)
			if at.Before(l.now.Add(-window)) || at.Add(f.Lasts+floodLate).After(l.now) {
				continue
			}
			seen, heard := false, false
			for _, p := range inside(s.points, []light.Span{{From: at.Add(-floodLate), Until: at.Add(f.Lasts + floodLate)}}) {
				heard = true
				seen = seen || p.value != 0
			}
			switch {
			case seen:
				since = time.Time{}
			case heard && since.IsZero():
				since = at
			}
		}
	}
	if since.IsZero() {
		return Condition{}, false
	}
	return Condition{
		Kind: FloodMissed, Bin: s.Position.Bin, Sensor: s.Name, Since: since,
		Says: fmt.Sprintf("Reservoir %s did not flood at %s.", f.Reservoir, since.In(l.rack.Zone).Format("15:04 on 2 January")),
	}, true
}

// overflows finds water that stays. Floods of one reservoir that follow closely
// are told apart by their own times.
func (l *look) overflows(f light.Flood, s *sensed) (Condition, bool) {
	i := len(s.points)
	for i > 0 && s.points[i-1].value != 0 {
		i--
	}
	if i == len(s.points) || l.now.Sub(s.points[i].at()) <= f.Lasts+floodStays {
		return Condition{}, false
	}
	return Condition{
		Kind: FloodStuck, Bin: s.Position.Bin, Sensor: s.Name, Since: s.points[i].at(),
		Says: fmt.Sprintf("Reservoir %s has stayed flooded since %s.", f.Reservoir, s.points[i].at().In(l.rack.Zone).Format("15:04 on 2 January")),
	}, true
}
