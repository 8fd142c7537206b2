//go:build worlds

package worlds

import "math"

// Instrument is how a light-receiving head stands in the light. The zero value
// is the ideal head: level, on the plane, with a true cosine response.
type Instrument struct {
	UpCM      float64    // height over the plane of the plants
	TiltDeg   float64    // off level
	TiltAzDeg float64    // toward which side, from +columns toward +rows
	Power     float64    // response cos^Power; 0 means 1. Poor diffusers: 1.1 to 1.6
	Tint      [2]float64 // weight of the two lamp spectra; 0 means 1
	Sun       float64    // weight of daylight beside lamp light; 0 means 1
}

// plain tells whether the head is as good as ideal: the map then has the answer.
func (i Instrument) plain() bool {
	return i.UpCM == 0 && i.TiltDeg == 0 && (i.Power == 0 || i.Power == 1) &&
		i.weight(0) == 1 && i.weight(1) == 1
}

func (i Instrument) sunWeight() float64 {
	if i.Sun != 0 {
		return i.Sun
	}
	return 1
}

func (i Instrument) normal() Vec { return tilted(i.TiltDeg, i.TiltAzDeg) }

func (i Instrument) weight(tint int) float64 {
	if w := i.Tint[tint]; w != 0 {
		return w
	}
	return 1
}

// respond is the head's answer to light arriving at an angle with this cosine.
func (i Instrument) respond(cos float64) float64 {
	if cos <= 0 {
		return 0
	}
	if i.Power == 0 || i.Power == 1 {
		return cos
	}
	return math.Pow(cos, i.Power)
}
