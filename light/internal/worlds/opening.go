//go:build worlds

package worlds

import "math"

// opening is what stands between a place and the sky: a window or a roof.
// Directions are in the bin's own frame: X along the columns, Y along the rows
// away from the glass, Z up.
type opening interface {
	// beam is light on the level at a place, beside that on a plane facing the
	// sun outdoors.
	beam(r, c int, sun Vec, day int, blind bool) float64
	// sky is the light at a place beside that of open level ground, under an
	// even sky and under an overcast one.
	sky(r, c, day int, blind bool) (even, overcast float64)
	// lean is how a tilted head changes the diffuse light, roughly.
	lean(ins Instrument) float64
	// facing turns a compass bearing into the bin's frame.
	facing(elev, az float64) Vec
}

// overcastSky is the luminance of the CIE overcast sky (Moon and Spencer 1942)
// at an elevation, for one unit of light on open level ground.
func overcastSky(sinElev float64) float64 { return 3 * (1 + 2*sinElev) / (7 * math.Pi) }

const evenSky = 1 / math.Pi

// glass is a pane's transmission at an angle of incidence, beside the one at
// right angles (Rivero 1958; used in daylight-factor practice).
func glass(cos float64) float64 {
	if cos <= 0 {
		return 0
	}
	sin2 := 1 - cos*cos
	return 1.018 * cos * (1 + sin2*math.Sqrt(sin2))
}

// Skyline is a neighbour's house: a wall seen under elevations that fall off
// sideways from its nearest point.
type Skyline struct {
	FromAz, ToAz float64 // compass degrees, From < To
	NearAz       float64 // bearing of its nearest point
	TopDeg       float64 // elevation of the eaves there; 0 = no house
	Bright       float64 // its luminance beside an even sky's
}

// hides tells whether the house covers a direction (radians).
func (s Skyline) hides(elev, az float64) bool {
	if s.TopDeg == 0 {
		return false
	}
	deg := az * 180 / math.Pi
	for _, d := range []float64{deg, deg + 360, deg - 360} {
		if d < s.FromAz || d > s.ToAz {
			continue
		}
		off := math.Cos(rad(d - s.NearAz))
		return off > 0 && math.Tan(elev) < math.Tan(rad(s.TopDeg))*off
	}
	return false
}

// Blind is drawn from the top on bright days between two minutes.
type Blind struct {
	Share        float64 // of the window's height that it covers
	Pass         float64 // light that comes through the cloth
	FromMin, Til int
	Habit        float64 // chance, on a day that is not overcast, that it is drawn
}
