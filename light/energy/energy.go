// Package energy counts the electricity that a rack's lamps, and whatever else runs
// for its bins, draw: watts times hours.
package energy

import (
	"math"
	"slices"
	"time"

	"parstead/light"
)

// Load is something beside the lamps that draws current for some bins.
type Load struct {
	Name        string
	Watts       float64
	HoursPerDay float64
	Bins        []string
}

// Cut is a stretch without current in one bin, or with Bin "" in the whole rack.
type Cut struct {
	Bin    string
	During light.Span // closed
}

// Draw is what one lamp, over one of its stretches of time, or one load drew.
type Draw struct {
	Name  string
	Lamp  bool
	Watts float64 // 0 where not given
	Hours float64 // switched on; NaN where not known
	KWh   float64 // NaN where not known
	Bins  []string
}

// Use is what a rack drew over a span of time.
type Use struct {
	Days  float64 // light days, a part of one counted as such
	Draws []Draw  // lamps in the rack's order, then loads; lamps that no bin has, or that do not hang yet or any more, left out
	Bins  []BinUse
}

// BinUse is a bin's part. What serves several bins is shared by the area of their
// grids, since light falls on area.
type BinUse struct {
	Bin      string
	Lamps    float64 // kWh; NaN where not known
	Loads    float64 // kWh
	LitHours float64 // a light day, by the timers of the lamps over it, cuts taken off
}

// KWh is all that the bin drew; NaN where not known.
func (b BinUse) KWh() float64 { return b.Lamps + b.Loads }

// KWh is all that the rack drew; NaN where not known.
func (u *Use) KWh() float64 {
	sum := 0.0
	for _, d := range u.Draws {
		sum += d.KWh
	}
	return sum
}

// Over counts the current of a span, which must be closed. A lamp draws its watts for
// the hours in which its timer has it on, cuts taken off,
//
//	kWh = W · h / 1000
//
// and a load draws its own for its hours a day, whatever is cut. A lamp without
// watts or without a timer leaves its kWh, and that of its bins, unknown.
func Over(rack *light.Rack, loads []Load, during light.Span, cuts []Cut) Use {
	u := Use{Days: days(rack, during)}
	for _, b := range rack.Bins {
		lit := rack.Lit(b, during)
		for _, c := range cuts {
			if c.Bin == "" || c.Bin == b.Name {
				lit = light.Without(lit, c.During)
			}
		}
		u.Bins = append(u.Bins, BinUse{Bin: b.Name, LitHours: hours(lit) / u.Days})
	}
	for _, lamp := range rack.Lamps {
		var over []string
		for _, b := range rack.Bins {
			if slices.Contains(b.Lamps, lamp.Name) {
				over = append(over, b.Name)
			}
		}
		if len(over) == 0 || !lamp.During.Overlaps(during) {
			continue
		}
		d := Draw{Name: lamp.Name, Lamp: true, Watts: lamp.Watts, Hours: math.NaN(), KWh: math.NaN(), Bins: over}
		if len(lamp.On) > 0 {
			lit := lamp.Lit(during, rack.Zone)
			for _, c := range cuts {
				if c.Bin == "" || slices.Contains(over, c.Bin) {
					lit = light.Without(lit, c.During)
				}
			}
			d.Hours = hours(lit)
		}
		if lamp.Watts > 0 || d.Hours == 0 {
			d.KWh = lamp.Watts * d.Hours / 1000
		}
		u.add(rack, d)
	}
	for _, l := range loads {
		h := l.HoursPerDay * u.Days
		u.add(rack, Draw{Name: l.Name, Watts: l.Watts, Hours: h, KWh: l.Watts * h / 1000, Bins: l.Bins})
	}
	return u
}

// add enters a draw and shares it out.
func (u *Use) add(rack *light.Rack, d Draw) {
	u.Draws = append(u.Draws, d)
	whole := 0.0
	for _, b := range rack.Bins {
		if slices.Contains(d.Bins, b.Name) {
			whole += Area(b)
		}
	}
	for i, b := range rack.Bins {
		switch share := d.KWh * Area(b) / whole; {
		case !slices.Contains(d.Bins, b.Name):
		case d.Lamp:
			u.Bins[i].Lamps += share
		default:
			u.Bins[i].Loads += share
		}
	}
}

// Area is that of a bin's grid, in m².
func Area(b light.Bin) float64 {
	return float64(b.Rows*b.Columns) * b.PitchRows * b.PitchColumns / 1e4
}

// days counts the light days of a span, 23 or 25 hours long ones as one each.
func days(rack *light.Rack, during light.Span) float64 {
	n := 0.0
	for d := rack.DateAt(during.From); ; d = d.Add(1) {
		day := rack.Day(d)
		part, ok := day.Within(during)
		if !ok {
			return n
		}
		n += float64(part.Length()) / float64(day.Length())
	}
}

func hours(spans []light.Span) float64 {
	var sum time.Duration
	for _, s := range spans {
		sum += s.Length()
	}
	return sum.Hours()
}
