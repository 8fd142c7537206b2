//go:build worlds

package worlds

import "math"

// Site is where on the earth, and how far the grower's clock is from the sun.
type Site struct {
	LatDeg   float64
	ClockLag float64 // minutes that solar noon comes after 12:00, without the equation of time
	StartDOY int     // day of the year of the season's day 0
}

func (s Site) doy(day int) float64 { return float64((s.StartDOY-1+day)%365) + 1 }

// SunAt gives the sun's elevation and its azimuth from north through east, in
// radians. Declination after Cooper 1969, equation of time the usual
// three-term series; both good to a fraction of a degree, which is far finer
// than a sill needs.
func (s Site) SunAt(day int, minute float64) (elev, az float64) {
	n := s.doy(day)
	decl := rad(23.45) * math.Sin(2*math.Pi*(284+n)/365)
	b := 2 * math.Pi * (n - 81) / 364
	eot := 9.87*math.Sin(2*b) - 7.53*math.Cos(b) - 1.5*math.Sin(b)
	w := (minute - s.ClockLag + eot - 720) / 4 * math.Pi / 180
	lat := rad(s.LatDeg)
	sl, cl := math.Sincos(lat)
	sd, cd := math.Sincos(decl)
	elev = math.Asin(clamp(sl*sd+cl*cd*math.Cos(w), -1, 1))
	az = math.Atan2(-math.Sin(w)*cd, cl*sd-sl*cd*math.Cos(w))
	if az < 0 {
		az += 2 * math.Pi
	}
	return elev, az
}

// beyond is the sunlight on a plane facing the sun above the air, W m⁻².
func (s Site) beyond(day int) float64 {
	return 1361 * (1 + 0.033*math.Cos(2*math.Pi*s.doy(day)/365))
}

// haurwitz is the cloudless light on level ground, W m⁻² (Haurwitz 1945).
func haurwitz(elev float64) float64 {
	if elev <= 0.01 {
		return 0
	}
	c := math.Sin(elev)
	return 1098 * c * math.Exp(-0.057/c)
}

// erbs is the share of diffuse light for a clearness kt (Erbs, Klein and
// Duffie 1982).
func erbs(kt float64) float64 {
	switch {
	case kt <= 0.22:
		return 1 - 0.09*kt
	case kt <= 0.8:
		return 0.9511 - 0.1604*kt + 4.388*kt*kt - 16.638*kt*kt*kt + 12.336*kt*kt*kt*kt
	}
	return 0.165
}

// parPerWatt: 45 % of sunlight's energy is PAR, 4.57 µmol per joule of it
// (McCree 1972; Thimijan and Heins 1983). sunLux: 54 lux per µmol m⁻² s⁻¹.
const (
	parPerWatt = 0.45 * 4.57
	sunLux     = 54.0
)
