package correlate

import (
	"fmt"
	"math"
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
func (e *Electricity) Say(check, of, format string, args ...any) {
	e.Checks = append(e.Checks, Check{Check: check, Of: of, Says: fmt.Sprintf(format, args...)})
}

// Price is what some current costs; nil where either is not known.
func (e *Electricity) Price(kwh *float64) *float64 {
	if kwh == nil || e.PerKWh == nil {
		return nil
	}
	return known(*kwh * *e.PerKWh)
}

func (e *Electricity) bin(name string) *BinCurrent {
	i := slices.IndexFunc(e.Bins, func(b BinCurrent) bool { return b.Bin == name })
	if i < 0 {
		return nil
	}
	return &e.Bins[i]
}

// perPlant asks a figure of each level of the bin factor, divided by the plants that
// were dealt there: every plant, guards too, carries an equal share of its bin's
// current. NaN where not known.
func (in *Input) perPlant(e *Electricity, of func(*BinCurrent) float64) []float64 {
	shares := make([]float64, len(in.Bin.Levels))
	plants := make([]float64, len(shares))
	for _, b := range in.Bin.Codes {
		if b != Blank {
			plants[b]++
		}
	}
	for i, name := range in.Bin.Levels {
		shares[i] = math.NaN()
		if b := e.bin(name); b != nil {
			shares[i] = of(b) / plants[i]
		}
	}
	return shares
}

// orNaN is a figure that may be absent.
func orNaN(x *float64) float64 {
	if x == nil {
		return math.NaN()
	}
	return *x
}

// electricity sets what was drawn against what came of it.
func (in *Input) electricity(outcomes []OutcomeResult) *Electricity {
	if in.Electricity == nil || in.Bin == nil {
		return in.Electricity
	}
	e := *in.Electricity
	e.Checks = slices.Clone(e.Checks)
	for i := range in.Treatments {
		if t := &in.Treatments[i]; t.SetPer == PerBin || t.SetPer == PerReservoir {
			e.Levels = append(e.Levels, in.levels(&e, t)...)
			e.sayAlike(t)
		}
	}
	for i := range outcomes {
		in.gains(&e, &outcomes[i])
	}
	return &e
}

// levels sums up the bins of each level of a treatment.
func (in *Input) levels(e *Electricity, t *Treatment) []LevelCurrent {
	var list []LevelCurrent
	for l, level := range t.Levels {
		c := LevelCurrent{Treatment: t.Name, Level: level}
		held := make([]bool, len(in.Bin.Levels))
		for i, b := range in.Bin.Codes {
			if b == Blank {
				continue
			}
			if t.Codes[i] == l {
				held[b] = true
			}
		}
		kwh, lamps, mol := 0.0, 0.0, 0.0
		for b, name := range in.Bin.Levels {
			if !held[b] {
				continue
			}
			c.Bins = append(c.Bins, name)
			for _, of := range in.Bin.Codes {
				if of == b {
					c.Plants++
				}
			}
			current := e.bin(name)
			if current == nil {
				current = &BinCurrent{}
			}
			kwh, lamps, mol = kwh+orNaN(current.KWh), lamps+orNaN(current.KWhLamps), mol+orNaN(current.Mol)
		}
		if len(c.Bins) == 0 {
			continue
		}
		c.KWh, c.KWhPerPlant = known(kwh), known(kwh/float64(c.Plants))
		c.Mol, c.KWhPerMol = known(mol), known(lamps/mol)
		c.Cost, c.CostPerPlant, c.CostPerMol = e.Price(c.KWh), e.Price(c.KWhPerPlant), e.Price(c.KWhPerMol)
		list = append(list, c)
	}
	return list
}

// alike is the share of the current a plant by which levels may differ and still have
// drawn the same: power cuts and the numbers of plants in bins make as much (our own
// choice).
const alike = 0.05

// drewAlike tells whether two levels of a treatment drew about the same a plant, so
// that no current bought what they differ by.
func (e *Electricity) drewAlike(treatment, a, b string) bool {
	perPlant := func(level string) float64 {
		i := slices.IndexFunc(e.Levels, func(l LevelCurrent) bool { return l.Treatment == treatment && l.Level == level })
		if i < 0 {
			return math.NaN()
		}
		return orNaN(e.Levels[i].KWhPerPlant)
	}
	x, y := perPlant(a), perPlant(b)
	return math.Abs(x-y) <= alike*max(x, y)
}

// sayAlike says which levels drew alike.
func (e *Electricity) sayAlike(t *Treatment) {
	for i, b := range t.Levels {
		for _, a := range t.Levels[i+1:] {
			if e.drewAlike(t.Name, a, b) {
				e.Say("gain", t.Name, "%s and %s drew alike, to within %s a plant, so no current is set against a gain", a, b, percent(alike))
			}
		}
	}
}

// gains finds what an extra unit of one outcome took.
func (in *Input) gains(e *Electricity, r *OutcomeResult) {
	if r.Model == "" || len(r.Points) == 0 {
		return
	}
	out := &in.Outcomes[slices.IndexFunc(in.Outcomes, func(o Outcome) bool { return o.Name == r.Name })]
	switch {
	case out.Kind == YesNo:
		e.Say("gain", r.Name, "%s is yes or no: odds are no number of plants, so no current can be given for one more of them", r.Name)
		return
	case out.Exposure != nil:
		e.Say("gain", r.Name, "%s is counted per %s, so no current can be given for one more of it", r.Name, out.Exposure.Name)
		return
	}
	in.untested(e, r)
	current := in.perPlant(e, func(b *BinCurrent) float64 { return orNaN(b.KWh) })
	for _, c := range r.Comparisons {
		i := slices.IndexFunc(in.Treatments, func(t Treatment) bool { return t.Name == c.Treatment })
		if i < 0 || in.Treatments[i].SetPer != PerBin && in.Treatments[i].SetPer != PerReservoir || c.CI95 == nil || e.drewAlike(c.Treatment, c.A, c.B) {
			continue
		}
		t := &in.Treatments[i]
		a, b := in.meanOf(r, t, c.A, current), in.meanOf(r, t, c.B, current)
		if g, ok := gainOf(r, c, a-b); ok {
			e.add(r, g)
		}
	}
	in.gainByLight(e, r)
}

// untested says of which treatments of whole bins no gain is known.
func (in *Input) untested(e *Electricity, r *OutcomeResult) {
	for _, t := range in.Treatments {
		levels := 0
		for _, g := range r.Groups {
			if len(g.Levels) == 1 && g.Levels[t.Name] != "" {
				levels++
			}
		}
		compared := slices.ContainsFunc(r.Comparisons, func(c Comparison) bool { return c.Treatment == t.Name })
		if (t.SetPer == PerBin || t.SetPer == PerReservoir) && levels > 1 && !compared {
			e.Say("gain", r.Name, "the levels of %s could not be compared in %s, so no current can be given for a gain", t.Name, r.Name)
		}
	}
}

// meanOf is a figure of bins in the mean over an outcome's plants that have a level.
func (in *Input) meanOf(r *OutcomeResult, t *Treatment, level string, ofBin []float64) float64 {
	sum, n := 0.0, 0.0
	for _, p := range r.Points {
		code, b := t.Codes[p.Row], in.Bin.Codes[p.Row]
		if code != Blank && t.Levels[code] == level && b != Blank {
			sum, n = sum+ofBin[b], n+1
		}
	}
	return sum / n
}

// gainOf turns a comparison towards the level that drew more: extra is what a plant
// of a drew beyond one of b, in kWh. A ratio becomes a difference at the other
// level's adjusted mean, which is taken as it stands.
func gainOf(r *OutcomeResult, c Comparison, extra float64) (g ElectricityGain, ok bool) {
	g = ElectricityGain{By: c.Treatment, More: c.A, Less: c.B, KWhPerPlant: extra}
	sign := 1.0
	if extra < 0 {
		g.More, g.Less, g.KWhPerPlant, sign = c.B, c.A, -extra, -1
	}
	value, ci := c.Difference, *c.CI95
	g.Says = "a gain is the difference of adjusted means a plant"
	switch {
	case value != nil:
		g.GainPerPlant, g.GainCI95 = sign**value, [2]float64{sign * ci[0], sign * ci[1]}
	case c.Ratio != nil:
		i := slices.IndexFunc(r.Groups, func(g Group) bool { return len(g.Levels) == 1 && g.Levels[c.Treatment] == lesser(c, sign) })
		if i < 0 || r.Groups[i].AdjustedMean == nil {
			return g, false
		}
		mean := *r.Groups[i].AdjustedMean
		of := func(ratio float64) float64 { return mean * (math.Pow(ratio, sign) - 1) }
		g.GainPerPlant, g.GainCI95 = of(*c.Ratio), [2]float64{of(ci[0]), of(ci[1])}
		g.Says = fmt.Sprintf("a gain is %s's adjusted mean, %s, times the ratio less one, that mean taken as it stands%s", g.Less, unit(Number(mean), r.Unit), typical(r))
	default:
		return g, false
	}
	if sign < 0 {
		g.GainCI95[0], g.GainCI95[1] = g.GainCI95[1], g.GainCI95[0]
	}
	g.Says += "; every plant dealt to a bin carries an equal share of its current"
	return g, known(extra) != nil && g.KWhPerPlant > 0
}

// lesser is the level that drew less.
func lesser(c Comparison, sign float64) string {
	if sign < 0 {
		return c.A
	}
	return c.B
}

// typical says what a mean on the log scale is.
func typical(r *OutcomeResult) string {
	if r.Scale == Log {
		return "; on a log scale that is a typical plant, by the geometric mean"
	}
	return ""
}

// gainByLight finds what an extra unit took by way of light: the slope in the model,
// set against what 1 mol m⁻² d⁻¹ more would have drawn if lamps draw in proportion
// to the light of their bins.
func (in *Input) gainByLight(e *Electricity, r *OutcomeResult) {
	if r.Light == nil || r.Light.CI95 == nil || r.Light.Slope.Slope == nil {
		return
	}
	if e.Windowed {
		e.Say("gain by light", r.Name, "light is counted over a part of the trial and current over all of it, so no current can be given for a gain by light")
		return
	}
	perDLI := in.perPlant(e, func(b *BinCurrent) float64 {
		if b.KWhPerMol == nil { // light or current is not known
			return math.NaN()
		}
		return orNaN(b.KWhLamps) / orNaN(b.MeanDLI)
	})
	kwh, sum, logs := 0.0, 0.0, 0.0
	for _, p := range r.Points {
		b := in.Bin.Codes[p.Row]
		if b == Blank {
			return
		}
		kwh, sum, logs = kwh+perDLI[b], sum+p.Value, logs+math.Log(p.Value)
	}
	n := float64(len(r.Points))
	g := ElectricityGain{By: "light", KWhPerPlant: kwh / n}
	slope, ci := *r.Light.Slope.Slope, *r.Light.CI95
	switch {
	case r.Scale == Log, r.Kind == Count:
		mean := sum / n
		if r.Scale == Log {
			mean = math.Exp(logs / n)
		}
		of := func(slope float64) float64 { return mean * math.Expm1(slope) }
		g.GainPerPlant, g.GainCI95 = of(slope), [2]float64{of(ci[0]), of(ci[1])}
		g.Says = fmt.Sprintf("a gain is the mean, %s, times what 1 mol m⁻² d⁻¹ more multiplies it by less one%s", unit(Number(mean), r.Unit), typical(r))
	default:
		g.GainPerPlant, g.GainCI95 = slope, ci
		g.Says = "a gain is the slope in the model"
	}
	g.Says += "; the current of the lamps is taken to rise in proportion to the light of their bins"
	if known(g.KWhPerPlant) != nil && g.KWhPerPlant > 0 {
		e.add(r, g)
	}
}

// add enters a gain with what a unit of it took: the extra current over the gain, and
// over either end of its interval.
func (e *Electricity) add(r *OutcomeResult, g ElectricityGain) {
	g.Outcome, g.Of, g.Unit = r.Name, r.Of, r.Unit
	if r.Missing > 0 {
		g.Says += "; a gain is that of plants which have a value: where some were lost, a unit took more"
	}
	switch low, high := g.GainCI95[0], g.GainCI95[1]; {
	case low > 0:
		g.Verdict = Bounded
		g.KWhPerUnit, g.KWhPerUnitCI95 = known(g.KWhPerPlant/g.GainPerPlant), knownPair([2]float64{g.KWhPerPlant / high, g.KWhPerPlant / low})
		g.CostPerUnit = e.Price(g.KWhPerUnit)
		if ci := g.KWhPerUnitCI95; ci != nil && e.PerKWh != nil {
			g.CostCI95 = &[2]float64{*e.PerKWh * ci[0], *e.PerKWh * ci[1]}
		}
	case high > 0:
		g.Verdict = Unbounded
		g.KWhAtLeast = known(g.KWhPerPlant / high)
		g.CostAtLeast = e.Price(g.KWhAtLeast)
	default:
		g.Verdict = Loss
	}
	e.Gains = append(e.Gains, g)
}

// gainsOf are the gains of one outcome's result.
func (e *Electricity) gainsOf(r *OutcomeResult) []ElectricityGain {
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
