package correlate

import (
	"fmt"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/model"
)

// count analyses a count by quasi-likelihood, with the negative binomial beside.
type count struct{}

func (count) response(s *sample) model.Response { return model.Counts{Y: s.y, Exposure: s.exposure} }

func (count) brief(s *sample, r *OutcomeResult) error { return s.modelEffects(r) }

func (count) analyse(s *sample, r *OutcomeResult) error {
	b, err := s.fitBoth(s.terms)
	if err != nil {
		return err
	}
	r.Model = "quasi-likelihood"
	if err := s.assemble(r, b); err != nil {
		return err
	}
	if b.with[0].Err != nil { // assemble has said why
		return nil //nolint:nilerr // an outcome without a fit is no fault of the run
	}
	f := b.with[0].Model.(*model.CountFit)
	s.residuals = f.PearsonResiduals()
	r.ResidualDF = analysis.Known(float64(f.DF))
	slope, err := s.coefficients(r, f)
	if err != nil {
		return err
	}
	for _, k := range r.Coefficients {
		if k.Estimate == nil {
			s.say("coefficient", strings.TrimSpace(k.Of+" "+k.Level), "no event at one of the levels: the ratio has no estimate")
		}
	}
	if f.Exact {
		s.say("exact", "", "the model repeats every count: no test or interval can be given")
		return nil
	}
	says := "the counts vary about as much as chance makes them"
	switch {
	case f.Dispersion > 1.5:
		says = "the counts vary more than chance makes them: intervals were widened for it"
	case f.Dispersion < 1/1.5:
		says = "the counts vary less than chance makes them: intervals were narrowed for it"
	}
	s.checks = append(s.checks, Check{Check: "dispersion", Value: analysis.Known(f.Dispersion), DF: []float64{float64(f.DF)}, Says: says})
	s.say("variance", "", "a count's spread grows with its mean: instead of a standard deviation, dispersion tells how many times what chance makes it plants vary")
	s.unitDispersion(b)
	if len(s.terms.Treatments) > 0 {
		s.test(Check{Check: analysis.SpreadAlike}, f.CountsSpread(s.cells()),
			"counts vary alike about their means in all treatments, as far as can be seen",
			"counts do not vary alike about their means in all treatments")
	}
	tests := s.slopeTests(f)
	r.Checks = s.checks
	s.negativeBinomial(r, f)
	s.light(r, b.with[0], slope)
	s.bend(r, f)
	s.position(r, b)
	s.slopes(r, b.with[0], tests)
	s.straight(r, f)
	s.robust(r, b, true)
	s.redealAll(r, b)
	return nil
}

// unitDispersion says where whole units differed less than their plants make them.
func (s *sample) unitDispersion(b both) {
	for _, l := range b.with[1:] {
		if f, ok := l.Model.(*model.CountFit); ok && l.Err == nil && f.AtLeast {
			s.checks = append(s.checks, Check{Check: "dispersion", Of: string(l.Unit), Value: analysis.Known(f.Dispersion), DF: []float64{float64(f.DF)}, Says: differAtLeast(l.Unit, "counts")})
		}
	}
}

// differAtLeast says that whole units differed less than what their plants have makes
// them.
func differAtLeast(unit model.Unit, what string) string {
	return fmt.Sprintf("by chance %ss differ less than the %s of their plants make them: they are taken to differ as much as these do", unit, what)
}

// noEvents is the code of checks on levels without a single event.
const noEvents analysis.Code = "no events"

// whyNoF says why an effect with a level or a cell without events has no F test.
func (s *sample) whyNoF(t model.Test) string {
	if t.Kind == model.KindInteraction {
		return "a cell has not one event: no test of the interaction holds then, and none was made"
	}
	return "a level has not one event: no F test holds then; its pairs are judged by how many plants, or whole bins, have an event at all, and the treatment by its pairs"
}

// negativeBinomial fits the same model with a variance that grows as the
// square of the mean.
func (s *sample) negativeBinomial(r *OutcomeResult, f *model.CountFit) {
	nb, err := f.NegativeBinomial()
	if err != nil {
		s.say("negative_binomial", "", "%v", err)
		return
	}
	tests, err := nb.Partial()
	if err != nil {
		s.say("negative_binomial", "", "its effects could not be tested: %v", err)
		return
	}
	coefficients, err := nb.Coefficients()
	if err != nil {
		s.say("negative_binomial", "", "%v", err)
		return
	}
	r.NegativeBinomial = &NegativeBinomial{Size: nb.Size, Coefficients: []Coefficient{}, Effects: []Effect{}}
	for _, c := range coefficients {
		r.NegativeBinomial.Coefficients = append(r.NegativeBinomial.Coefficients, coefficient(c))
	}
	for _, t := range tests {
		r.NegativeBinomial.Effects = append(r.NegativeBinomial.Effects, testEffect(s.term(t.Term), t, model.PerPlant))
	}
}

func (count) dealt() string { return "; each deal was compared by one step of the fit" }

func (count) spread(s *sample, _ []*model.Stratum, l *model.Stratum, f *Planning) {
	fit := l.Model.(*model.CountFit)
	if f.SD, f.DF = fit.Dispersion, float64(fit.DF); fit.Exact {
		f.Why = "the model repeats every count: how much replicates vary is not known"
	}
	f.Mean *= s.exposed(l.Unit)
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
	return total / float64(len(overUnits(*over).Levels))
}
