package correlate

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"

	"golang.org/x/sync/errgroup"

	"parstead/correlate/analysis"
	"parstead/correlate/answer"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
	"parstead/correlate/referee"
	"parstead/correlate/sentences"
)

// question is what is asked of a trial's plants.
type question struct{ *Input }

// Analyse gives the harvest correlation: one result per outcome and value of
// analyse_by. An outcome that cannot be analysed has a check that says why and
// no model.
//
// Errors: a cancelled context; columns of different lengths panic.
func Analyse(ctx context.Context, input *Input, opts Options) (*Result, error) {
	in := question{input}
	in.mustAgree()
	result := &Result{Asked: input, Plants: len(in.Plants), Departures: in.Departures}
	levels := []int{0}
	if in.By != nil {
		levels = levels[:0]
		order := slices.Clone(in.By.Levels)
		slices.Sort(order)
		for _, l := range order {
			levels = append(levels, slices.Index(in.By.Levels, l))
		}
	}
	type part struct {
		outcome *Outcome
		level   int
	}
	var parts []part
	for o := range in.Outcomes {
		for _, level := range levels {
			if out := &in.Outcomes[o]; in.By == nil || in.hasRows(out, level) {
				parts = append(parts, part{out, level})
			}
		}
	}
	result.Outcomes = make([]OutcomeResult, len(parts))
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(runtime.GOMAXPROCS(0))
	if len(in.Plants) > mostRows {
		group.SetLimit(1)
	}
	for i, p := range parts {
		group.Go(func() error {
			if err := ctx.Err(); err != nil {
				return err
			}
			result.Outcomes[i] = in.outcome(p.outcome, p.level, opts)
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		return nil, err
	}
	result.Lost = in.losses(levels, opts)
	result.OutcomeCorrelations = in.correlations(levels)
	in.families(result)
	result.Electricity = in.electricity(result.Outcomes)
	in.next(result, opts)
	for i := range result.Outcomes {
		result.Outcomes[i].Findings = sentences.Of(in.Input, &result.Outcomes[i], result)
		result.Outcomes[i].Equation = referee.Equation(in.Input, &result.Outcomes[i])
	}
	result.Answer = answer.Of(in.Input, result)
	result.Methods = referee.Methods(in.Input, result)
	return result, nil
}

func (in question) hasRows(out *Outcome, level int) bool {
	for i := range in.Plants {
		if in.among(out, level, i) {
			return true
		}
	}
	return false
}

// mustAgree panics where columns differ in length, which only a wrong caller
// can cause.
func (in question) mustAgree() {
	n := len(in.Plants)
	same := func(length int, optional bool, what string) {
		if length != n && (!optional || length != 0) {
			panic("correlate: " + what + " differs in length from the plants")
		}
	}
	for _, t := range in.Treatments {
		same(len(t.Codes), false, "treatment "+t.Name)
	}
	for _, f := range []*Factor{in.Block, in.Bin, in.Reservoir, in.By} {
		if f != nil {
			same(len(f.Codes), false, f.Name)
		}
	}
	for _, c := range in.Covariates {
		same(len(c.Values), false, c.Name)
	}
	if in.Light != nil {
		same(len(in.Light.Values), false, "light")
		same(len(in.Light.Independent), true, "error of light")
	}
	same(len(in.Row), true, "row")
	same(len(in.Column), len(in.Row) == 0, "column")
	same(len(in.Guard), true, "guard")
	same(len(in.Status), true, "status")
	same(len(in.Cause), true, "cause")
	same(len(in.LeaveOut), true, "leave_out")
	same(len(in.Edge), true, "edge")
	for _, o := range in.Outcomes {
		same(len(o.Values), false, o.Name)
		same(len(o.Again), true, o.Name+" again")
		same(len(o.Only), true, "only of "+o.Name)
	}
}

// outcome analyses one outcome for one value of analyse_by.
func (in question) outcome(out *Outcome, level int, opts Options) OutcomeResult {
	r := OutcomeResult{Name: out.Name, Kind: out.Kind, Unit: out.Unit, Planned: out.Planned, Primary: out.Primary && !in.Table}
	s, err := in.sample(out, level, opts, false)
	r.Of, r.N, r.Missing = s.of, len(s.rows), s.missing
	if err == nil {
		err = s.method.analyse(s, &r)
	}
	if err == nil && s.unlit > 0 && s.terms.Light == nil {
		return in.unlit(out, level, opts, s)
	}
	if err != nil {
		s.say(analysis.NoModel, "", "%v", s.placed(err))
		s.tangled(err)
	} else {
		s.alike(&r)
		s.unlike(&r)
		s.likeLight(&r)
		s.gaps(&r)
		s.again()
		s.withLeftOut(&r, level)
		s.points(&r)
	}
	r.Checks = s.checks
	if r.Checks == nil {
		r.Checks = []Check{}
	}
	return r
}

// tangled says what goes together so that nothing could be fitted.
func (s *sample) tangled(err error) {
	alike, ok := errors.AsType[*model.CollinearError](err)
	if !ok {
		return
	}
	var with []string
	for _, c := range alike.Of {
		if c.Kind != model.KindIntercept {
			with = append(with, c.String())
		}
	}
	if len(with) > 0 {
		s.say(analysis.Tangled, "", "%s goes with %s throughout these plants: what the one did looks the same as what the other did", alike.Column, phrase.List(with))
	}
}

// placed words a fault of one of the rows used by its plant.
func (s *sample) placed(err error) error {
	if at, ok := errors.AsType[*model.RowError](err); ok && at.Row < len(s.rows) {
		return fmt.Errorf("%s: %s", phrase.Plant(s.in.Plants[s.rows[at.Row]], s.in.Table), at.Says)
	}
	return err
}

// unlit analyses an outcome again where light could not stay in the model: plants
// that were missing for want of their light come in.
func (in question) unlit(out *Outcome, level int, opts Options, s *sample) OutcomeResult {
	bare := *in.Input
	bare.Light = nil
	r := question{&bare}.outcome(out, level, opts)
	if s.lightOut != nil {
		r.Checks = slices.Insert(r.Checks, 0, *s.lightOut)
	}
	return r
}

// alike describes the plants by the treatments of which they have one level.
func (s *sample) alike(r *OutcomeResult) {
	for _, t := range s.single {
		s.describe(r, t.Name)
	}
}

// points lists the plants that the results rest on.
func (s *sample) points(r *OutcomeResult) {
	r.Points = make([]PlantPoint, len(s.rows))
	for k, i := range s.rows {
		p := PlantPoint{Row: i, Value: s.raw[k], Light: math.NaN(), Residual: math.NaN()}
		if s.figures != nil {
			p.Light = s.figures.Values[i]
		}
		if s.residuals != nil {
			p.Residual = s.residuals[k]
		}
		r.Points[k] = p
	}
}
