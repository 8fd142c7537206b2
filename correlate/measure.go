package correlate

import (
	"fmt"
	"math"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/dist"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
)

// measure analyses a measure by least squares.
type measure struct{}

func (measure) response(s *sample) model.Response { return model.Quantities(s.y) }

func (measure) analyse(s *sample, r *OutcomeResult) error {
	b, err := s.fitBoth(s.terms)
	if err != nil {
		return err
	}
	r.Model = "least squares"
	r.Scale = Natural
	if s.log {
		r.Scale = Log
	}
	if err := s.assemble(r, b); err != nil || b.with[0].Err != nil {
		return err
	}
	f := b.with[0].Model.(*model.Fit)
	r.ResidualDF = analysis.Known(float64(f.DF))
	if !f.Exact {
		r.ResidualSD = analysis.Known(f.SD())
	}
	slope, err := s.coefficients(r, f)
	if err != nil {
		return err
	}
	s.residuals = f.Residuals
	s.variance(r, f)
	tests := s.residualChecks(f)
	r.Checks = s.checks
	s.unequalSpread(r)
	s.suspects(r, f)
	s.light(r, b.with[0], slope)
	s.curves(r)
	s.bend(r, f)
	s.position(r, b)
	s.slopes(r, b.with[0], tests)
	s.robust(r, b, false)
	s.redealAll(r, b)
	return nil
}

// variance tells how far bins and plants differ by themselves.
func (s *sample) variance(r *OutcomeResult, f *model.Fit) {
	if bins, ok := f.BinSpread(s.terms); ok {
		r.Variance = append(r.Variance, analysis.Variance{Of: string(model.PerBin), SD: analysis.Known(bins.SD), CI95: analysis.KnownPair(bins.CI95)})
	} else if s.terms.Bin != nil {
		s.say("variance", "bin", "no bin is left to tell by how far bins differ by themselves")
	}
	if plants, ok := f.PlantSpread(); ok {
		r.Variance = append(r.Variance, analysis.Variance{Of: string(model.PerPlant), SD: analysis.Known(plants.SD), CI95: analysis.KnownPair(plants.CI95)})
	}
}

func (measure) brief(s *sample, r *OutcomeResult) error { return s.modelEffects(r) }

// coefficients lists a model's coefficients and gives the last, which is light's
// where light is in the model.
func (s *sample) coefficients(r *OutcomeResult, m model.Model) (last model.Coefficient, err error) {
	list, err := m.Coefficients()
	for _, c := range list {
		k := coefficient(c)
		k.Term = s.term(c.Term)
		r.Coefficients = append(r.Coefficients, k)
		last = c
	}
	return last, err
}

// coefficient is a model's coefficient as a result.
func coefficient(c model.Coefficient) Coefficient {
	k := Coefficient{Of: c.Name(), Level: c.Level, Against: c.Against, Estimate: analysis.Known(c.Value)}
	if c.OK() {
		k.SE, k.CI95 = analysis.Known(c.SE), analysis.KnownPair(c.CI95())
	}
	if c.OK() || c.Profile != nil {
		k.P = analysis.Known(c.P())
	}
	if c.HC3OK && c.HC3.OK() {
		k.SEHC3, k.PHC3 = analysis.Known(c.HC3.SE), analysis.Known(c.HC3.P())
	}
	return k
}

// cells numbers the treatment cell of each row; levels counts them. All rows
// are one cell where there is no treatment.
func (s *sample) cells() []int {
	cells := make([]int, len(s.rows))
	for _, t := range s.terms.Treatments {
		for k, l := range t.Of {
			cells[k] = cells[k]*len(t.Levels) + l
		}
	}
	sorted := slices.Clone(cells)
	slices.Sort(sorted)
	sorted = slices.Compact(sorted)
	for k, c := range cells {
		cells[k], _ = slices.BinarySearch(sorted, c)
	}
	return cells
}

// fewForShape is the number of plants under which no shape of their residuals can be
// seen: common practice, no source.
const fewForShape = 10

// residualChecks looks at what the model assumes of its residuals, slopes among them.
func (s *sample) residualChecks(f *model.Fit) []model.SlopeTest {
	if len(s.terms.Treatments) > 0 {
		s.test(Check{Check: analysis.SpreadAlike}, model.BrownForsythe(f.Residuals, s.cells()),
			"plants spread alike in all treatments, as far as can be seen",
			"plants do not spread alike in all treatments: read the columns se_hc3 and p_hc3, and unequal_spread where it is given")
	}
	if f.Exact {
		s.say("exact", "", "the model repeats every value but for rounding: no test or interval can be given")
	} else if len(f.Residuals) < fewForShape {
		s.say("normality", "", "too few plants to see whether the residuals are normal")
	} else if w, p, err := dist.ShapiroWilk(f.Residuals); err != nil {
		s.say("normality", "", "not tested: %v", err)
	} else {
		says := "the residuals look normal, as far as can be seen"
		if p < 0.05 {
			says = "the residuals are not normal; with few plants look at the pictures, with many it matters little"
		}
		s.checks = append(s.checks, Check{Check: "normality", Value: analysis.Known(w), P: analysis.Known(p), Says: says})
	}
	tests := s.slopeTests(f)
	s.test(Check{Check: analysis.Fits}, f.LackOfFit(),
		"rows that are alike leave no pattern that the model misses, as far as can be seen",
		"the model misses a pattern: rows that are alike lie off its line together")
	s.influence(f)
	return tests
}

// test adds a check with a test; one that could not be made is left out.
func (s *sample) test(c Check, t model.Test, fine, amiss string) {
	if !t.OK {
		return
	}
	c.Value, c.DF, c.P, c.Says = analysis.Known(t.Value), t.DF[:], analysis.Known(t.P), fine
	if t.Statistic == model.Chi2 {
		c.DF = t.DF[:1]
	}
	if t.P < 0.05 {
		c.Says = amiss
	}
	s.checks = append(s.checks, c)
}

// influence names the plant that moves the coefficients most.
//
//	Dᵢ = eᵢ² hᵢ / (p s² (1 − hᵢ)²)
//
// Cook (1977), Technometrics 19:15–18.
func (s *sample) influence(f *model.Fit) {
	if f.Exact {
		return
	}
	most, at, alone := 0.0, -1, 0
	for k, e := range f.Residuals {
		if f.Alone(k) {
			alone++
			continue
		}
		h := f.Hat[k]
		if d := e * e * h / (float64(len(f.Beta)) * f.MeanSquare() * (1 - h) * (1 - h)); d > most {
			most, at = d, k
		}
	}
	if alone > 0 {
		s.say("influence", "", "%d of the plants each stand alone in their cell: nothing can be checked against them", alone)
	}
	if at < 0 {
		return
	}
	plant := s.in.Plants[s.rows[at]]
	named := phrase.Plant(plant, s.in.Table)
	says := fmt.Sprintf("%s moves the results most, and not by much", named)
	switch {
	case most > 1:
		says = fmt.Sprintf("%s alone moves the results a great deal: look at it again", named)
	case most > 0.5: // common practice, no source
		says = fmt.Sprintf("%s moves the results more than any other: look at it again", named)
	}
	s.checks = append(s.checks, Check{Check: "influence", Of: plant, Value: analysis.Known(most), Says: says})
}

// unequalSpread compares the levels of one treatment without taking their
// spreads to be alike, where nothing else is in the model.
func (s *sample) unequalSpread(r *OutcomeResult) {
	t := s.terms
	if len(t.Treatments) != 1 || t.Treatments[0].SetPer != model.PerPlant || t.Block != nil || t.Bin != nil ||
		len(t.Covariates) > 0 || s.figures != nil {
		return
	}
	var groups [][]float64
	var levels []string
	for l, level := range t.Treatments[0].Levels {
		var values []float64
		for k, of := range t.Treatments[0].Of {
			if of == l {
				values = append(values, s.y[k])
			}
		}
		if len(values) > 0 {
			groups, levels = append(groups, values), append(levels, level)
		}
	}
	u := &UnequalSpread{}
	if w := model.Welch(groups); w.OK && analysis.Known(w.DF[1]) != nil {
		u.Welch = &WelchTest{Value: w.Value, DF: w.DF, P: w.P}
	}
	for _, p := range model.GamesHowell(groups) {
		cell := func(l int) analysis.Cell { return analysis.Cell{s.in.level(t.Treatments[0].Name, levels[l])} }
		mean, _ := model.MeanSD(groups[p.B])
		u.GamesHowell = append(u.GamesHowell, s.ownPair(p, levels[p.A], levels[p.B], cell(p.A), cell(p.B), mean))
	}
	if u.Welch == nil && u.GamesHowell == nil {
		s.say("unequal_spread", "", "a level has fewer than two plants or no spread: levels cannot be compared with spreads of their own")
		return
	}
	r.UnequalSpread = u
}

// suspects lists plants that lie further off than chance lets one in so many,
// with the p value of the first effect when the plant is left out.
func (s *sample) suspects(r *OutcomeResult, f *model.Fit) {
	const shown = 20
	list := f.Suspects()
	if len(list) > shown {
		s.say("suspects", "", "%d plants lie far off the model, too many for slips of the pen: the %d furthest are listed; the model or the scale may be wrong", len(list), shown)
		slices.SortStableFunc(list, func(a, b model.Suspect) int {
			return int(math.Copysign(1, math.Abs(b.Studentized)-math.Abs(a.Studentized)))
		})
		list = list[:shown]
	}
	for _, x := range list {
		row := s.rows[x.Row]
		suspect := Suspect{Plant: s.in.Plants[row], Value: s.raw[x.Row], Studentized: x.Studentized}
		if less := s.without(r, x.Row); less != nil {
			suspect.Without = less
			if e := s.first(less.Effects); e != nil {
				suspect.PWithout, suspect.About = e.P, e.Term
			}
		}
		r.Suspects = append(r.Suspects, suspect)
	}
}

// without is what a result's treatments do without one row; nil where that cannot be
// had.
func (s *sample) without(r *OutcomeResult, k int) *OutcomeResult {
	less, err := s.less(k)
	if err != nil {
		return nil
	}
	b, err := less.fitBoth(less.terms)
	if err != nil {
		return nil
	}
	rest := &OutcomeResult{Name: r.Name, Kind: r.Kind, Of: r.Of, Unit: r.Unit, Scale: r.Scale}
	for i := range b.with {
		less.effects(rest, b, i)
		if err := less.compared(rest, b, i, less.groups); err != nil {
			return nil
		}
	}
	return rest
}

// less is the sample without its k-th row.
func (s *sample) less(k int) (*sample, error) {
	rest := *s
	rest.rows = slices.Delete(slices.Clone(s.rows), k, k+1)
	rest.terms = model.Terms{}
	rest.checks = nil
	err := rest.fill()
	if s.terms.Light == nil {
		rest.terms.Light = nil
	}
	return &rest, err
}

// first is the effect that the outcome is about first of all: the first
// treatment, else light, else the first covariate; nil where there is none.
func (s *sample) first(effects []Effect) *Effect {
	for _, t := range s.terms.Treatments {
		if e := analysis.Find(effects, s.in.treatmentTerm(t.Name)); e != nil && e.P != nil {
			return e
		}
	}
	if e := analysis.Find(effects, analysis.LightTerm()); e != nil && e.P != nil {
		return e
	}
	for c := range s.terms.Covariates {
		if e := analysis.Find(effects, analysis.Term{Kind: model.KindCovariate, A: c, B: analysis.None}); e != nil && e.P != nil {
			return e
		}
	}
	return nil
}

func (measure) dealt() string { return "" }

func (measure) spread(s *sample, own []*model.Stratum, l *model.Stratum, f *Planning) {
	fit := l.Model.(*model.Fit)
	if f.SD, f.DF = fit.SD(), float64(fit.DF); fit.Exact {
		f.Why = "the model repeats every value: how much replicates vary is not known"
	}
	if plants, ok := own[0].Model.(*model.Fit); l.Unit == model.PerBin && ok && !plants.Exact {
		f.Decompose(plants.SD())
	}
	if l.Unit == model.PerPlant {
		f.Bare = s.bareSD()
	}
}

// bareSD is the spread of plants in the model without covariates and light; 0
// where it has none.
func (s *sample) bareSD() float64 {
	t := s.withoutLight()
	if s.in.Table || len(t.Covariates) == 0 && s.terms.Light == nil {
		return 0
	}
	t.Covariates = nil
	strata, err := s.fit(t)
	if err != nil || strata[0].Err != nil {
		return 0
	}
	return strata[0].Model.(*model.Fit).SD()
}
