package daylight

import (
	"math"
	"slices"

	"parstead/light"
)

// why says what of the readings shows the sun; "" where nothing does.
func why(days []day) string {
	for _, sign := range []struct {
		shows func([]day) bool
		words string
	}{
		{func(d []day) bool { return slices.ContainsFunc(d, day.outside) }, "there is light outside the timer's hours"},
		{func(d []day) bool { return slices.ContainsFunc(d, day.ripples) }, "its light changes from hour to hour while the same lamps are on"},
		{part, "the ratio of its sensors changes with the hour"},
	} {
		looked, showing := 0, 0
		for _, of := range byDate(days) {
			looked++
			if sign.shows(of) {
				showing++
			}
		}
		if showing >= leastDays {
			return sign.words
		}
	}
	return ""
}

// byDate parts the days by date; those without any reading are left out.
func byDate(days []day) (parted [][]day) {
	var last light.Date
	for _, d := range days {
		if !slices.ContainsFunc(d.hours, func(h hour) bool { return !math.IsNaN(h.mean) }) {
			continue
		}
		if len(parted) == 0 || d.date != last {
			parted = append(parted, nil)
			last = d.date
		}
		parted[len(parted)-1] = append(parted[len(parted)-1], d)
	}
	return parted
}

// outside tells whether there is light far from the timer's hours that is not as
// steady as a lamp's.
func (d day) outside() bool {
	brightest := 0.0
	for _, h := range d.hours {
		if h.mean > brightest {
			brightest = h.mean
		}
	}
	var logs []float64
	for _, h := range d.hours {
		if h.away && h.mean > max(d.least, faint*brightest) {
			logs = append(logs, math.Log(h.mean))
		}
	}
	slices.Sort(logs)
	logs = logs[min(2, len(logs)):] // hours in which a lamp came and went are part of a lamp's light
	return len(logs) >= shown && sd(logs) > unsteady
}

// ripples tells whether light changes from hour to hour under the same lamps,
// hours in which they are out left aside.
func (d day) ripples() bool {
	sets := map[int][]float64{}
	for _, h := range d.hours {
		if h.lamps > 0 && h.mean > d.least {
			sets[h.lamps] = append(sets[h.lamps], math.Log(h.mean))
		}
	}
	for _, logs := range sets {
		slices.Sort(logs)
		middle := logs[len(logs)/2]
		logs = slices.DeleteFunc(logs, func(x float64) bool { return x < middle+math.Log(out) })
		// A lamp that fails for part of an hour darkens that hour alone: the least
		// of them all says nothing.
		if n := len(logs); n > 2*shown && logs[n-2]-logs[1] > ripple {
			return true
		}
	}
	return false
}

// part tells whether the ratio of any two sensors of one day changes with the hour
// under the same lamps.
func part(days []day) bool {
	for i := range days {
		for k := range i {
			a, b := days[k], days[i]
			sets := map[int][]float64{}
			for h := range min(len(a.hours), len(b.hours)) {
				x, y := a.hours[h], b.hours[h]
				if x.lamps > 0 && x.mean > 3*a.least && y.mean > 3*b.least {
					sets[x.lamps] = append(sets[x.lamps], math.Log(x.mean/y.mean))
				}
			}
			for _, logs := range sets {
				slices.Sort(logs)
				if n := len(logs); n > 2*shown && logs[n-2]-logs[1] > parting {
					return true
				}
			}
		}
	}
	return false
}

// sunshine is the share of each clock hour's light that is the sun's: what the
// lamps' own light, by the timer's switchings, does not explain. nil where no
// switching shows what the lamps give.
func sunshine(days []day) []float64 {
	levels := map[int][]float64{}
	for _, d := range days {
		if !math.IsNaN(d.level) {
			levels[d.sensor] = append(levels[d.sensor], d.level)
		}
	}
	var sun, all [24]float64
	for _, d := range days {
		lamp := levels[d.sensor]
		if len(lamp) == 0 {
			continue
		}
		slices.Sort(lamp)
		level := max(lamp[len(lamp)/2], 0)
		for _, h := range d.hours {
			if math.IsNaN(h.mean) || h.mean < 0 {
				continue
			}
			own := h.mean
			if h.lamps != 0 { // in an hour of switching too: the more careful share
				own = max(h.mean-level, 0)
			}
			if h.lamps == mixed {
				own = h.mean
			}
			all[h.clock] += h.mean / max(level, d.least)
			sun[h.clock] += own / max(level, d.least)
		}
	}
	if len(levels) == 0 {
		return nil
	}
	shares := make([]float64, 24)
	for h := range shares {
		if all[h] > 0 {
			shares[h] = sun[h] / all[h]
		}
	}
	return shares
}

func sd(x []float64) float64 {
	m, squares := mean(x), 0.0
	for _, v := range x {
		squares += (v - m) * (v - m)
	}
	return math.Sqrt(squares / float64(len(x)-1))
}
