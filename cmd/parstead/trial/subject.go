package trial

import (
	"fmt"
	"slices"
	"time"

	"parstead/light"
)

// CheckSubject tells whether what an event of the log is about is there: its
// bin, its plant, its sensor.
func (t *Trial) CheckSubject(e light.Event) error {
	if e.Bin != "" {
		if _, ok := t.Rack.Bin(e.Bin); !ok {
			return fmt.Errorf("trial.toml has no bin %q: name one of its bins", e.Bin)
		}
	}
	if e.Plant != "" {
		if _, ok := t.Plant(e.Plant); !ok {
			return fmt.Errorf("the trial has no plant %q: use a code of its sheets", e.Plant)
		}
	}
	if e.Sensor != "" && !slices.ContainsFunc(t.Rack.Sensors, func(s light.Sensor) bool { return s.Name == e.Sensor }) {
		return fmt.Errorf("trial.toml has no sensor %q: name one of its sensors", e.Sensor)
	}
	return nil
}

// PlantAt is the code of the plant that stands at a position; "" for none.
func (t *Trial) PlantAt(p light.Position, at time.Time) string {
	for i := range t.Plants {
		for _, stay := range t.Plants[i].Stays {
			if stay.Position == p && stay.During.Holds(at) {
				return t.Plants[i].Code
			}
		}
	}
	return ""
}

// PlaceAt is where a plant stands; after its last stay, where it stood then.
func (p *Plant) PlaceAt(at time.Time) (light.Position, bool) {
	if len(p.Stays) == 0 {
		return p.Place, p.Place != light.Position{}
	}
	for _, s := range p.Stays {
		if at.Before(s.During.Until) {
			return s.Position, true
		}
	}
	return p.Stays[len(p.Stays)-1].Position, true
}
