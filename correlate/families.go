package correlate

import (
	"cmp"
	"math"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/dist"
	"parstead/correlate/model"
)

// held is the level at which claims and leads are held.
const held = 0.05

// member is one test that can be told alone: a pair, a slope.
type member struct {
	p        float64
	standing *Standing
}

// block is the tests that answer one question, by p values that hold for all of them
// at once.
type block struct {
	members []member
	effect  *Effect // nil where it has none
}

func (b block) smallest() float64 {
	return slices.MinFunc(b.members, func(a, c member) int { return cmp.Compare(a.p, c.p) }).p
}

// tell says what a block's tests may be told as: shown, where a test holds.
func (b block) tell(shown analysis.FindingKind, holds func(p float64) bool, adjusted func(p float64) float64) {
	told := analysis.Open
	for _, m := range b.members {
		*m.standing = Standing{Told: analysis.Open, Adjusted: analysis.Known(math.Min(1, adjusted(m.p)))}
		if holds(m.p) {
			m.standing.Told, told = shown, shown
		}
	}
	if b.effect != nil {
		b.effect.Standing = Standing{Told: told, Adjusted: analysis.Known(math.Min(1, adjusted(b.smallest())))}
	}
}

// families holds claims over all that was planned, leads over all the rest.
//
// Planned are, of the primary outcome (of a flat table every outcome), each treatment
// and the light slope within bins; and losses, once per treatment. Of the rest, edge,
// place, slopes between bins and the bend of the light response are of all outcomes.
// What is planned is one family, over all values of analyse_by; so is the rest.
// Covariates are in neither: one that is known to matter would make room for
// chance among the others. They are told as leads by a family of their own.
func (in question) families(r *Result) {
	var planned, rest, covariates []block
	for i := range r.Outcomes {
		o := &r.Outcomes[i]
		asked := in.questions(o)
		if o.Primary || in.Table {
			planned = append(planned, asked...)
		} else {
			rest = append(rest, asked...)
		}
		rest = append(rest, besides(o)...)
		for j := range o.Coefficients {
			if k := &o.Coefficients[j]; k.Term.Kind == model.KindCovariate && k.P != nil {
				covariates = append(covariates, block{members: []member{{*k.P, &k.Standing}}})
			}
		}
	}
	planned = append(planned, in.lossQuestions(r.Lost)...)
	r.Questions = analysis.Asked{Planned: len(planned), Others: len(rest)}
	holm(planned)
	for i, q := range discoveries(rest) {
		if e := rest[i].effect; e != nil && e.Standing.Told == analysis.Lead {
			e.PFDR = analysis.Known(q)
		}
	}
	discoveries(covariates)
}

// holm tells what may be claimed, the multiplier of the i-th smallest of m blocks
// being m − i + 1: a test holds when its p times its block's multiplier is at most
// 0.05, and none does from the first block on whose smallest p fails.
//
// Holm (1979), Scandinavian Journal of Statistics 6:65–70.
func holm(blocks []block) {
	order := slices.Clone(blocks)
	slices.SortStableFunc(order, func(a, b block) int { return cmp.Compare(a.smallest(), b.smallest()) })
	failed, least := false, 0.0
	for i, b := range order {
		multiplier := float64(len(order) - i)
		failed = failed || b.smallest()*multiplier > held
		before := least
		b.tell(analysis.Claim,
			func(p float64) bool { return !failed && p*multiplier <= held },
			func(p float64) float64 { return math.Max(before, p*multiplier) })
		least = math.Max(least, b.smallest()*multiplier)
	}
}

// discoveries tells what may be a lead, and gives each block's p by false discovery
// rate. Within a block that holds, a pair holds by the same bound as the block.
func discoveries(blocks []block) []float64 {
	p := make([]float64, len(blocks))
	for i, b := range blocks {
		p[i] = b.smallest()
	}
	adjusted := dist.FalseDiscovery(p)
	found := 0.0
	for _, q := range adjusted {
		if q <= held {
			found++
		}
	}
	bound := held * found / float64(len(blocks))
	for i, b := range blocks {
		b.tell(analysis.Lead,
			func(p float64) bool { return found > 0 && p <= bound },
			func(p float64) float64 { return math.Max(adjusted[i], p) })
	}
	return adjusted
}

// questions are an outcome's treatments, those that depend on one another by their
// cells, and its light slope within bins.
func (in question) questions(r *OutcomeResult) []block {
	var list []block
	dependent := map[int]bool{}
	add := func(t analysis.Term) {
		b := block{effect: analysis.Find(r.Effects, t)}
		for _, c := range r.ComparisonsOf(t) {
			if c.P != nil {
				b.members = append(b.members, member{stricter(r, c.P, c.PRobust, c.Unit == string(model.PerPlant)), &c.Standing})
			}
		}
		if len(b.members) == 0 && b.effect != nil && b.effect.P != nil {
			b.members = []member{{*b.effect.P, &b.effect.Standing}}
		}
		if len(b.members) > 0 {
			list = append(list, b)
		}
	}
	for _, e := range r.Dependent() {
		dependent[e.Term.A], dependent[e.Term.B] = true, true
		add(e.Term)
	}
	for i := range in.Treatments {
		if !dependent[i] {
			add(analysis.TreatmentTerm(i))
		}
	}
	if l := lightQuestion(r); len(l.members) > 0 {
		list = append(list, l)
	}
	return list
}

// differBeforeLevels is by how much p has to be smaller that slopes are one where a level's
// slope is to be claimed. Where none is, one slope for all is tested in about 95 % of
// trials and levels' slopes in the rest, which adds to the chance of a false claim; so it
// adds a tenth of it at most.
const differBeforeLevels = 10

// lightQuestion is the slope of light within bins; by the levels of a treatment where
// it differs between these.
func lightQuestion(r *OutcomeResult) block {
	b := block{effect: analysis.Find(r.Effects, analysis.LightTerm())}
	if r.Light == nil {
		return b
	}
	if s := r.SlopesOf(analysis.LightTerm()); s != nil {
		for i := range s.Slopes {
			p := max(s.Slopes[i].P*float64(1+s.Asked), s.P*float64(s.Asked*differBeforeLevels))
			b.members = append(b.members, member{min(1, p), &s.Slopes[i].Standing})
		}
		return b
	}
	if s := &r.Light.Slope; s.P != nil {
		b.members = []member{{stricter(r, s.P, s.PRobust, true), &s.Standing}}
	}
	return b
}

// stricter is the p that decides: where spreads differ or neighbours are alike, one that
// holds all the same; 1 where that can't be had.
func stricter(r *OutcomeResult, p, robust *float64, plants bool) float64 {
	switch {
	case plants && robust != nil:
		return math.Max(*p, *robust)
	case plants && r.SpreadsDiffer():
		return 1
	}
	return *p
}

// besides are what no plan asks of an outcome: slopes between bins, the bend of the
// light response, place and edge.
func besides(r *OutcomeResult) []block {
	var list []block
	add := func(p *float64, s *Standing) {
		if p != nil {
			list = append(list, block{members: []member{{*p, s}}})
		}
	}
	if l := r.Light; l != nil {
		if l.BetweenBin != nil {
			add(l.BetweenBin.P, &l.BetweenBin.Standing)
		}
		if l.Bend != nil {
			add(&l.Bend.P, &l.Bend.Standing)
		}
	}
	if p := r.Position; p != nil {
		add(cmp.Or(p.PAfterLight, p.P), &p.Standing)
		if p.Edge != nil && p.Edge.Apart() {
			add(p.Edge.P, &p.Edge.Standing)
		}
	}
	return list
}

// lossQuestions are the losses of each treatment that was dealt, over all plants.
func (in question) lossQuestions(lost []Losses) []block {
	var list []block
	for i := range lost {
		l := &lost[i]
		if l.Of == nil && l.P != nil && in.Treatments[l.Cell.Treatment].SetPer != Given && !slices.ContainsFunc(lost[:i], func(o Losses) bool { return o.Of == nil && o.Cell.Treatment == l.Cell.Treatment }) {
			list = append(list, block{members: []member{{*l.P, &l.Standing}}})
		}
	}
	return list
}
