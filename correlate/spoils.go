package correlate

import (
	"math"

	"parstead/correlate/analysis"
	"parstead/correlate/model"
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

// slopes lists those that differ between the levels of a treatment.
func (s *sample) slopes(r *OutcomeResult, f *model.Fit) {
	for _, t := range f.EqualSlopes() {
		of := s.in.treatment(t.B)
		if !t.OK || t.P >= 0.05 || t.Of == model.LightTerm && s.in.Treatments[of].SetsLight {
			continue // levels that set light differ in slope where the response bends, which is told
		}
		s.slopesOf(r, f, t)
	}
}

func (s *sample) slopesOf(r *OutcomeResult, f *model.Fit, t model.SlopeTest) {
	list, err := f.SlopesByLevel(t.Of, t.B)
	if err != nil {
		s.say("equal_slopes", t.Name(), "the slopes at each level could not be told: %v", err)
		return
	}
	slopes := LevelSlopes{Of: s.term(t.Of), Treatment: s.in.treatment(t.B), P: t.P}
	for _, p := range list {
		own := s.usedLevels(t.B)
		slopes.Slopes = append(slopes.Slopes, LevelSlope{Level: own[p.A], Slope: p.Value, CI95: p.CI95, P: p.P})
	}
	r.Slopes = append(r.Slopes, slopes)
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
func (s *sample) bend(r *OutcomeResult, f *model.Fit) {
	if t := f.Bend(); t.OK && r.Light != nil {
		r.Light.Bend = &Bend{P: t.P}
	}
}

// robust gives what is compared over plants a p that holds with spreads of their own,
// where spreads differ.
func (s *sample) robust(r *OutcomeResult, b both, slope model.Coefficient) {
	if !r.SpreadsDiffer() {
		return
	}
	if r.Light != nil && s.terms.Light != nil && slope.HC3OK && slope.HC3.OK() {
		r.Light.PRobust = analysis.Known(slope.HC3.P())
	}
	if u := r.UnequalSpread; u != nil && u.GamesHowell != nil {
		for i := range r.Comparisons {
			for _, p := range u.GamesHowell {
				if c := &r.Comparisons[i]; c.CellA.Apart(p.CellA) == 0 && c.CellB.Apart(p.CellB) == 0 {
					c.PRobust = p.P
				}
			}
		}
		return
	}
	for _, family := range b.with[0].Families() {
		own := b.of(s, s.term(family.Term))[0]
		fit, ok := own.Model.(*model.Fit)
		if !ok || own.Err != nil {
			continue
		}
		means, err := model.Compare(fit, own.Design, family)
		if err != nil {
			continue // as it was in the comparisons, which then have none
		}
		for i, p := range fit.Robust(means) {
			a, b := s.cell(own.Design, means.Cells[means.Pairs[i].A]), s.cell(own.Design, means.Cells[means.Pairs[i].B])
			for k := range r.Comparisons {
				if c := &r.Comparisons[k]; c.Term == s.term(family.Term) && c.CellA.Apart(a) == 0 && c.CellB.Apart(b) == 0 {
					c.PRobust = analysis.Known(p)
				}
			}
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
