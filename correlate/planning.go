package correlate

import (
	"math"

	"parstead/correlate/model"
	"parstead/correlate/next"
)

// planning collects what stratum i tells of its treatments.
func (s *sample) planning(r *OutcomeResult, b both, i int) {
	for _, name := range b.with[i].Treatments {
		own := b.of(s, s.in.treatmentTerm(name))
		l := own[i]
		f := s.plan(name, l.Unit)
		if l.Err != nil {
			f.Why = s.whyUntested(l) + ", and how many a next trial needs cannot be said"
			r.Planning = append(r.Planning, f)
			continue
		}
		columns := len(l.Design.Columns)
		for _, e := range l.Design.Effects {
			switch {
			case e.Term == model.Term{Kind: model.KindTreatment, A: name}:
				f.Layout.Levels = e.End - e.First + 1
			case e.Kind == model.KindBlock && l.Unit != model.PerPlant:
				f.Layout.Blocked = true
				columns -= e.End - e.First
			}
		}
		f.Layout.Others = columns - f.Layout.Levels
		f.Level = s.middle(r, name)
		f.Mean = f.Level
		switch fit := l.Model.(type) {
		case *model.Fit:
			if f.SD, f.DF = fit.SD(), float64(fit.DF); fit.Exact {
				f.Why = "the model repeats every value: how much replicates vary is not known"
			}
			if plants, ok := own[0].Model.(*model.Fit); l.Unit == model.PerBin && ok && !plants.Exact {
				f.Decompose(plants.SD())
			}
			if l.Unit == model.PerPlant {
				f.Bare = s.bareSD()
			}
		case *model.CountFit:
			if f.SD, f.DF = fit.Dispersion, float64(fit.DF); fit.Exact {
				f.Why = "the model repeats every count: how much replicates vary is not known"
			}
			f.Mean *= s.exposed(l.Unit)
		}
		r.Planning = append(r.Planning, f)
	}
}

func (s *sample) plan(treatment string, unit model.Unit) Planning {
	f := Planning{Treatment: treatment, Unit: unit, Kind: s.out.Kind, OutcomeUnit: s.out.Unit, Matters: s.out.Matters, Scale: Natural}
	if s.log {
		f.Scale = Log
	}
	for _, t := range s.terms.Treatments {
		if t.Name == treatment {
			f.Levels = overUnits(t.Factor).factor.Levels
			f.Layout.Levels = len(f.Levels)
		}
	}
	if bin := s.terms.Bin; bin != nil {
		plants := map[int]float64{}
		for _, l := range bin.Of {
			plants[l]++
		}
		inverse := 0.0
		for _, n := range plants {
			inverse += 1 / n
		}
		f.PerBin = float64(len(plants)) / inverse
	}
	s.room(&f)
	return f
}

// middle is the mean over a treatment's levels of their adjusted means: of their
// logs where comparisons are ratios.
func (s *sample) middle(r *OutcomeResult, treatment string) float64 {
	sum, n := 0.0, 0.0
	for _, g := range r.Groups {
		if _, ok := g.Cell.Level(s.in.treatment(treatment)); !ok || len(g.Cell) != 1 || g.AdjustedMean == nil {
			continue
		}
		v := *g.AdjustedMean
		if s.ratio() {
			if v = math.Log(v); math.IsInf(v, -1) {
				continue // a level without any event
			}
		}
		sum += v
		n++
	}
	return s.back(sum / n)
}

// exposed is the exposure that one replicate's count stands for.
func (s *sample) exposed(unit model.Unit) float64 {
	total := float64(len(s.y))
	if s.exposure != nil {
		total = 0
		for _, e := range s.exposure {
			total += e
		}
	}
	over := s.terms.Bin
	switch {
	case unit == model.PerReservoir:
		over = s.reservoir()
	case unit != model.PerBin:
		return total / float64(len(s.y))
	}
	return total / float64(len(overUnits(*over).first))
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

// room counts what the rack has for plants like these.
func (s *sample) room(f *Planning) {
	in := s.in
	if in.BinPositions == nil || in.Bin == nil {
		return
	}
	level := 0
	if in.By != nil {
		level = in.By.Codes[s.rows[0]]
	}
	guards, all, own := make([]float64, len(in.Bin.Levels)), make([]float64, len(in.Bin.Levels)), make([]float64, len(in.Bin.Levels))
	reservoirs := map[int]bool{}
	for i, b := range in.Bin.Codes {
		switch {
		case b == Blank:
			continue
		case in.Guard != nil && in.Guard[i]:
			guards[b]++
			continue
		}
		all[b]++
		if in.among(s.out, level, i) {
			own[b]++
			if in.Reservoir != nil && in.Reservoir.Codes[i] != Blank {
				reservoirs[in.Reservoir.Codes[i]] = true
			}
		}
	}
	for b := range own {
		if own[b] == 0 {
			continue
		}
		free := math.Max(all[b], float64(in.BinPositions[b])-guards[b])
		f.Bins++
		f.Positions += free
		f.Own += free * own[b] / all[b]
	}
	f.Reservoirs = len(reservoirs)
}

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

// next sizes a next trial for the primary outcomes of a trial's folder.
func (in question) next(r *Result, opts Options) {
	if in.Table {
		return
	}
	r.Seed = opts.seedFor("next trial")
	trial, reasons, _ := next.Trial(r, next.Ask{}) // nothing that could be invalid
	r.NextTrial = trial
	for i, checks := range reasons {
		r.Outcomes[i].Checks = append(r.Outcomes[i].Checks, checks...)
	}
}
