package correlate

import (
	"fmt"
	"math"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
)

// perPlant asks a figure of each level of the bin factor, divided by the plants that
// were dealt there: every plant, guards too, carries an equal share of its bin's
// current. NaN where not known.
func (in question) perPlant(e *Electricity, of func(*BinCurrent) float64) []float64 {
	shares := make([]float64, len(in.Bin.Levels))
	plants := make([]float64, len(shares))
	for _, b := range in.Bin.Codes {
		if b != Blank {
			plants[b]++
		}
	}
	for i, name := range in.Bin.Levels {
		shares[i] = math.NaN()
		if b := e.Bin(name); b != nil {
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
func (in question) electricity(outcomes []OutcomeResult) *Electricity {
	if in.Electricity == nil || in.Bin == nil {
		return in.Electricity
	}
	e := *in.Electricity
	e.Checks = slices.Clone(e.Checks)
	for i := range in.Treatments {
		if t := &in.Treatments[i]; t.SetPer == PerBin || t.SetPer == PerReservoir {
			e.Levels = append(e.Levels, in.levels(&e, t)...)
			sayAlike(&e, t)
		}
	}
	for i := range outcomes {
		in.gains(&e, &outcomes[i])
	}
	return &e
}

// levels sums up the bins of each level of a treatment.
func (in question) levels(e *Electricity, t *Treatment) []LevelCurrent {
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
			current := e.Bin(name)
			if current == nil {
				current = &BinCurrent{}
			}
			kwh, lamps, mol = kwh+orNaN(current.KWh), lamps+orNaN(current.KWhLamps), mol+orNaN(current.Mol)
		}
		if len(c.Bins) == 0 {
			continue
		}
		c.KWh, c.KWhPerPlant = analysis.Known(kwh), analysis.Known(kwh/float64(c.Plants))
		c.Mol, c.KWhPerMol = analysis.Known(mol), analysis.Known(lamps/mol)
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
func drewAlike(e *Electricity, treatment, a, b string) bool {
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
func sayAlike(e *Electricity, t *Treatment) {
	for i, b := range t.Levels {
		for _, a := range t.Levels[i+1:] {
			if drewAlike(e, t.Name, a, b) {
				e.Say("gain", t.Name, "%s and %s drew alike, to within %s a plant, so no current is set against a gain", a, b, phrase.Percent(alike))
			}
		}
	}
}

// gains finds what an extra unit of one outcome took.
func (in question) gains(e *Electricity, r *OutcomeResult) {
	if r.Model == "" || len(r.Points) == 0 {
		return
	}
	out := &in.Outcomes[slices.IndexFunc(in.Outcomes, func(o Outcome) bool { return o.Name == r.Name })]
	switch {
	case kind.Of(out.Kind).Answers:
		e.Say("gain", r.Name, "%s is yes or no: odds are no number of plants, so no current can be given for one more of them", r.Name)
		return
	case out.Exposure != nil:
		e.Say("gain", r.Name, "%s is counted per %s, so no current can be given for one more of it", r.Name, out.Exposure.Name)
		return
	}
	in.untested(e, r)
	current := in.perPlant(e, func(b *BinCurrent) float64 { return orNaN(b.KWh) })
	for _, c := range r.Comparisons {
		t := &in.Treatments[c.Term.A]
		if c.Term.Kind != model.KindTreatment || t.SetPer != PerBin && t.SetPer != PerReservoir || c.CI95 == nil || drewAlike(e, c.Treatment, c.A, c.B) {
			continue
		}
		if g, ok := gainOf(r, c, in.meanOf(r, c.CellA, current)-in.meanOf(r, c.CellB, current)); ok {
			addGain(e, r, g)
		}
	}
	in.gainByLight(e, r)
}

// untested says of which treatments of whole bins no gain is known.
func (in question) untested(e *Electricity, r *OutcomeResult) {
	for i, t := range in.Treatments {
		levels := 0
		for _, g := range r.Groups {
			if _, ok := g.Cell.Level(i); ok && len(g.Cell) == 1 {
				levels++
			}
		}
		compared := slices.ContainsFunc(r.Comparisons, func(c Comparison) bool { return c.Term == analysis.TreatmentTerm(i) })
		if (t.SetPer == PerBin || t.SetPer == PerReservoir) && levels > 1 && !compared {
			e.Say("gain", r.Name, "the levels of %s could not be compared in %s, so no current can be given for a gain", t.Name, r.Name)
		}
	}
}

// meanOf is a figure of bins in the mean over an outcome's plants in a cell of one
// treatment.
func (in question) meanOf(r *OutcomeResult, cell analysis.Cell, ofBin []float64) float64 {
	sum, n := 0.0, 0.0
	for _, p := range r.Points {
		b := in.Bin.Codes[p.Row]
		if b != Blank && in.Treatments[cell[0].Treatment].Codes[p.Row] == cell[0].Level {
			sum, n = sum+ofBin[b], n+1
		}
	}
	return sum / n
}

// gainOf turns a comparison towards the level that drew more: extra is what a plant
// of a drew beyond one of b, in kWh. A ratio becomes a difference at the other
// level's adjusted mean, which is taken as it stands.
func gainOf(r *OutcomeResult, c Comparison, extra float64) (g ElectricityGain, ok bool) {
	g = ElectricityGain{By: c.Treatment, Term: c.Term, More: c.A, Less: c.B, KWhPerPlant: extra}
	sign, less := 1.0, c.CellB
	if extra < 0 {
		g.More, g.Less, g.KWhPerPlant, sign, less = c.B, c.A, -extra, -1, c.CellA
	}
	value, ci := c.Difference, *c.CI95
	g.Says = "a gain is the difference of adjusted means a plant"
	switch {
	case value != nil:
		g.GainPerPlant, g.GainCI95 = sign**value, [2]float64{sign * ci[0], sign * ci[1]}
	case c.Ratio != nil:
		i := slices.IndexFunc(r.Groups, func(g Group) bool { return slices.Equal(g.Cell, less) })
		if i < 0 || r.Groups[i].AdjustedMean == nil {
			return g, false
		}
		mean := *r.Groups[i].AdjustedMean
		of := func(ratio float64) float64 { return mean * (math.Pow(ratio, sign) - 1) }
		g.GainPerPlant, g.GainCI95 = of(*c.Ratio), [2]float64{of(ci[0]), of(ci[1])}
		g.Says = fmt.Sprintf("a gain is %s's adjusted mean, %s, times the ratio less one, that mean taken as it stands%s", g.Less, phrase.Unit(phrase.Number(mean), r.Unit), typical(r))
	default:
		return g, false
	}
	if sign < 0 {
		g.GainCI95[0], g.GainCI95[1] = g.GainCI95[1], g.GainCI95[0]
	}
	g.Says += "; every plant dealt to a bin carries an equal share of its current"
	return g, analysis.Known(extra) != nil && g.KWhPerPlant > 0
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
func (in question) gainByLight(e *Electricity, r *OutcomeResult) {
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
	g := ElectricityGain{By: "light", Term: analysis.LightTerm(), KWhPerPlant: kwh / n}
	slope, ci := *r.Light.Slope.Slope, *r.Light.CI95
	switch {
	case kind.Compared(r.Kind, r.Scale) == kind.Ratio:
		mean := sum / n
		if r.Scale == Log {
			mean = math.Exp(logs / n)
		}
		of := func(slope float64) float64 { return mean * math.Expm1(slope) }
		g.GainPerPlant, g.GainCI95 = of(slope), [2]float64{of(ci[0]), of(ci[1])}
		g.Says = fmt.Sprintf("a gain is the mean, %s, times what 1 mol m⁻² d⁻¹ more multiplies it by less one%s", phrase.Unit(phrase.Number(mean), r.Unit), typical(r))
	default:
		g.GainPerPlant, g.GainCI95 = slope, ci
		g.Says = "a gain is the slope in the model"
	}
	g.Says += "; the current of the lamps is taken to rise in proportion to the light of their bins"
	if analysis.Known(g.KWhPerPlant) != nil && g.KWhPerPlant > 0 {
		addGain(e, r, g)
	}
}

// add enters a gain with what a unit of it took: the extra current over the gain, and
// over either end of its interval.
func addGain(e *Electricity, r *OutcomeResult, g ElectricityGain) {
	g.Outcome, g.Of, g.Unit = r.Name, r.Of, r.Unit
	if r.Missing > 0 {
		g.Says += "; a gain is that of plants which have a value: where some were lost, a unit took more"
	}
	switch low, high := g.GainCI95[0], g.GainCI95[1]; {
	case low > 0:
		g.Verdict = Bounded
		g.KWhPerUnit, g.KWhPerUnitCI95 = analysis.Known(g.KWhPerPlant/g.GainPerPlant), analysis.KnownPair([2]float64{g.KWhPerPlant / high, g.KWhPerPlant / low})
		g.CostPerUnit = e.Price(g.KWhPerUnit)
		if ci := g.KWhPerUnitCI95; ci != nil && e.PerKWh != nil {
			g.CostCI95 = &[2]float64{*e.PerKWh * ci[0], *e.PerKWh * ci[1]}
		}
	case high > 0:
		g.Verdict = Unbounded
		g.KWhAtLeast = analysis.Known(g.KWhPerPlant / high)
		g.CostAtLeast = e.Price(g.KWhAtLeast)
	default:
		g.Verdict = Loss
	}
	e.Gains = append(e.Gains, g)
}
