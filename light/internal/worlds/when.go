//go:build worlds

package worlds

import "fmt"

// When is a moment: a whole day counted from the season's first, and seconds
// after that day's midnight on the grower's clock.
type When struct{ Day, Sec int }

// At makes a moment from hours and minutes.
func At(day, hour, minute int) When { return When{day, hour*3600 + minute*60} }

// Plus moves on by seconds, over midnight if need be.
func (w When) Plus(sec int) When {
	t := w.Day*86400 + w.Sec + sec
	d := t / 86400
	if t%86400 < 0 {
		d--
	}
	return When{d, t - d*86400}
}

// Days is the moment as a number of days.
func (w When) Days() float64 { return float64(w.Day) + float64(w.Sec)/86400 }

func (w When) String() string {
	return fmt.Sprintf("d%d %02d:%02d:%02d", w.Day, w.Sec/3600, w.Sec/60%60, w.Sec%60)
}

// World is any bin at any moment. Lamp and Sun are kept apart, so that a slip
// can switch the lamp off and leave the daylight. All light is µmol m⁻² s⁻¹.
type World interface {
	Size() (rows, columns int)
	SensorAt() [2]int
	LampLight(r, c int, w When, ins Instrument) float64
	SunLight(r, c int, w When, ins Instrument) float64
	LampTimer() (Timer, bool) // false: no lamp here
	LampKind() string         // "led", "tube" or ""
	LuxPer() float64          // lux that one µmol shows here, roughly
	LightHours(day int) (fromSec, toSec int)
}

// Light is all the light at a place as an ideal head shows it.
func Light(w World, r, c int, t When) float64 {
	return w.LampLight(r, c, t, Instrument{}) + w.SunLight(r, c, t, Instrument{})
}

// DLI is the true daily light integral of each place, mol m⁻² d⁻¹: the plain
// sum over the minutes of the day, so that it can be checked by adding up.
func DLI(w World, day int) [][]float64 {
	rows, cols := w.Size()
	out := make([][]float64, rows)
	for r := range out {
		out[r] = make([]float64, cols)
		for c := range out[r] {
			sum := 0.0
			for m := range 1440 {
				sum += Light(w, r, c, When{day, m * 60})
			}
			out[r][c] = sum * 60 / 1e6
		}
	}
	return out
}
