package energy

import (
	"math"

	"parstead/light/account"
)

const (
	// mostMissing is the share of a bin's time beyond which its light is not summed up.
	mostMissing = 0.01
	// mostApart is how many hours a day a sensor's light may last longer or shorter
	// than the timer's: a sensor knows the switching to within two of its readings.
	mostApart = 0.5
)

// SeenHours is how long a bin's sensors saw light a day, by that plant of those
// that never moved which has most days; NaN where no sensor covers a day. Stays
// and plants are those of the light account.
func SeenHours(bin string, stays []account.PlantStay, plants []account.PlantLight) float64 {
	most, hours := 0, math.NaN()
	for i, p := range stays {
		seen := plants[i].Trial
		if len(p.Stays) == 1 && p.Stays[0].Position.Bin == bin && seen.Whole > most && !math.IsNaN(seen.Photoperiod) {
			most, hours = seen.Whole, seen.Photoperiod
		}
	}
	return hours
}

// HoursApart tells whether the hours a day in which sensors saw light are others
// than the timer's; not where either is NaN.
func HoursApart(timer, seen float64) bool { return math.Abs(seen-timer) > mostApart }

// TooLittleKnown tells whether so much of the light is missing that its sum says
// nothing.
func (d *Delivered) TooLittleKnown() bool { return d.Missing > mostMissing }

// TooMuch tells whether it is more light than any lamp can make of so much current.
func (d *Delivered) TooMuch(kWh float64) bool { return d.Mol > kWh*MostMolPerKWh }
