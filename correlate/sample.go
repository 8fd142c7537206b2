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

// sample is the rows that one outcome's results rest on, for one value of
// analyse_by, with the model's terms over them.
type sample struct {
	in     question
	out    *Outcome
	opts   Options
	method method
	of     map[string]string

	rows       []int     // into the Input
	raw        []float64 // the outcome as entered
	y          []float64 // on the analysed scale
	exposure   []float64 // nil where none
	terms      model.Terms
	treatments []Treatment // those in terms, in the same order
	single     []Treatment // left out because these plants have one level of them
	figures    *Light      // the light that is used; nil where none is asked for or known
	missing    int
	unlit      int   // of these, missing only because their light is not known
	leftOut    []int // rows with a reason to leave them out, complete otherwise
	log        bool
	checks     []Check
	lightOut   *Check    // among these, that light was left out of the model
	residuals  []float64 // on the analysed scale, once fitted
}

// say adds a check that only says something.
func (s *sample) say(check analysis.Code, of, format string, args ...any) {
	s.checks = append(s.checks, Check{Check: check, Of: of, Says: fmt.Sprintf(format, args...)})
}

// among tells whether row i is one that the outcome and the value of
// analyse_by are about.
func (in question) among(out *Outcome, level, i int) bool {
	switch {
	case in.Guard != nil && in.Guard[i]:
		return false
	case in.By != nil && in.By.Codes[i] != level:
		return false
	case out.Only != nil && !out.Only[i]:
		return false
	}
	return true
}

// sample selects the rows of an outcome for one level of analyse_by (0 without
// it). With the rows that carry a reason to leave them out where with is true.
func (in question) sample(out *Outcome, level int, opts Options, with bool) (*sample, error) {
	s := &sample{in: in, out: out, opts: opts, method: methods[out.Kind], log: kind.Of(out.Kind).Has("scale") && out.Scale == Log}
	if in.By != nil {
		s.of = map[string]string{in.By.Name: in.By.Levels[level]}
	}
	var candidates []int
	for i := range in.Plants {
		if in.among(out, level, i) {
			candidates = append(candidates, i)
		}
	}
	s.chooseTreatments(candidates)
	s.chooseLight(candidates)
	for _, i := range candidates {
		switch {
		case in.LeaveOut != nil && in.LeaveOut[i] != "" && !with:
			if s.complete(i) {
				s.leftOut = append(s.leftOut, i)
			}
		case s.complete(i):
			s.rows = append(s.rows, i)
		default:
			s.missing++
		}
	}
	s.sayUnlit(candidates)
	if len(s.rows) == 0 {
		return s, fmt.Errorf("no plant has %s and everything else that is asked for: fill in the missing cells or name fewer columns", out.Name)
	}
	return s, s.fill()
}

// chooseTreatments leaves out, where only a part of the plants is looked at,
// the treatments that this part cannot compare.
func (s *sample) chooseTreatments(candidates []int) {
	part := s.in.By != nil || s.out.Only != nil
	for _, t := range s.in.Treatments {
		seen := map[int]bool{}
		for _, i := range candidates {
			if t.Codes[i] != Blank {
				seen[t.Codes[i]] = true
			}
		}
		if part && len(seen) < 2 {
			s.say("treatment", t.Name, "these plants have fewer than two levels of %s: it is left out here", t.Name)
			if len(seen) == 1 && t.SetPer != Given {
				s.single = append(s.single, t)
			}
			continue
		}
		s.treatments = append(s.treatments, t)
	}
}

// chooseLight leaves light out where that of none of these plants is known.
func (s *sample) chooseLight(candidates []int) {
	light := s.in.Light
	if light == nil {
		return
	}
	if slices.ContainsFunc(candidates, func(i int) bool { return !math.IsNaN(light.Values[i]) }) {
		s.figures = light
		return
	}
	s.say("light", "", "the light of none of these plants is known: it is left out here")
}

// sayUnlit says how many plants are missing only because their light is not
// known.
func (s *sample) sayUnlit(candidates []int) {
	if s.figures == nil || s.in.Table {
		return
	}
	light := s.figures
	s.figures = nil
	for _, i := range candidates {
		if math.IsNaN(light.Values[i]) && s.complete(i) {
			s.unlit++
		}
	}
	s.figures = light
	if s.unlit > 0 {
		s.say("light", "", "the light of %d of these plants is not known, so that they are missing: a sensor, a survey or lux_per_ppfd for their bins would bring them in", s.unlit)
	}
}

// complete tells whether row i has a value in every column that is used.
func (s *sample) complete(i int) bool {
	if s.in.Status != nil && s.in.Status[i] != Harvested {
		return false
	}
	blank := func(f *Factor) bool { return f != nil && f.Codes[i] == Blank }
	if math.IsNaN(s.out.Values[i]) || blank(s.in.Block) || blank(s.in.Bin) {
		return false
	}
	for _, t := range s.treatments {
		if t.Codes[i] == Blank || t.SetPer == PerReservoir && blank(s.in.Reservoir) {
			return false
		}
	}
	for _, c := range s.covariates() {
		if math.IsNaN(c.Values[i]) {
			return false
		}
	}
	if s.out.Exposure != nil && math.IsNaN(s.out.Exposure.Values[i]) {
		return false
	}
	if s.figures != nil && math.IsNaN(s.figures.Values[i]) {
		return false
	}
	return s.in.Row == nil || s.in.Row[i] > 0 && s.in.Column[i] > 0
}

// covariates lists the covariates, the start last.
func (s *sample) covariates() []Column {
	if s.out.Start == nil {
		return s.in.Covariates
	}
	return append(slices.Clip(s.in.Covariates), *s.out.Start)
}

// fill takes the columns of the rows used.
func (s *sample) fill() error {
	s.raw = pick(s.out.Values, s.rows)
	s.y = s.raw
	if s.log {
		s.y = make([]float64, len(s.raw))
		for k, v := range s.raw {
			if v <= 0 {
				return fmt.Errorf("%s has %s %g, which has no logarithm: mend the value, or record the plant as lost", phrase.Plant(s.in.Plants[s.rows[k]], s.in.Table), s.out.Name, v)
			}
			s.y[k] = math.Log(v)
		}
	}
	if s.out.Exposure != nil {
		s.exposure = pick(s.out.Exposure.Values, s.rows)
		for k, v := range s.exposure {
			if v <= 0 {
				return fmt.Errorf("%s has %s %g: an exposure must be above zero", phrase.Plant(s.in.Plants[s.rows[k]], s.in.Table), s.out.Exposure.Name, v)
			}
		}
	}
	if s.in.Block != nil {
		f := s.factor(*s.in.Block)
		s.terms.Block = &f
	}
	if s.in.Bin != nil {
		f := s.factor(*s.in.Bin)
		s.terms.Bin = &f
	}
	for _, t := range s.treatments {
		unit := t.SetPer
		if unit == Given {
			unit = PerPlant
		}
		s.terms.Treatments = append(s.terms.Treatments, model.Treatment{Factor: s.factor(t.Factor), SetPer: unit})
	}
	s.terms.Interactions = s.opts.Interactions
	for _, c := range s.in.Covariates {
		s.terms.Covariates = append(s.terms.Covariates, model.Variable{Name: c.Name, Values: pick(c.Values, s.rows)})
	}
	if start := s.out.Start; start != nil {
		v := model.Variable{Name: start.Name, Values: pick(start.Values, s.rows)}
		if s.log {
			for k, x := range v.Values {
				if x <= 0 {
					return fmt.Errorf("%s has %s %g, which has no logarithm: mend the value or leave the cell blank", phrase.Plant(s.in.Plants[s.rows[k]], s.in.Table), start.Name, x)
				}
				v.Values[k] = math.Log(x)
			}
		}
		s.terms.Covariates = append(s.terms.Covariates, v)
	}
	if name := s.likeBins(); name != "" {
		return fmt.Errorf("%s is the same throughout each bin, so it cannot be told apart from whatever else the bins differ by: leave it out, the bins stand for it", name)
	}
	if s.figures != nil {
		s.terms.Light = &model.Variable{Name: "light", Values: pick(s.figures.Values, s.rows)}
	}
	return nil
}

// likeBins names a covariate that differs between bins only, such as their air
// temperature; "" where there is none. Bins are in the models, so that it has
// no slope there; among bins it would be one of few numbers against another.
func (s *sample) likeBins() string {
	if s.terms.Bin == nil {
		return ""
	}
	for _, c := range s.terms.Covariates {
		first := map[int]float64{}
		within, between := false, false
		for k, b := range s.terms.Bin.Of {
			if _, ok := first[b]; !ok {
				first[b] = c.Values[k]
			}
			within = within || c.Values[k] != first[b]
			between = between || c.Values[k] != c.Values[0]
		}
		if between && !within {
			return c.Name
		}
	}
	return ""
}

func (s *sample) factor(f Factor) model.Factor {
	m := model.Factor{Name: f.Name, Levels: f.Levels, Of: make([]int, len(s.rows))}
	for k, i := range s.rows {
		m.Of[k] = f.Codes[i]
	}
	return m
}

func pick(x []float64, rows []int) []float64 {
	picked := make([]float64, len(rows))
	for k, i := range rows {
		picked[k] = x[i]
	}
	return picked
}

// withoutLight is the terms less light.
func (s *sample) withoutLight() model.Terms {
	t := s.terms
	t.Light = nil
	return t
}
