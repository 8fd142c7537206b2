package correlate

import (
	"math"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
)

// What weakens sentences: slopes that differ between levels, a response that bends,
// spreads that differ, levels that are unlike in what is held equal.

const (
	// clearlyUnlike is the p of a difference in light or in a covariate between levels
	// under which it is told; dealt treatments differ so in one case of a hundred.
	clearlyUnlike = 0.01
	// unlikeLight is the share of their mean by which whole-bin levels must differ in
	// light for it to be told: common practice, no source.
	unlikeLight = 0.1
)

// slopes tests whether slopes are the same at all levels of a treatment, and lists those
// that differ, counting how many were asked about.
func (s *sample) slopes(r *OutcomeResult, plants *model.Stratum, tests []model.SlopeTest) {
	asked := map[model.Term]int{}
	for _, t := range tests {
		asked[t.Of]++
	}
	for _, t := range tests {
		of := s.in.treatment(t.B)
		if !t.OK || t.P*float64(len(tests)) >= 0.05 || t.Of == model.LightTerm && s.in.Treatments[of].SetsLight {
			continue // levels that set light differ in slope where the response bends, which is told
		}
		list, err := plants.SlopesByLevel(t.Of, t.B, s.judge(r))
		if err != nil {
			s.say("equal_slopes", t.Name(), "the slopes at each level could not be told: %v", err)
			continue
		}
		slopes := LevelSlopes{Of: s.term(t.Of), Treatment: of, P: t.P, Asked: asked[t.Of]}
		if r.SpreadsDiffer() {
			each := make([]model.Estimate, len(list))
			for i, p := range list {
				each[i] = p.Estimate
			}
			apart := model.Agree(each)
			if slopes.P = apart.P; !apart.OK || apart.P*float64(len(tests)) >= 0.05 {
				continue
			}
		}
		own := s.usedLevels(t.B)
		for _, p := range list {
			slopes.Slopes = append(slopes.Slopes, LevelSlope{Level: own[p.A], Slope: p.Value, CI95: p.CI95, P: p.P})
		}
		r.Slopes = append(r.Slopes, slopes)
	}
}

// slopeTests tests slopes and adds what was found as checks.
func (s *sample) slopeTests(m model.Wider) []model.SlopeTest {
	tests := model.EqualSlopes(m)
	for _, t := range tests {
		s.test(Check{Check: "equal_slopes", Of: t.Name()}, t.Test,
			"the slope is the same at all levels, as far as can be seen",
			"the slope differs between levels: adjusted means hold at the mean of "+t.A+" only")
	}
	return tests
}

// judge tests a slope at a level.
func (s *sample) judge(r *OutcomeResult) func(m model.Model, w []float64, among int) (model.Pair, error) {
	return func(m model.Model, w []float64, among int) (model.Pair, error) {
		if p, ok := m.(model.Profiled); ok {
			return model.ProfileAmong(p, w, among)
		}
		linear := m.Linear
		if rows, ok := m.(model.Weighed); ok {
			linear = s.errors(r, rows)
		}
		return linear(w).Among(among)
	}
}

// errors gives a fit's estimates the errors that hold where plants spread unlike or
// neighbours are alike in what the model leaves.
func (s *sample) errors(r *OutcomeResult, f model.Weighed) func(w []float64) model.Estimate {
	linear := f.Linear
	if r.SpreadsDiffer() {
		if own, ok := model.OwnSpreads(f, s.cells()); ok {
			linear = own.Linear
		}
	}
	if !r.Position.Alike() {
		return linear
	}
	return func(w []float64) model.Estimate {
		e := linear(w)
		if by, ok := model.ByBins(f, w); ok && by.OK() && by.P() > e.P() {
			return by
		}
		return e
	}
}

// usedLevels are the levels of a treatment that the sample's plants have.
func (s *sample) usedLevels(treatment string) []int {
	t := s.in.treatment(treatment)
	var levels []int
	for l := range s.in.Treatments[t].Levels {
		if len(s.holding(analysis.Cell{{Treatment: t, Level: l}})) > 0 {
			levels = append(levels, l)
		}
	}
	return levels
}

// bend tests whether the response to light is straight.
func (s *sample) bend(r *OutcomeResult, m model.Wider) {
	if t := model.Bend(m); t.OK && r.Light != nil {
		r.Light.Bend = &Bend{P: t.P}
	}
}

// robust gives what is compared over plants errors that hold with spreads of their own
// where spreads differ, and the slope of light one that holds where neighbours are alike.
// Spreads of counts often differ by less than can be seen, since clumps do: anyway has a
// claim, and the interval that is told, hold with their own spreads too. Neither spread
// alone does: that of one dispersion is too small for the level that clumps, and a level's
// own, of few plants with many clumps, comes out too small where its mean does.
func (s *sample) robust(r *OutcomeResult, b both, anyway bool) {
	s.robustSlope(r, b.with[0])
	if !r.SpreadsDiffer() && !anyway {
		return
	}
	pairs := s.ownPairs(b)
	if r.UnequalSpread == nil && pairs != nil {
		r.UnequalSpread = &UnequalSpread{GamesHowell: pairs, Wider: anyway}
	}
	own := pairs
	if r.UnequalSpread != nil {
		own = r.UnequalSpread.GamesHowell
	}
	for i := range r.Comparisons {
		c := &r.Comparisons[i]
		switch at := slices.IndexFunc(own, func(p PairSpread) bool { return c.CellA.Apart(p.CellA) == 0 && c.CellB.Apart(p.CellB) == 0 }); {
		case c.Unit != string(model.PerPlant):
		case c.OneSided():
			c.PRobust = c.P // by who has an event at all, whatever the spread
		case at >= 0:
			c.PRobust = own[at].P
		}
	}
}

// ownPairs compares plants with spreads of their own.
func (s *sample) ownPairs(b both) (list []PairSpread) {
	for _, family := range b.with[0].Families() {
		l := b.of(s, s.term(family.Term))[0]
		fit, ok := l.Model.(model.Weighed)
		if !ok || l.Err != nil {
			continue
		}
		means, err := model.Compare(fit, l.Design, family)
		own, ok := model.OwnSpreads(fit, s.cells())
		if err != nil || !ok {
			continue // no claim without them
		}
		for _, p := range own.Pairs(means) {
			a, b := means.Cells[p.A], means.Cells[p.B]
			list = append(list, s.ownPair(p, l.Design.Levels(a), l.Design.Levels(b), s.cell(l.Design, a), s.cell(l.Design, b), means.Adjusted[p.B].Value))
		}
	}
	return list
}

// ownPair is a pair with spreads of its own; mean is that of b on the analysed scale.
func (s *sample) ownPair(p model.Pair, a, b string, cellA, cellB analysis.Cell, mean float64) PairSpread {
	own := PairSpread{A: a, B: b, Contrast: s.contrastOf(p), CellA: cellA, CellB: cellB}
	own.Verdict = s.verdict(own.CI95, analysis.Known(s.back(mean)))
	return own
}

// robustSlope gives the slope of light the error that holds.
func (s *sample) robustSlope(r *OutcomeResult, plants *model.Stratum) {
	f, ok := plants.Model.(model.Weighed)
	alike := r.Position.Alike()
	if !ok || r.Light == nil || s.terms.Light == nil || !alike && !r.SpreadsDiffer() {
		return
	}
	w := make([]float64, len(plants.Design.Columns))
	w[len(w)-1] = 1
	if _, ok := model.ByBins(f, w); alike && !ok {
		r.Light.PRobust = analysis.Known(1)
		s.say(analysis.SlopeTrust, "", "neighbours are alike in what the model leaves, and fewer than three bins can't show how far the slope of light is to be trusted")
		return
	}
	bare, e := f.Linear(w), s.errors(r, f)(w)
	if !e.OK() || e.SE == bare.SE {
		return
	}
	l := r.Light
	l.SE, l.CI95, l.P, l.DF = analysis.Known(e.SE), analysis.Interval(e), analysis.Known(e.P()), analysis.Known(e.DF)
	l.PRobust = l.P
	if l.WithinBin != nil {
		within := l.Slope
		l.WithinBin = &within
	}
	if c := l.Corrected; c != nil {
		ci := e.CI95()
		c.CI95 = [2]float64{ci[0] / *l.Reliability, ci[1] / *l.Reliability}
	}
	why := "plants do not spread alike, so that the error of light's slope is that of each treatment's own spread"
	if alike {
		why = "neighbours are alike in what the model leaves, so that the error of light's slope is that by which bins differ in it"
	}
	s.say(analysis.SlopeTrust, "", "%s; by plants of one spread, each for itself, p would be %s", why, phrase.P(bare.P()))
}

// likeLight finds covariates beside which light has hardly anything of its own.
//
//	vif with the covariates / vif with bins and block alone > Inseparable
func (s *sample) likeLight(r *OutcomeResult) {
	if s.terms.Light == nil {
		return
	}
	inflation := func(beside []model.Variable) float64 {
		d, err := model.NewDesign(len(s.rows), model.Terms{Block: s.terms.Block, Bin: s.terms.Bin, Covariates: beside, Light: s.terms.Light})
		if err != nil {
			return math.NaN()
		}
		v, err := d.Inflation(len(d.Columns) - 1)
		if err != nil {
			return math.NaN()
		}
		return v
	}
	alone := inflation(nil)
	for c, v := range s.terms.Covariates {
		if vif := inflation([]model.Variable{v}) / alone; vif > analysis.Inseparable {
			r.LikeLight = append(r.LikeLight, analysis.LikeLight{Covariate: analysis.Term{Kind: model.KindCovariate, A: c, B: analysis.None}, VIF: vif})
		}
	}
}

// unlike finds treatments whose levels differ in light or in a covariate, which their
// comparison holds equal.
func (s *sample) unlike(r *OutcomeResult) {
	for _, t := range s.terms.Treatments {
		of := s.in.treatment(t.Name)
		if l := s.terms.Light; l != nil && !s.in.Treatments[of].SetsLight {
			s.unlikeIn(r, t, analysis.LightTerm(), *l)
		}
		if t.SetPer != model.PerPlant {
			continue
		}
		for c, v := range s.terms.Covariates {
			s.unlikeIn(r, t, analysis.Term{Kind: model.KindCovariate, A: c, B: analysis.None}, v)
		}
	}
}

func (s *sample) unlikeIn(r *OutcomeResult, t model.Treatment, in analysis.Term, v model.Variable) {
	u := Unlike{Treatment: s.in.treatment(t.Name), In: in, Levels: s.usedLevels(t.Name)}
	low, high, all := math.Inf(1), math.Inf(-1), 0.0
	for _, l := range u.Levels {
		mean, _ := model.MeanSD(pick(v.Values, s.holding(analysis.Cell{{Treatment: u.Treatment, Level: l}})))
		u.Means = append(u.Means, mean)
		low, high, all = min(low, mean), max(high, mean), all+math.Abs(mean)
	}
	if t.SetPer != model.PerPlant {
		if high-low > unlikeLight*all/float64(len(u.Means)) {
			r.Unlike = append(r.Unlike, u)
		}
		return
	}
	d, err := model.NewDesign(len(s.rows), model.Terms{Block: s.terms.Block, Bin: s.terms.Bin, Treatments: []model.Treatment{t}})
	if err != nil {
		return
	}
	f, err := d.Fit(v.Values)
	if err != nil {
		return
	}
	tests, err := f.Partial()
	if err != nil {
		return
	}
	for _, test := range tests {
		if test.Term == (model.Term{Kind: model.KindTreatment, A: t.Name}) && test.OK && test.P < clearlyUnlike {
			u.P = analysis.Known(test.P)
			r.Unlike = append(r.Unlike, u)
		}
	}
}
