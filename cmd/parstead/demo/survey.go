package demo

import (
	"math"
	"slices"
	"time"

	"parstead/light"
)

const (
	meterNoise  = 0.06 // of one reading of the handheld meter
	meterGainSD = 0.03
	meterName   = "handheld"
	stepEvery   = 20 * time.Second // from one reading of a walk to the next
)

// walk is one round over the rack with the handheld meter.
type walk struct {
	readings  []light.SurveyReading
	endsTimed bool // the grower wrote the time of the first and the last reading only
}

// survey walks the rack four times. Three walks read a random half of each
// bin's positions, there and back; the second reads every position once.
func (w *World) survey() {
	rng := w.stream(streamSurvey)
	gain := 1 + meterGainSD*rng.NormFloat64()
	for n, day := range w.season.walks {
		at := w.clock(day, 10, 0)
		tour := walk{endsTimed: n == 1}
		for i := range w.places {
			b := &w.places[i]
			cells := rng.Perm(len(b.field[0]))
			if n != 1 {
				cells = cells[:len(cells)/2]
			}
			slices.Sort(cells)
			if n != 1 {
				back := slices.Clone(cells)
				slices.Reverse(back)
				cells = append(cells, back...)
			}
			for _, cell := range cells {
				v := w.inAir(b, cell, at) * gain * math.Exp(meterNoise*rng.NormFloat64())
				tour.readings = append(tour.readings, light.SurveyReading{
					At: at, Position: b.at(cell), Measures: light.QuantityPPFD,
					Value: round(v, 0.1), Meter: meterName,
				})
				at = at.Add(stepEvery)
			}
		}
		w.walks = append(w.walks, tour)
		w.Rack.Survey = append(w.Rack.Survey, tour.readings...)
	}
}
