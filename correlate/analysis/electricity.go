package analysis

import (
	"fmt"
	"reflect"
	"slices"

	"parstead/light"
)

// Electricity is the current that a trial drew, the light that came of it, and what
// an extra unit of an outcome took. The caller of Analyse fills in the part that is
// known without a harvest: everything but Levels and Gains.
type Electricity struct {
	Currency string            `json:"currency,omitempty"`
	PerKWh   *float64          `json:"per_kwh,omitempty"` // nil where no price is given: costs are then absent
	From     light.Date        `json:"from"`
	To       light.Date        `json:"to"`
	Hours    string            `json:"hours"` // how hours were counted, as a sentence
	KWh      *float64          `json:"kwh,omitempty"`
	Cost     *float64          `json:"cost,omitempty"`
	Draws    []Draw            `json:"draws"`
	Bins     []BinCurrent      `json:"bins"`
	Levels   []LevelCurrent    `json:"levels,omitempty"`
	Gains    []ElectricityGain `json:"gains,omitempty"`
	Checks   []Check           `json:"checks"`

	// Windowed tells that plants' light is that of a part of the trial, which the
	// current of the whole can't be set against.
	Windowed bool `json:"-"`
}

// Draw is what one lamp or one load drew.
type Draw struct {
	Name  string   `json:"name"`
	Kind  string   `json:"kind"` // lamp or load
	Watts *float64 `json:"watts,omitempty"`
	Hours *float64 `json:"hours,omitempty"`
	KWh   *float64 `json:"kwh,omitempty"`
	Cost  *float64 `json:"cost,omitempty"`
	Bins  []string `json:"bins"`
}

// BinCurrent is a bin's share of the current, and its light. Light is set against
// the current of lamps alone.
type BinCurrent struct {
	Bin               string      `json:"bin"`
	KWh               *float64    `json:"kwh,omitempty"`
	KWhLamps          *float64    `json:"kwh_lamps,omitempty"`
	Cost              *float64    `json:"cost,omitempty"`
	Mol               *float64    `json:"mol,omitempty"`      // on the area of the grid
	MeanDLI           *float64    `json:"mean_dli,omitempty"` // mol m⁻² d⁻¹
	KWhPerMol         *float64    `json:"kwh_per_mol,omitempty"`
	KWhPerMolBetween  *[2]float64 `json:"kwh_per_mol_positions,omitempty"` // at the brightest and at the darkest position
	CostPerMol        *float64    `json:"cost_per_mol,omitempty"`
	RelativeError     *float64    `json:"relative_error,omitempty"` // of Mol: one standard deviation
	Filled            *float64    `json:"filled,omitempty"`         // share of Mol that was estimated
	Source            string      `json:"source,omitempty"`         // of the light: sensor, map, bin or timer
	TimerHoursPerDay  *float64    `json:"timer_hours_per_day,omitempty"`
	SensorHoursPerDay *float64    `json:"sensor_hours_per_day,omitempty"`
}

// LevelCurrent is the current of the bins that got one level of a treatment.
type LevelCurrent struct {
	Treatment    string   `json:"treatment"`
	Level        string   `json:"level"`
	Bins         []string `json:"bins"`
	Plants       int      `json:"plants"` // that were dealt there, guards too
	KWh          *float64 `json:"kwh,omitempty"`
	Cost         *float64 `json:"cost,omitempty"`
	KWhPerPlant  *float64 `json:"kwh_per_plant,omitempty"`
	CostPerPlant *float64 `json:"cost_per_plant,omitempty"`
	Mol          *float64 `json:"mol,omitempty"`
	KWhPerMol    *float64 `json:"kwh_per_mol,omitempty"`
	CostPerMol   *float64 `json:"cost_per_mol,omitempty"`
}

// ElectricityGain is what an extra unit of an outcome took: by a treatment, of the
// level that drew more current in place of the one that drew less; or by light, of
// 1 mol m⁻² d⁻¹ more.
type ElectricityGain struct {
	Outcome string            `json:"outcome"`
	Of      map[string]string `json:"of,omitempty"`
	Unit    string            `json:"unit,omitempty"`
	By      string            `json:"by"` // the treatment, or light
	Term    Term              `json:"-"`  // which of these
	More    string            `json:"more,omitempty"`
	Less    string            `json:"less,omitempty"`

	KWhPerPlant  float64    `json:"kwh_per_plant"` // more than the other's
	GainPerPlant float64    `json:"gain_per_plant"`
	GainCI95     [2]float64 `json:"gain_ci95"`

	Verdict        string      `json:"verdict"` // bounded, unbounded or loss
	KWhPerUnit     *float64    `json:"kwh_per_unit,omitempty"`
	KWhPerUnitCI95 *[2]float64 `json:"kwh_per_unit_ci95,omitempty"`
	KWhAtLeast     *float64    `json:"kwh_per_unit_at_least,omitempty"` // where unbounded: the interval's lower end
	CostPerUnit    *float64    `json:"cost_per_unit,omitempty"`
	CostCI95       *[2]float64 `json:"cost_per_unit_ci95,omitempty"`
	CostAtLeast    *float64    `json:"cost_per_unit_at_least,omitempty"`
	Says           string      `json:"says"` // what the figures rest on
}

// What can be said of an extra unit's current.
const (
	Bounded   = "bounded"   // the gain's interval leaves out zero
	Unbounded = "unbounded" // it holds zero: maybe no current buys a unit
	Loss      = "loss"      // more current gave less
)

// Say adds a check.
func (e *Electricity) Say(check Code, of, format string, args ...any) {
	e.Checks = append(e.Checks, Check{Check: check, Of: of, Says: fmt.Sprintf(format, args...)})
}

// Price is what some current costs; nil where either is not known.
func (e *Electricity) Price(kwh *float64) *float64 {
	if kwh == nil || e.PerKWh == nil {
		return nil
	}
	return Known(*kwh * *e.PerKWh)
}

// Bin is the current of the bin called so; nil where there is none.
func (e *Electricity) Bin(name string) *BinCurrent {
	i := slices.IndexFunc(e.Bins, func(b BinCurrent) bool { return b.Bin == name })
	if i < 0 {
		return nil
	}
	return &e.Bins[i]
}

// GainsOf are the gains of one outcome's result.
func (e *Electricity) GainsOf(r *OutcomeResult) []ElectricityGain {
	if e == nil {
		return nil
	}
	var list []ElectricityGain
	for _, g := range e.Gains {
		if g.Outcome == r.Name && reflect.DeepEqual(g.Of, r.Of) {
			list = append(list, g)
		}
	}
	return list
}
