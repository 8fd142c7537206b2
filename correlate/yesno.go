package correlate

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/dist"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
)

// yesNo analyses a yes/no outcome: exact tables, one treatment at a time, and
// a penalised logistic model beside them where one is asked for and the rarer
// answer comes often enough.
type yesNo struct{}

func (yesNo) response(s *sample) model.Response {
	return model.Answers{Y: s.y, Seed: s.opts.seedFor("answers within bins", s.out.Name, s.ofText())}
}

func (k yesNo) brief(s *sample, r *OutcomeResult) error { return k.analyse(s, r) }

func (yesNo) analyse(s *sample, r *OutcomeResult) error {
	s.sharePlanning(r)
	s.say("variance", "", "yes/no answers have no spread beside what their share gives them: no standard deviation is told of plants, nor of bins, within which or over whose shares they are compared")
	exact := &Exact{Effects: []Effect{}, Comparisons: []Comparison{}}
	for k, t := range s.terms.Treatments {
		used := overUnits(t.Factor)
		if len(used.Levels) < 2 {
			return fmt.Errorf("treatment %q has only the level %q in the rows used, so that it cannot be compared with anything: leave it out, or add rows of another level", t.Name, used.Levels[0])
		}
		s.shareGroups(r, used)
		if t.SetPer != model.PerPlant {
			if err := s.unitShares(r, exact, t, s.treatments[k].Name); err != nil {
				return err
			}
			continue
		}
		shares, err := model.ShareOf(used, s.y, s.opts.seedFor("exact table", s.out.Name, s.ofText(), t.Name))
		if err != nil {
			return err
		}
		if shares.Test.Drawn > 0 {
			s.say("exact", t.Name, "more than a million tables: p rests on %d drawn ones", shares.Test.Drawn)
		}
		exact.Effects = append(exact.Effects, Effect{Term: s.in.treatmentTerm(t.Name), Effect: t.Name, Test: "exact", P: analysis.Known(shares.Test.P), Unit: string(model.PerPlant)})
		exact.Comparisons = append(exact.Comparisons, s.sharePairs(used, shares)...)
	}
	if len(exact.Effects) > 0 {
		s.say("redeal", "", "the exact tests deal the labels anew already, in every way that there is")
	}
	fitted, err := s.logistic(r)
	switch {
	case err != nil && len(exact.Effects) == 0:
		return err
	case err != nil:
		s.say("penalised logistic", "", "no model beside the exact tables: %v", err)
	}
	if fitted {
		r.Model, r.Exact = "penalised logistic", exact
		r.Effects = append(r.Effects, s.unitEffects(exact)...)
		for _, c := range exact.Comparisons {
			if wholeUnits(c) {
				if s.terms.Light != nil && !s.in.SetsLight(c.Term) { // shares are never adjusted for light
					c.WithoutLight = &Contrast{Ratio: c.Ratio, CI95: c.CI95.Closed(), P: c.P}
				}
				r.Comparisons = append(r.Comparisons, c)
			}
		}
		if len(exact.Effects) == 0 {
			r.Exact = nil
		}
		return nil
	}
	if len(exact.Effects) == 0 {
		return errors.New("nothing was named that the answers could go with: name a treatment, a covariate or light")
	}
	r.Model, r.Effects, r.Comparisons = "exact table", exact.Effects, exact.Comparisons
	return nil
}

// unitEffects are the tests of whole bins or reservoirs, which no model of
// plants replaces.
func (s *sample) unitEffects(exact *Exact) []Effect {
	var whole []Effect
	for _, e := range exact.Effects {
		if e.Unit != string(model.PerPlant) {
			whole = append(whole, e)
		}
	}
	return whole
}

// shareGroups lists the raw share of each level with its Wilson interval.
func (s *sample) shareGroups(r *OutcomeResult, f model.Factor) {
	for l, level := range f.Levels {
		yes, n := 0, 0
		for k, of := range f.Of {
			if of == l {
				n++
				yes += int(s.y[k])
			}
		}
		low, high := dist.Wilson(yes, n, 0.95)
		r.Groups = append(r.Groups, Group{
			Cell: analysis.Cell{s.in.level(f.Name, level)}, Levels: map[string]string{f.Name: level}, N: n, Mean: analysis.Known(float64(yes) / float64(n)), CI95: &[2]float64{low, high},
		})
	}
}

// sharePairs compares the levels of a treatment by odds ratios.
func (s *sample) sharePairs(f model.Factor, shares *model.Shares) []Comparison {
	var list []Comparison
	for _, p := range shares.Pairs {
		c := Comparison{
			Term: s.in.treatmentTerm(f.Name), CellA: analysis.Cell{s.in.level(f.Name, f.Levels[p.A])}, CellB: analysis.Cell{s.in.level(f.Name, f.Levels[p.B])},
			Treatment: f.Name, A: f.Levels[p.A], B: f.Levels[p.B], Unit: string(model.PerPlant),
			P: analysis.Known(p.P), PSingle: analysis.Known(p.PSingle),
		}
		if p.OK {
			c.Ratio, c.SE, c.CI95 = analysis.Known(p.OddsRatio), analysis.Known(p.LogSE), analysis.KnownLimits(p.CI95)
			c.SmallestDetectable = analysis.Known(p.Detectable())
		} else {
			s.say("odds ratio", f.Name, "%s against %s: one of the answers never came, so the odds ratio has no estimate", c.A, c.B)
		}
		c.Verdict = s.verdict(c.CI95.Closed(), nil)
		if c.CI95 == nil {
			c.Verdict = exactVerdict(p.P, float64(shares.Yes[p.A])/float64(shares.N[p.A]), float64(shares.Yes[p.B])/float64(shares.N[p.B]))
		}
		list = append(list, c)
	}
	return list
}

// exactVerdict reads a pair without an odds ratio off its exact test.
func exactVerdict(p, a, b float64) string {
	switch {
	case p >= 0.05:
		return CantTell
	case a > b:
		return Larger
	}
	return Smaller
}

// unitShares tests a treatment of whole bins or reservoirs over all deals.
func (s *sample) unitShares(r *OutcomeResult, exact *Exact, t model.Treatment, name string) error {
	units := s.terms.Bin
	if t.SetPer == model.PerReservoir {
		units = s.reservoir()
	}
	if units == nil {
		return fmt.Errorf("treatment %s is set per %s: name the %ss too", name, t.SetPer, t.SetPer)
	}
	used := overUnits(*units)
	if !model.Holds(used, t.Factor) {
		return errors.New("treatment " + name + " is set per " + string(t.SetPer) + " but differs within one: give it per plant or mend the table")
	}
	block := s.terms.Block
	if block != nil && !model.Holds(used, *block) {
		block = nil
	}
	test, err := model.DealShares(used, overUnits(t.Factor), s.in.exchangeable(name, used, block), s.y, s.opts.seedFor("deal shares", s.out.Name, s.ofText(), name))
	if err != nil {
		return err
	}
	e := Effect{Term: s.in.treatmentTerm(name), Effect: name, Unit: string(t.SetPer)}
	if test.OK {
		e.Test, e.P = "exact", analysis.Known(test.P)
	} else {
		s.say(analysis.NotTested, name, "too few %ss to tell: there are only %s ways to deal %s to them, so that no p value could be small", t.SetPer, phrase.Freedom(test.Deals), name)
	}
	if len(used.Levels) == len(overUnits(t.Factor).Levels) {
		s.oneUnit(name, t.SetPer)
	}
	exact.Effects = append(exact.Effects, e)
	return s.unitPairs(r, exact, used, model.Treatment{Factor: overUnits(t.Factor), SetPer: t.SetPer}, block, test)
}

// unitPairs compares the levels of a treatment of whole bins or reservoirs: size and
// interval are those of the units' shares, p and verdict those of all deals. The
// levels' intervals then count units too.
func (s *sample) unitPairs(r *OutcomeResult, exact *Exact, units model.Factor, t model.Treatment, block *model.Factor, deals *model.DealTest) error {
	means, pairs, err := model.UnitShares(units, t.Factor, block, s.y)
	if err != nil {
		return err
	}
	term := s.in.treatmentTerm(t.Name)
	for i := range r.Groups {
		g := &r.Groups[i]
		if l := slices.Index(t.Levels, g.Levels[t.Name]); l >= 0 {
			g.CI95 = nil
			if means != nil && means[l].OK() {
				ci := means[l].CI95()
				g.CI95 = &[2]float64{max(0, ci[0]), min(1, ci[1])}
			}
		}
	}
	if means != nil {
		for i := range r.Planning {
			if f := &r.Planning[i]; f.Treatment == t.Name {
				f.DF = means[0].DF
			}
		}
	}
	if slices.ContainsFunc(pairs, func(p model.UnitPair) bool { return p.AtLeast }) {
		s.say("dispersion", string(t.SetPer), "%s", differAtLeast(t.SetPer, "answers"))
	}
	for k, p := range pairs {
		c := Comparison{
			Term: term, CellA: analysis.Cell{s.in.level(t.Name, t.Levels[p.A])}, CellB: analysis.Cell{s.in.level(t.Name, t.Levels[p.B])},
			Treatment: t.Name, A: t.Levels[p.A], B: t.Levels[p.B], Unit: string(t.SetPer), Verdict: CantTell,
		}
		if p.OK {
			c.Ratio, c.SE, c.DF = analysis.Known(math.Exp(p.Value)), analysis.Known(p.SE), analysis.Known(p.DF)
		}
		if p.OK && !p.TooFew {
			c.CI95 = analysis.KnownLimits(exp2(p.CI95))
		}
		if deals.OK {
			c.P = analysis.Known(deals.Pairs[k])
			c.Verdict = exactVerdict(deals.Pairs[k], means[p.A].Value, means[p.B].Value)
			if by := s.verdict(c.CI95.Closed(), nil); by == Equivalent && deals.Pairs[k] >= 0.05 {
				c.Verdict = Equivalent
			} else if p.OK && c.Verdict != by {
				c.Verdict = CantTell
			}
		}
		exact.Comparisons = append(exact.Comparisons, c)
	}
	return nil
}

// wholeUnits tells a comparison of whole bins or reservoirs.
func wholeUnits(c Comparison) bool { return c.Unit != string(model.PerPlant) }

// logistic fits the penalised model where a covariate, light or a second
// treatment is named; fitted is false where none is, or where the rarer answer
// is too rare.
func (s *sample) logistic(r *OutcomeResult) (fitted bool, err error) {
	t := s.terms
	if t.Bin != nil && len(overUnits(*t.Bin).Levels) < 2 {
		t.Bin = nil
	}
	t.Treatments = slices.DeleteFunc(slices.Clone(t.Treatments), func(t model.Treatment) bool { return t.SetPer != model.PerPlant })
	if len(t.Covariates) == 0 && t.Light == nil && len(t.Treatments) < 2 {
		return false, nil
	}
	if err := s.tooMuch(t); err != nil {
		return false, err
	}
	b, err := s.fitBoth(t)
	if err != nil {
		return false, err
	}
	plants := b.with[0]
	if err := errors.Join(plants.Err, b.without[0].Err); err != nil {
		return false, err
	}
	var m OutcomeResult
	slope, err := s.coefficients(&m, plants.Model)
	if err != nil {
		return false, err
	}
	s.effects(&m, b, 0)
	if err := s.compared(&m, b, 0, func(*OutcomeResult, *model.Design, model.Means) {}); err != nil {
		return false, err
	}
	s.light(&m, plants, slope)
	if wide, ok := plants.Model.(model.Wider); ok {
		s.slopes(&m, plants, s.slopeTests(wide))
		s.bend(&m, wide)
	}
	s.givenBins(plants.Model)
	r.Effects, r.Coefficients, r.Comparisons, r.Light, r.Slopes = m.Effects, m.Coefficients, m.Comparisons, m.Light, m.Slopes
	return true, nil
}

// fewInformative is how many informative events are few.
const fewInformative = 8

// givenBins says how answers were judged within bins.
func (s *sample) givenBins(m model.Model) {
	f, ok := m.(*model.ConditionalFit)
	if !ok {
		return
	}
	s.say("conditional likelihood", "", "answers were compared within bins, given how many in each bin were yes (conditional likelihood with Firth's penalty): what bins differ by is not in these results")
	c := Check{Check: "informative events", Value: analysis.Known(float64(f.Informative)), Says: "the rarer answers of the bins where both occur, which alone tell anything"}
	switch {
	case f.Beta == nil:
		c.Says += "; too few for a slope"
	case f.Informative <= fewInformative:
		c.Says += "; few, so that a next trial may well look different"
	}
	s.checks = append(s.checks, c)
	if d := f.Deals; d != nil && d.OK {
		how := phrase.Freedom(d.Deals) + " ways to deal the answers to the plants of each bin"
		if !d.Listed {
			how = "99,999 drawn ways to deal the answers to the plants of each bin"
		}
		s.say("exact", "", "p is over %s; where the interval disagrees, p decides", how)
	}
}

// mostProfiled bounds the work of the model of single answers, in rows times
// columns squared times intervals: a minute's, each interval being found by a
// dozen fits. mostWithin bounds that within bins, in the work of one evaluation
// times intervals.
const (
	mostProfiled = 4e8
	mostWithin   = 1.5e8
)

// tooMuch refuses a model of single answers that would take minutes.
func (s *sample) tooMuch(t model.Terms) error {
	d, err := model.NewDesign(len(s.y), t)
	if err != nil {
		return err
	}
	columns := len(d.Columns)
	intervals := columns
	if t.Bin != nil {
		intervals -= len(d.Factors[d.Bin()].Levels)
	}
	for _, f := range d.Families() {
		intervals += len(f.Cells) * (len(f.Cells) - 1) / 2
	}
	intervals += (len(t.Covariates) + 1) * len(t.Treatments) / 5 // tests of slopes, of two fits each
	much := float64(d.N)*float64(columns*columns)*float64(intervals) > mostProfiled
	if t.Bin != nil {
		much = d.ConditionalWork(s.y)*float64(intervals) > mostWithin
	}
	if much {
		return fmt.Errorf("%d rows with %d columns and %d intervals would take minutes: name fewer rows or columns", d.N, columns, intervals)
	}
	return nil
}

func (yesNo) dealt() string { return "" }

// spread of answers is that of their share: nothing else is to be known.
func (yesNo) spread(*sample, []*model.Stratum, *model.Stratum, *Planning) {}

// sharePlanning collects what yes/no answers tell: their share over all levels.
func (s *sample) sharePlanning(r *OutcomeResult) {
	yes := 0.0
	for _, y := range s.y {
		yes += y
	}
	for k, t := range s.terms.Treatments {
		f := s.plan(s.treatments[k].Name, t.SetPer)
		f.Level = yes / float64(len(s.y))
		f.Mean = f.Level
		switch {
		case t.SetPer != model.PerPlant:
			f.Why = "yes/no answers of whole " + string(t.SetPer) + "s are tested over the ways to deal them, which tells nothing of how " + string(t.SetPer) + "s vary; how many a next trial needs cannot be said"
		case f.Mean == 0 || f.Mean == 1:
			f.Why = "the answer was the same for all plants: there is no share to start from"
		}
		r.Planning = append(r.Planning, f)
	}
}
