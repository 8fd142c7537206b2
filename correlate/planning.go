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
		s.method.spread(s, own, l, &f)
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
			f.Levels = overUnits(t.Factor).Levels
			f.Layout.Levels = len(f.Levels)
		}
	}
	if bin := s.terms.Bin; bin != nil {
		plants := make([]float64, len(bin.Levels))
		for _, l := range bin.Of {
			plants[l]++
		}
		bins, inverse := 0.0, 0.0
		for _, n := range plants {
			if n > 0 {
				bins++
				inverse += 1 / n
			}
		}
		f.PerBin = bins / inverse
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
