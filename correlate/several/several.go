// Package several sets trials side by side: what each of them found, and what they say
// together.
package several

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
)

// Trial is one of several trials that are set side by side.
type Trial struct {
	Name     string // as its file names it
	Folder   string // where it lies, as the user wrote it
	Exported bool   // the folder is an export
	Starts   string // first and last light day, YYYY-MM-DD
	Ends     string
	Days     int // from the first to the last
	// Window words the light figure's window the same way in every trial that has
	// the same: dates as days of the trial. WindowDays is how long it is.
	Window     string
	WindowDays int
	Input      *analysis.Input
	Result     *analysis.Result
}

// Compared is several trials side by side.
type Compared struct {
	Trials      []ComparedTrial    `json:"trials"`
	Comparisons []ComparedEffect   `json:"comparisons"`
	Light       []ComparedSlope    `json:"light"`
	Remarks     []string           `json:"remarks"`
	shared      map[[2]string]bool // pairs of labels whose plants are the same
}

// ComparedTrial names a trial. Trial is its name, or its folder where two are
// called alike; the other lists use it.
type ComparedTrial struct {
	Trial       string   `json:"trial"`
	Folder      string   `json:"folder"`
	Exported    bool     `json:"exported"`
	Starts      string   `json:"starts"`
	Ends        string   `json:"ends"`
	Days        int      `json:"days"`
	LightWindow string   `json:"light_window"`
	Plants      int      `json:"plants"`
	Early       bool     `json:"early"` // read before its end
	Departures  []string `json:"departures,omitempty"`
}

// ComparedEffect is level A against level B of a treatment in one outcome, in
// each trial that has it.
type ComparedEffect struct {
	Outcome   string            `json:"outcome"`
	Of        map[string]string `json:"of,omitempty"`
	Treatment string            `json:"treatment"`
	A         string            `json:"a"`
	B         string            `json:"b"`
	Trials    []EffectIn        `json:"trials"`
	Judged
	elsewhere string // why another trial that has both levels does not stand beside
}

// EffectIn is an effect in one trial: its comparison as correlate gives it, with
// A and B the way round that the first trial has them.
type EffectIn struct {
	Trial string `json:"trial"`
	Asked
	NA int `json:"n_a"` // how many of what unit names have level A
	NB int `json:"n_b"`
	analysis.Comparison
	line *line
}

// Asked is what one trial asked of an outcome.
type Asked struct {
	Planned     bool           `json:"planned"`
	Primary     bool           `json:"primary"`
	Kind        analysis.Kind  `json:"kind"`
	Scale       analysis.Scale `json:"scale,omitempty"`
	OutcomeUnit string         `json:"outcome_unit,omitempty"`
	Basis       string         `json:"basis,omitempty"`
}

// ComparedSlope is the slope of one outcome on light in each trial that has it.
type ComparedSlope struct {
	Outcome string            `json:"outcome"`
	Of      map[string]string `json:"of,omitempty"`
	Trials  []SlopeIn         `json:"trials"`
	Judged
}

// SlopeIn is a slope on light in one trial.
type SlopeIn struct {
	Trial string `json:"trial"`
	Asked
	N           int        `json:"n"`
	LightWindow string     `json:"light_window"`
	DLI         [2]float64 `json:"dli"`         // least and greatest of its plants
	ScaleError  float64    `json:"scale_error"` // one standard deviation of its light's scale, as a share
	analysis.Slope
	line *line
}

// Judged is what several trials say together.
type Judged struct {
	Agreement *TrialsAgreement `json:"agreement,omitempty"`
	Pooled    *PooledEffect    `json:"pooled,omitempty"`
	NotPooled string           `json:"not_pooled,omitempty"` // why, where two trials or more have it
	Says      string           `json:"says"`
}

// TrialsAgreement tests whether the trials differ by more than their own errors:
// Cochran's Q, and p by Welch's F, which makes up for errors that are estimated.
type TrialsAgreement struct {
	Q  float64   `json:"q"`
	DF []float64 `json:"df"` // of F; without the second where the errors are known
	P  float64   `json:"p"`
	// SmallestDetectable is, of two trials, the difference between their effects
	// that would have shown in four cases of five; a factor where effects are ratios.
	SmallestDetectable *float64 `json:"smallest_detectable,omitempty"`
}

// PooledEffect is an effect over trials, each counting once. It was not planned
// by any of them: exploratory.
type PooledEffect struct {
	Exploratory     bool       `json:"exploratory"`
	TheseTrials     PooledMean `json:"these_trials"`
	TrialsLikeThese PooledMean `json:"trials_like_these"`
	// BetweenTrials is the standard deviation of the true effects between trials;
	// of their natural logarithm where effects are ratios.
	BetweenTrials struct {
		SD   float64     `json:"sd"`
		CI95 *[2]float64 `json:"ci95,omitempty"`
	} `json:"between_trials"`
}

// PooledMean is a mean over trials; SE is on the analysed scale.
type PooledMean struct {
	Difference *float64    `json:"difference,omitempty"`
	Ratio      *float64    `json:"ratio,omitempty"`
	Slope      *float64    `json:"slope,omitempty"`
	SE         *float64    `json:"se,omitempty"`
	CI95       *[2]float64 `json:"ci95,omitempty"`
	DF         *float64    `json:"df,omitempty"` // absent where infinite
}

// Value is the mean, whatever it is of.
func (m *PooledMean) Value() *float64 { return cmp.Or(m.Difference, m.Ratio, m.Slope) }

// line is one trial's part in an effect or a slope.
type line struct {
	trial    *Trial
	label    string
	outcome  *analysis.Outcome
	result   *analysis.OutcomeResult
	estimate model.Estimate // on the analysed scale; no standard error where it has none
	ratio    bool           // the estimate is a logarithm of a ratio
	unit     string         // what was replicated
	verdict  string         // one of the verdicts on a comparison
}

// Compare sets the effects of like-named treatments and the slopes on light of
// several trials side by side: outcomes by name and value of analyse_by,
// treatments and levels by name.
//
// Errors: fewer than two trials, and two folders that hold the same harvest.
func Compare(trials []Trial) (*Compared, error) {
	if len(trials) < 2 {
		return nil, errors.New("compare needs two trials or more")
	}
	c := &Compared{Comparisons: []ComparedEffect{}, Light: []ComparedSlope{}, Remarks: []string{}}
	labels := labelsOf(trials)
	for i := range trials {
		t := &trials[i]
		c.Trials = append(c.Trials, ComparedTrial{
			labels[i], t.Folder, t.Exported, t.Starts, t.Ends, t.Days, t.Window, t.Result.Plants, t.Input.Early, t.Result.Departures,
		})
	}
	if err := c.findShared(trials, labels); err != nil {
		return nil, err
	}
	for i := range trials {
		for j := range trials[i].Result.Outcomes {
			c.take(&trials[i], labels[i], &trials[i].Result.Outcomes[j])
		}
	}
	for i := range c.Comparisons {
		c.judgeEffect(&c.Comparisons[i], trials, labels)
	}
	for i := range c.Light {
		c.judgeSlope(&c.Light[i])
	}
	slices.SortStableFunc(c.Comparisons, func(a, b ComparedEffect) int {
		return order(len(a.Trials), len(b.Trials), a.Trials[0].Primary, b.Trials[0].Primary)
	})
	slices.SortStableFunc(c.Light, func(a, b ComparedSlope) int {
		return order(len(a.Trials), len(b.Trials), a.Trials[0].Primary, b.Trials[0].Primary)
	})
	c.remark(trials, labels)
	return c, nil
}

// order puts what several trials have before what one has, and primary outcomes
// before others.
func order(a, b int, primaryA, primaryB bool) int {
	rank := func(n int, primary bool) int {
		r := 0
		if n < 2 {
			r = 2
		}
		if !primary {
			r++
		}
		return r
	}
	return rank(a, primaryA) - rank(b, primaryB)
}

// labelsOf are the trials' names, or their folders where two are called alike.
func labelsOf(trials []Trial) []string {
	labels := make([]string, len(trials))
	seen := map[string]int{}
	for _, t := range trials {
		seen[t.Name]++
	}
	for i, t := range trials {
		if labels[i] = t.Name; t.Name == "" || seen[t.Name] > 1 {
			labels[i] = t.Folder
		}
	}
	return labels
}

// take adds one outcome of a trial to what is compared.
func (c *Compared) take(t *Trial, label string, r *analysis.OutcomeResult) {
	at := slices.IndexFunc(t.Input.Outcomes, func(o analysis.Outcome) bool { return o.Name == r.Name })
	o := &t.Input.Outcomes[at]
	asked := Asked{r.Planned, r.Primary, r.Kind, r.Scale, r.Unit, o.Basis}
	for _, k := range r.Comparisons {
		l := &line{trial: t, label: label, outcome: o, result: r, unit: k.Unit, verdict: k.Verdict, ratio: k.Difference == nil}
		l.estimate = comparisonEstimate(k)
		e := c.effect(r, k)
		if e.A != k.A {
			k, l.verdict = turned(k), opposite(k.Verdict)
			l.estimate.Value = -l.estimate.Value
		}
		e.Trials = append(e.Trials, EffectIn{label, asked, replicates(t.Input, r, k, k.A), replicates(t.Input, r, k, k.B), k, l})
	}
	if r.Light == nil || r.Light.Slope.Slope == nil {
		return
	}
	in := SlopeIn{Trial: label, Asked: asked, N: r.N, LightWindow: t.Window, Slope: r.Light.Slope, DLI: [2]float64{math.Inf(1), math.Inf(-1)}}
	for _, p := range r.Points {
		in.DLI[0], in.DLI[1] = min(in.DLI[0], p.Light), max(in.DLI[1], p.Light)
	}
	in.ScaleError = t.Input.Light.Scale
	in.line = &line{trial: t, label: label, outcome: o, result: r, estimate: slopeEstimate(in.Slope, in.ScaleError), verdict: slopeVerdict(in.CI95)}
	i := slices.IndexFunc(c.Light, func(s ComparedSlope) bool { return s.Outcome == r.Name && phrase.Of(s.Of) == phrase.Of(r.Of) })
	if i < 0 {
		i = len(c.Light)
		c.Light = append(c.Light, ComparedSlope{Outcome: r.Name, Of: r.Of})
	}
	c.Light[i].Trials = append(c.Light[i].Trials, in)
}

// effect is the entry that a comparison belongs to, made where there is none.
func (c *Compared) effect(r *analysis.OutcomeResult, k analysis.Comparison) *ComparedEffect {
	for i := range c.Comparisons {
		e := &c.Comparisons[i]
		if e.Outcome == r.Name && phrase.Of(e.Of) == phrase.Of(r.Of) && e.Treatment == k.Treatment && (e.A == k.A && e.B == k.B || e.A == k.B && e.B == k.A) {
			return e
		}
	}
	c.Comparisons = append(c.Comparisons, ComparedEffect{Outcome: r.Name, Of: r.Of, Treatment: k.Treatment, A: k.A, B: k.B})
	return &c.Comparisons[len(c.Comparisons)-1]
}

// comparisonEstimate is a comparison on the analysed scale, with the degrees of
// freedom that its standard error rests on, infinite where the kind of outcome needs
// no residual.
func comparisonEstimate(k analysis.Comparison) model.Estimate {
	e := model.Estimate{Value: math.NaN(), SE: math.NaN(), DF: math.Inf(1)}
	switch {
	case k.SE == nil:
		return e
	case k.Difference != nil:
		e.Value = *k.Difference
	case k.Ratio != nil:
		e.Value = math.Log(*k.Ratio)
	}
	e.SE = *k.SE
	if k.DF != nil {
		e.DF = *k.DF
	}
	return e
}

// slopeEstimate is a slope with the error of its light's scale: a scale that
// reads a share c too high makes the slope that much too flat.
//
//	se² = se²(slope) + (c · slope)²
func slopeEstimate(s analysis.Slope, scale float64) model.Estimate {
	e := model.Estimate{Value: *s.Slope, SE: math.NaN(), DF: math.Inf(1)}
	if s.DF != nil {
		e.DF = *s.DF
	}
	if s.SE == nil {
		return e
	}
	own, shared := *s.SE**s.SE, scale*scale*e.Value*e.Value
	e.SE = math.Sqrt(own + shared)
	if own > 0 {
		e.DF *= (own + shared) / own * (own + shared) / own // Satterthwaite, the scale's error being known
	}
	return e
}

func slopeVerdict(ci *[2]float64) string {
	switch {
	case ci == nil:
		return ""
	case ci[0] > 0:
		return analysis.Larger
	case ci[1] < 0:
		return analysis.Smaller
	}
	return analysis.CantTell
}

// turned is a comparison the other way round.
func turned(k analysis.Comparison) analysis.Comparison {
	k.A, k.B, k.CellA, k.CellB = k.B, k.A, k.CellB, k.CellA
	k.Verdict = opposite(k.Verdict)
	open := k.CI95
	var closed *[2]float64
	k.Difference, k.Ratio, closed = turnedValue(k.Difference, k.Ratio, open.Closed())
	switch {
	case closed != nil:
		k.CI95 = analysis.KnownLimits(*closed)
	case open != nil && math.IsInf(open[0], -1): // of a ratio
		k.CI95 = analysis.KnownLimits([2]float64{1 / open[1], math.Inf(1)})
	case open != nil:
		k.CI95 = analysis.KnownLimits([2]float64{math.Inf(-1), 1 / open[0]})
	}
	if k.WithoutLight != nil {
		w := *k.WithoutLight
		w.Difference, w.Ratio, w.CI95 = turnedValue(w.Difference, w.Ratio, w.CI95)
		k.WithoutLight = &w
	}
	return k
}

func turnedValue(difference, ratio *float64, ci *[2]float64) (d, r *float64, i *[2]float64) {
	other := func(x float64) float64 { return 1 / x }
	if difference != nil {
		other = func(x float64) float64 { return -x }
		d = analysis.Known(other(*difference))
	}
	if ratio != nil {
		r = analysis.Known(other(*ratio))
	}
	if ci != nil {
		i = analysis.KnownPair([2]float64{other(ci[1]), other(ci[0])})
	}
	return d, r, i
}

func opposite(verdict string) string {
	switch verdict {
	case analysis.Larger:
		return analysis.Smaller
	case analysis.Smaller:
		return analysis.Larger
	}
	return verdict
}

// replicates counts what of the comparison's unit has a level among the plants
// that the results rest on.
func replicates(in *analysis.Input, r *analysis.OutcomeResult, k analysis.Comparison, level string) int {
	i := slices.IndexFunc(in.Treatments, func(t analysis.Treatment) bool { return t.Name == k.Treatment })
	if i < 0 {
		return 0
	}
	t := &in.Treatments[i]
	units := map[int]bool{}
	for _, p := range r.Points {
		if t.Codes[p.Row] == analysis.Blank || t.Levels[t.Codes[p.Row]] != level {
			continue
		}
		unit := p.Row
		switch analysis.SetPer(k.Unit) {
		case analysis.PerBin:
			unit = in.Bin.Codes[p.Row]
		case analysis.PerReservoir:
			unit = in.Reservoir.Codes[p.Row]
		}
		units[unit] = true
	}
	return len(units)
}

// remark says what holds for all that is compared.
func (c *Compared) remark(trials []Trial, labels []string) {
	say := func(format string, args ...any) { c.Remarks = append(c.Remarks, fmt.Sprintf(format, args...)) }
	for i := range trials {
		t := &trials[i]
		if t.Input.Early {
			say("%s has not ended: this is an early look at it.", labels[i])
		}
		for _, d := range t.Result.Departures {
			say("%s departed from its plan: %s", labels[i], d)
		}
		for _, r := range t.Result.Outcomes {
			if r.Model == "" {
				say("%s: %s.", labels[i], whyNoModel(&r))
			}
		}
	}
	for i := range labels {
		for j := range labels[:i] {
			if c.shared[[2]string{labels[j], labels[i]}] {
				say("%s and %s hold the same plants, by their codes and starting values: they are not two answers, and nothing is pooled over them.", labels[j], labels[i])
			}
		}
	}
	if len(c.Light) > 0 {
		say("Positions were not given their light at random: heat, air and edge may travel with it, in each trial in another way.")
	}
}

// whyNoModel is why an outcome has no model.
func whyNoModel(r *analysis.OutcomeResult) string {
	name := phrase.About(r.Name, r.Of, "")
	for _, k := range r.Checks {
		if k.Check == analysis.NoModel {
			return fmt.Sprintf("%s has no result: %s", name, k.Says)
		}
	}
	return name + " has no result"
}
