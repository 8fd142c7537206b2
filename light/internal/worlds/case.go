//go:build worlds

package worlds

import "fmt"

// Case is one whole examination: a world, its probe, a walk and the truth.
type Case struct {
	Name   string
	World  World
	Probe  Probe
	Walk   Walk // clean; spoil it with a Slip if wanted
	Days   int
	Truth  [][]float64 // each place beside the sensor's, over all days
	Notes  []string
	Seed   uint64
	Moving bool // daylight: Truth is a season's mean and each day differs
}

// NewLampCase examines one family in a size with a coverage and sessions.
func NewLampCase(name string, rows, cols int, c Coverage, sessions int, seed uint64) (Case, error) {
	k, err := NewRack(name, rows, cols, seed)
	if err != nil {
		return Case{}, err
	}
	b := NewBin(k, seed)
	out := finish(b, c, sessions, 14, seed)
	out.Truth, out.Notes = k.Ratios(), k.Notes
	out.Name = fmt.Sprintf("%s %d×%d, walk %s × %d", name, rows, cols, c, sessions)
	return out, nil
}

// NewSunCase examines a bin in daylight; the walk falls in the first half of
// the days.
func NewSunCase(p DaylightPlan, c Coverage, sessions int, seed uint64) (Case, error) {
	d, err := NewDaylight(p, seed)
	if err != nil {
		return Case{}, err
	}
	out := finish(d, c, sessions, max(1, p.Days), seed)
	out.Truth, out.Notes, out.Moving = d.Season(0, max(1, p.Days)), d.Notes, true
	out.Name = fmt.Sprintf("%s %d×%d lamps %v, walk %s × %d", p.Kind, p.Rows, p.Columns, p.WithLamps, c, sessions)
	return out, nil
}

func finish(w World, c Coverage, sessions, days int, seed uint64) Case {
	g := Sub(seed, "case")
	m := NewMeter(g)
	plan := NewPlan(g, w, c, max(1, sessions), 0, days/2)
	return Case{World: w, Probe: NewProbe(seed), Walk: Take(w, m, plan, seed), Days: days, Seed: seed}
}

// Samples is the probe's series over the whole case.
func (c Case) Samples() []Sample { return c.Probe.Series(c.World, 0, c.Days, c.Seed) }
