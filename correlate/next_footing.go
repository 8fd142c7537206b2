package correlate

import (
	"math"

	"parstead/correlate/model"
	"parstead/correlate/power"
)

// footing is what a trial tells of one treatment that a next one can be sized by.
type footing struct {
	treatment string
	levels    []string
	unit      model.Unit
	kind      Kind
	scale     Scale
	in        string // the outcome's unit
	share     bool   // sd and mean are in means, so that differences are shares
	matters   *Difference

	layout power.Layout
	sd     float64 // of one replicate, on the analysed scale; of counts the dispersion
	df     float64 // that it was estimated on; 0 where it was given
	bare   float64 // sd if covariates and light were not in the model; 0 where there are none
	level  float64 // mean of the levels as comparisons take it: of counts the rate; of yes/no answers the share
	mean   float64 // of one replicate; as level, but of counts that of a plant or a whole bin
	why    string  // why there is no spread

	plantSD, binSD float64 // the parts of sd, where bins are the replicates
	perBin         float64 // plants per bin, harmonic mean

	// What the rack has for plants like these: bins and reservoirs in which they
	// stood, positions in these less guards', and those of them that were theirs as
	// the rack was shared. Zero where not known.
	bins, reservoirs int
	positions, own   float64
}

// compose makes the spread of a bin out of its parts.
//
//	σ² = σ²(bins) + σ²(plants)/m
func (f *footing) compose() {
	f.sd = math.Sqrt(f.binSD*f.binSD + f.plantSD*f.plantSD/f.perBin)
}

// decompose parts the spread of a bin, which was estimated as a whole.
func (f *footing) decompose(plantSD float64) {
	f.plantSD = plantSD
	f.binSD = math.Sqrt(math.Max(0, f.sd*f.sd-plantSD*plantSD/f.perBin))
}

// footings collects what layer i tells of its treatments.
func (s *sample) footings(r *OutcomeResult, b both, i int) {
	for _, name := range b.with.all[i].treatments {
		own := b.of(s, name)
		l := own.all[i]
		f := s.footing(name, l.unit)
		if l.err != nil {
			f.why = s.whyUntested(l) + ", and how many a next trial needs cannot be said"
			r.footings = append(r.footings, f)
			continue
		}
		columns := len(l.design.Columns)
		for _, e := range l.design.Effects {
			switch {
			case e.Kind == model.KindTreatment && e.Name == name:
				f.layout.Levels = e.End - e.First + 1
			case e.Kind == model.KindBlock && l.unit != model.PerPlant:
				f.layout.Blocked = true
				columns -= e.End - e.First
			}
		}
		f.layout.Others = columns - f.layout.Levels
		f.level = s.middle(r, name)
		f.mean = f.level
		switch fit := l.fit.(type) {
		case *model.Fit:
			if f.sd, f.df = fit.SD(), float64(fit.DF); fit.Exact {
				f.why = "the model repeats every value: how much replicates vary is not known"
			}
			if plants := own.plants; l.unit == model.PerBin && plants != nil && !plants.Exact {
				f.decompose(plants.SD())
			}
			if l.unit == model.PerPlant {
				f.bare = s.bareSD()
			}
		case *model.CountFit:
			if f.sd, f.df = fit.Dispersion, float64(fit.DF); fit.Exact {
				f.why = "the model repeats every count: how much replicates vary is not known"
			}
			f.mean *= s.exposed(l.unit)
		}
		r.footings = append(r.footings, f)
	}
}

func (s *sample) footing(treatment string, unit model.Unit) footing {
	f := footing{treatment: treatment, unit: unit, kind: s.out.Kind, in: s.out.Unit, matters: s.out.Matters, scale: Natural}
	if s.log {
		f.scale = Log
	}
	for _, t := range s.terms.Treatments {
		if t.Name == treatment {
			f.levels = overUnits(t.Factor).factor.Levels
			f.layout.Levels = len(f.levels)
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
		f.perBin = float64(len(plants)) / inverse
	}
	s.room(&f)
	return f
}

// middle is the mean over a treatment's levels of their adjusted means: of their
// logs where comparisons are ratios.
func (s *sample) middle(r *OutcomeResult, treatment string) float64 {
	sum, n := 0.0, 0.0
	for _, g := range r.Groups {
		if _, ok := g.Levels[treatment]; !ok || len(g.Levels) != 1 || g.AdjustedMean == nil {
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
	strata, err := model.FitStrata(len(s.y), t, s.reservoir(), s.y)
	if err != nil || strata.Plant == nil || strata.PlantErr != nil || strata.Plant.Exact {
		return 0
	}
	return strata.Plant.SD()
}

// room counts what the rack has for plants like these.
func (s *sample) room(f *footing) {
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
		f.bins++
		f.positions += free
		f.own += free * own[b] / all[b]
	}
	f.reservoirs = len(reservoirs)
}

// shareFootings collects what yes/no answers tell: their share over all levels.
func (s *sample) shareFootings(r *OutcomeResult) {
	yes := 0.0
	for _, y := range s.y {
		yes += y
	}
	for k, t := range s.terms.Treatments {
		f := s.footing(s.treatments[k].Name, t.SetPer)
		f.level = yes / float64(len(s.y))
		f.mean = f.level
		switch {
		case t.SetPer != model.PerPlant:
			f.why = "yes/no answers of whole " + string(t.SetPer) + "s are tested over the ways to deal them, which tells nothing of how " + string(t.SetPer) + "s vary; how many a next trial needs cannot be said"
		case f.mean == 0 || f.mean == 1:
			f.why = "the answer was the same for all plants: there is no share to start from"
		}
		r.footings = append(r.footings, f)
	}
}
