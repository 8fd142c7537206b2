package correlate

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"

	"parstead/correlate/analysis"
	"parstead/correlate/deal"
	"parstead/correlate/model"
)

// redealAll deals labels anew in every stratum.
func (s *sample) redealAll(r *OutcomeResult, b both) {
	for i, l := range b.with {
		own := b.without[i]
		if l.Err != nil || own.Err != nil {
			continue
		}
		full, ok := l.Model.(model.Permutable)
		bare, also := own.Model.(model.Permutable)
		switch {
		case !ok || !also:
		case i == 0:
			s.redeal(r, l.Design, full, bare)
		default:
			s.redealUnits(r, l, own)
		}
	}
}

// redeal tests the treatments of a plant model by dealing their labels anew,
// by the layout's own procedure or, from a table, freely within bins.
func (s *sample) redeal(r *OutcomeResult, d *model.Design, full, bare model.Permutable) {
	var dealt []int
	for k, i := range d.Treatments() {
		if d.Unit(i) == model.PerPlant && s.treatments[k].SetPer == PerPlant {
			dealt = append(dealt, i)
		}
	}
	switch {
	case len(dealt) == 0:
		return
	case !s.in.Table && s.in.Dealt == nil:
		s.say("redeal", "", "the layout was not dealt by parstead layout, so how labels might have fallen is not known: no re-dealing test")
		return
	}
	how, err := s.dealing(d, dealt)
	if err != nil {
		s.say("redeal", "", "%v", err)
		return
	}
	seed := s.opts.seedFor("redeal", s.out.Name, s.ofText())
	if d := s.tableDeals(d, dealt); d.tooFew() {
		s.say("redeal", "", "labels were not dealt anew within %s: %s", s.strataWord(), d.says())
		return
	}
	with := model.Redeal(full, dealt, how, deals, seed)
	without := with
	if bare != full {
		without = model.Redeal(bare, dealt, how, deals, seed)
	}
	if with == nil {
		s.say("redeal", "", "labels could not be dealt anew: no spread is left, or the model has no intercept")
		return
	}
	procedure := " by the layout's own procedure"
	if s.in.Table {
		procedure = fmt.Sprintf(", freely within %s: it was assumed that they had been dealt so", s.strataWord())
	}
	s.say("redeal", "", "labels were dealt anew %s%s", dealtTimes(with[0].Deals-1, procedure), s.method.dealt())
	for i := range r.Effects {
		e := &r.Effects[i]
		tests := with
		if s.in.SetsLight(e.Term) {
			tests = without
		}
		if j := slices.IndexFunc(tests, func(t model.Redealt) bool { return s.term(t.Term) == e.Term }); j >= 0 && e.P != nil {
			e.PRedealt = analysis.Known(tests[j].P)
		}
	}
}

// dealtTimes says how often it was dealt, which is not as often as was meant where it
// was decided earlier.
func dealtTimes(done int, how string) string {
	if done < deals {
		return fmt.Sprintf("%d times%s; over so many rows that is done until p is known to lie under or over 0.05, not further", done, how)
	}
	return fmt.Sprintf("%d times%s; a p of 0.05 is known to ± 0.004", done, how)
}

// strataWord says within what a table's labels are dealt anew.
func (s *sample) strataWord() string {
	switch {
	case s.terms.Bin != nil:
		return "bins"
	case s.terms.Block != nil:
		return "blocks"
	}
	return "the whole table"
}

// dealing is how the plant treatments' labels are dealt anew over the rows used.
func (s *sample) dealing(d *model.Design, dealt []int) (model.Deal, error) {
	if s.in.Table {
		var groups []int
		switch {
		case s.terms.Bin != nil:
			groups = s.terms.Bin.Of
		case s.terms.Block != nil:
			groups = s.terms.Block.Of
		}
		return model.NewShuffle(d.Combinations(dealt), groups).Deal, nil
	}
	return s.layoutDeal(d, dealt)
}

// layoutDeal deals by the layout's procedure: every plant of the trial takes
// part, and the rows used are read off.
func (s *sample) layoutDeal(d *model.Design, dealt []int) (model.Deal, error) {
	record := s.in.Dealt
	redeal := record.Redeal(s.in.Plants)
	if redeal == nil {
		return nil, fmt.Errorf("the layout dealt no treatment of single plants: no re-dealing test")
	}
	names := redeal.Treatments()
	var at []int       // into names, by dealt factor
	var levels [][]int // by dealt factor: the layout's level as the model's
	for _, f := range dealt {
		factor := d.Factors[f]
		j := slices.Index(names, factor.Name)
		if j < 0 {
			return nil, fmt.Errorf("%s was not dealt by parstead layout: no re-dealing test", factor.Name)
		}
		at = append(at, j)
		var map1 []int
		for _, l := range record.Levels(factor.Name) {
			k := slices.Index(factor.Levels, l)
			if k < 0 {
				return nil, fmt.Errorf("no plant of %s %s is left, so labels cannot be dealt anew", factor.Name, l)
			}
			map1 = append(map1, k)
		}
		levels = append(levels, map1)
	}
	if err := s.asDealt(redeal, names); err != nil {
		return nil, err
	}
	type worker struct {
		redeal *deal.Redeal
		all    [][]int // by treatment: the labels of all plants
	}
	pool := sync.Pool{New: func() any {
		w := &worker{redeal: redeal.Clone(), all: make([][]int, len(names))}
		for t := range w.all {
			w.all[t] = make([]int, len(s.in.Plants))
		}
		return w
	}}
	return func(rng *rand.Rand, labels []int) {
		w := pool.Get().(*worker)
		defer pool.Put(w)
		w.redeal.Deal(rng, w.all)
		for k, i := range s.rows {
			label := 0
			for f, t := range at {
				label = label*len(d.Factors[dealt[f]].Levels) + levels[f][w.all[t][i]]
			}
			labels[k] = label
		}
	}, nil
}

// asDealt demands that every row used took part in the deal.
func (s *sample) asDealt(redeal *deal.Redeal, names []string) error {
	all := make([][]int, len(names))
	for t := range all {
		all[t] = slices.Repeat([]int{Blank}, len(s.in.Plants))
	}
	redeal.Deal(rand.New(rand.NewPCG(0, 0)), all)
	for _, i := range s.rows {
		for t, name := range names {
			if all[t][i] == Blank {
				return fmt.Errorf("plant %s got no %s from parstead layout: no re-dealing test", s.in.Plants[i], name)
			}
		}
	}
	return nil
}

// redealUnits tests the treatments of whole bins or reservoirs over all deals
// of these within blocks.
func (s *sample) redealUnits(r *OutcomeResult, full, bare *model.Stratum) {
	if s.in.Table || s.in.Dealt == nil {
		return // how whole units were dealt is not known; redeal says so
	}
	for _, f := range full.Design.Treatments() {
		l := full
		if s.in.SetsLight(s.in.treatmentTerm(full.Design.Factors[f].Name)) {
			l = bare
		}
		d := l.Design
		factor, unit := d.Factors[f], l.Unit
		fit, ok := l.Model.(model.Permutable)
		if !ok || d.Unit(f) != model.PerPlant {
			continue // held by the reservoirs of a bin stratum
		}
		all, err := s.unitDeals(factor, l.Names)
		if err != nil {
			s.say("redeal", factor.Name, "%v", err)
			continue
		}
		if ways := listed(all, factor.Of); ways.tooFew() {
			s.say("redeal", factor.Name, "%s was not dealt anew to the %ss: %s", factor.Name, unit, ways.says())
			continue
		}
		for _, t := range model.RedealAll(fit, []int{f}, slices.Values(all)) {
			if e := analysis.Find(r.Effects, s.term(t.Term)); e != nil && e.P != nil {
				e.PRedealt = analysis.Known(t.P)
			}
		}
	}
}

// unitDeals lists the deals of a treatment to the stratum's units, as labels.
func (s *sample) unitDeals(factor model.Factor, names []string) ([][]int, error) {
	units, kept, level, ok := s.in.Dealt.Units(factor.Name)
	if !ok {
		return nil, fmt.Errorf("%s was not dealt by parstead layout: no re-dealing test", factor.Name)
	}
	at := make([]int, len(names))
	for u, name := range names {
		if at[u] = slices.Index(kept, name); at[u] < 0 {
			return nil, fmt.Errorf("%s took no part in the deal of %s: no re-dealing test", name, factor.Name)
		}
	}
	levels := s.in.Dealt.Levels(factor.Name)
	cells, complete := units.All(deals)
	if !complete {
		rng := rand.New(rand.NewPCG(s.opts.seedFor("redeal units", s.out.Name, s.ofText(), factor.Name), 0))
		cells = cells[:0]
		for range deals {
			cells = append(cells, units.Deal(rng))
		}
	}
	labels := make([][]int, len(cells))
	for d, cell := range cells {
		labels[d] = make([]int, len(names))
		for u := range names {
			if labels[d][u] = slices.Index(factor.Levels, levels[level(cell[at[u]])]); labels[d][u] < 0 {
				return nil, fmt.Errorf("a level of %s is no longer there, so labels cannot be dealt anew", factor.Name)
			}
		}
	}
	if !complete { // the actual deal counts among the random ones
		labels = append(labels, factor.Of)
	}
	return labels, nil
}

// ofText names the value of analyse_by, for seeds.
func (s *sample) ofText() string { return fmt.Sprint(s.of) }
