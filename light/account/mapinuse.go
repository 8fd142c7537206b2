package account

import (
	"fmt"
	"math"
	"time"

	"parstead/light"
)

// MapInUse is a bin's light map for a stretch of time, or the want of one.
type MapInUse struct {
	Bin         string
	During      light.Span // a zero From: since before the days asked for began; a zero Until: until further notice
	Method      string     // as field.Map says; "" where no map holds
	Walked      time.Time  // the survey's first reading
	Positions   int        // surveyed ones
	Readings    int
	Noise       float64 // standard deviation of one reading of the meter, as a share
	LeaveOneOut float64 // root mean square error of surveyed positions from the others, as a share; NaN for one
	OwnScale    bool    // to the meter's scale: the bin has no sensor
	SunWalks    int     // walks that make it where the sun reaches the bin; 0 where it does not
	Joined      bool    // whether these are enough to tell what the sun does
}

// Words say which map is in use, by the clocks of a zone; no full stop.
func (m MapInUse) Words(zone *time.Location) string {
	clock := func(t time.Time) string { return t.In(zone).Format("2006-01-02 15:04") }
	when := ""
	if !m.During.From.IsZero() {
		when += " from " + clock(m.During.From)
	}
	if !m.During.Until.IsZero() {
		when += " until " + clock(m.During.Until)
	}
	if m.Method == "" {
		return "no light map" + when + ": every position has the light that the bin's sensors show, with 20 % of error; walk a survey"
	}
	words := fmt.Sprintf("light map of %s%s: %d readings at %d positions", m.Walked.In(zone).Format(time.DateOnly), when, m.Readings, m.Positions)
	words += ", " + m.Method
	if !math.IsNaN(m.LeaveOneOut) {
		words += fmt.Sprintf(", %.1f %% off when left out", 100*m.LeaveOneOut)
	}
	if m.OwnScale {
		words += ", to the meter's own scale"
	}
	switch {
	case m.Joined:
		words += fmt.Sprintf(", joined from %d walks in the sun", m.SunWalks)
	case m.SunWalks > 0:
		words += ", walked in the sun at too few hours: the error is wide"
	}
	return words
}

// mapsInUse lists the bin's maps over the frame and the stretches without one, as
// far as anything is known of the bin's light.
func (b *bin) mapsInUse() (list []MapInUse) {
	if len(b.tracks) == 0 && len(b.maps) == 0 {
		return nil
	}
	for i, c := range b.cells {
		if i > 0 && c.of == b.cells[i-1].of {
			continue
		}
		if c.m == nil {
			none := MapInUse{Bin: b.Name}
			if i > 0 {
				none.During.From = unix(c.from)
			}
			for _, next := range b.cells[i:] {
				if next.m != nil {
					none.During.Until = unix(next.from)
					break
				}
			}
			list = append(list, none)
			continue
		}
		in := MapInUse{
			Bin: b.Name, During: c.m.During, Method: c.m.Method, Walked: c.m.Walked, Positions: c.m.Positions, Readings: c.m.Readings,
			Noise: c.m.Noise, LeaveOneOut: c.m.LeaveOneOut, OwnScale: c.m.OwnScale,
		}
		if sun := b.sunOf(c.of); sun != nil {
			in.SunWalks, in.Joined = sun.walks, sun.enough()
		}
		list = append(list, in)
	}
	return list
}
