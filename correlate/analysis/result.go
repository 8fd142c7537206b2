package analysis

import (
	"cmp"
	"slices"

	"parstead/correlate/model"
)

// Result is the harvest correlation of one trial. Its JSON has the keys of the
// command's contract; what could not be estimated is absent and a check says why.
type Result struct {
	Asked               *Input          `json:"-"`
	Plants              int             `json:"plants"`
	Outcomes            []OutcomeResult `json:"outcomes"`
	Lost                []Losses        `json:"lost,omitempty"`
	OutcomeCorrelations []Correlation   `json:"outcome_correlations,omitempty"`
	NextTrial           *NextTrial      `json:"next_trial,omitempty"`
	Electricity         *Electricity    `json:"electricity,omitempty"`
	Departures          []string        `json:"departures,omitempty"`
	Methods             string          `json:"methods"` // a paragraph for a referee
	Answer              []Sentence      `json:"answer"`  // at most seven sentences

	// Seed is that of the draws that size a next trial.
	Seed uint64 `json:"-"`

	Questions Asked `json:"-"`
}

// Computed tells whether any outcome could be analysed.
func (r *Result) Computed() bool {
	return slices.ContainsFunc(r.Outcomes, func(o OutcomeResult) bool { return o.Model != "" })
}

// OutcomeResult is one outcome for one value of analyse_by.
type OutcomeResult struct {
	Name             string            `json:"name"`
	Kind             Kind              `json:"kind"`
	Of               map[string]string `json:"of,omitempty"`
	Unit             string            `json:"unit,omitempty"`
	Scale            Scale             `json:"scale,omitempty"`
	Planned          bool              `json:"planned"`
	Primary          bool              `json:"primary"`
	N                int               `json:"n"`
	Missing          int               `json:"missing"`
	Model            string            `json:"model,omitempty"`
	ResidualDF       *float64          `json:"residual_df,omitempty"`
	ResidualSD       *float64          `json:"residual_sd,omitempty"`
	Equation         string            `json:"equation,omitempty"`
	Variance         []Variance        `json:"variance,omitempty"`
	Groups           []Group           `json:"groups,omitempty"`
	Effects          []Effect          `json:"effects,omitempty"`
	Coefficients     []Coefficient     `json:"coefficients,omitempty"`
	Comparisons      []Comparison      `json:"comparisons,omitempty"`
	Light            *LightResult      `json:"light,omitempty"`
	NegativeBinomial *NegativeBinomial `json:"negative_binomial,omitempty"`
	Exact            *Exact            `json:"exact,omitempty"`
	Position         *Position         `json:"position,omitempty"`
	UnequalSpread    *UnequalSpread    `json:"unequal_spread,omitempty"`
	Suspects         []Suspect         `json:"suspects,omitempty"`
	Checks           []Check           `json:"checks"`
	Findings         []Finding         `json:"findings"`

	// Points are the plants that the results rest on, for pictures.
	Points []PlantPoint `json:"-"`
	// Curve is the fitted light curve with its band over measured light, for pictures.
	Curve *CurveBand `json:"-"`

	// Unlike is in what the levels of a treatment are unlike that their comparison holds
	// equal.
	Unlike []Unlike `json:"-"`
	// LikeLight are the covariates that can hardly be told apart from light.
	LikeLight []LikeLight `json:"-"`
	// Slopes are those that differ between the levels of a treatment.
	Slopes []LevelSlopes `json:"-"`
	// Gaps are the plants of a flat table without a value.
	Gaps Gaps `json:"-"`
	// EdgeIsLight tells that edge plants are exactly those with other light.
	EdgeIsLight bool `json:"-"`

	// Planning is what a next trial can be sized by, treatment by treatment.
	Planning []Planning `json:"-"`
}

// PlantPoint is one plant that entered an outcome's results.
type PlantPoint struct {
	Row      int     // index into the Input's rows
	Value    float64 // as it was entered: never logged
	Light    float64 // NaN where there is none
	Residual float64 // on the analysed scale; NaN where there is none
}

// CurveBand is a fitted curve over measured light, in the outcome's own unit,
// at the reference of every factor averaged and covariates at their mean.
type CurveBand struct {
	Shape     string
	Light     []float64
	Value     []float64
	Low, High []float64 // 95 % band, pointwise

	Times bool // it is straight in the logarithm: each step of light multiplies by the same factor
}

// Group is the plants that share a treatment's level, or a cell of two treatments.
type Group struct {
	Cell         Cell              `json:"-"`
	Levels       map[string]string `json:"levels"`
	N            int               `json:"n"`
	Mean         *float64          `json:"mean,omitempty"`
	SD           *float64          `json:"sd,omitempty"`
	AdjustedMean *float64          `json:"adjusted_mean,omitempty"`
	CI95         *[2]float64       `json:"ci95,omitempty"`
	Letters      string            `json:"letters,omitempty"`
}

// Effect is the test of one term of the model.
type Effect struct {
	Effect   string    `json:"effect"`
	Test     string    `json:"test,omitempty"` // F, chi2 or exact
	Value    *float64  `json:"value,omitempty"`
	DF       []float64 `json:"df,omitempty"`
	P        *float64  `json:"p,omitempty"`
	PFDR     *float64  `json:"p_fdr,omitempty"`
	PRedealt *float64  `json:"p_redealt,omitempty"`
	Unit     string    `json:"unit,omitempty"` // what was replicated: plant, bin or reservoir

	Term     Term     `json:"-"`
	Standing Standing `json:"-"`
}

// Dependent lists the interactions of an outcome by which what one treatment does is
// told to depend on the other; this decides what is described and claims nothing.
func (r *OutcomeResult) Dependent() []Effect {
	var list []Effect
	for _, e := range r.Effects {
		if e.Term.Kind == model.KindInteraction && e.P != nil && *e.P < 0.05 {
			list = append(list, e)
		}
	}
	return list
}

// ComparisonsOf lists the comparisons of a term; of cells those that differ in one
// treatment.
func (r *OutcomeResult) ComparisonsOf(t Term) []*Comparison {
	var list []*Comparison
	for i := range r.Comparisons {
		if c := &r.Comparisons[i]; c.Term == t && c.CellA.Apart(c.CellB) == 1 {
			list = append(list, c)
		}
	}
	return list
}

// SlopesOf finds the slopes of a covariate or of light that differ most clearly
// between levels; nil where none do.
func (r *OutcomeResult) SlopesOf(t Term) *LevelSlopes {
	var found *LevelSlopes
	for i := range r.Slopes {
		if s := &r.Slopes[i]; s.Of == t && (found == nil || s.P < found.P) {
			found = s
		}
	}
	return found
}

// CheckOf finds a check by its code; nil where there is none.
func (r *OutcomeResult) CheckOf(code Code) *Check {
	if i := slices.IndexFunc(r.Checks, func(c Check) bool { return c.Check == code }); i >= 0 {
		return &r.Checks[i]
	}
	return nil
}

// SpreadsDiffer tells whether plants clearly spread unlike between treatments, so that
// a claim also has to hold with spreads of their own.
func (r *OutcomeResult) SpreadsDiffer() bool {
	c := r.CheckOf(SpreadAlike)
	return c != nil && c.P != nil && *c.P < 0.01
}

// Find is the effect of a term; nil where there is none.
func Find(effects []Effect, t Term) *Effect {
	if i := slices.IndexFunc(effects, func(e Effect) bool { return e.Term == t }); i >= 0 {
		return &effects[i]
	}
	return nil
}

// Coefficient is one column of the model.
type Coefficient struct {
	Of       string      `json:"of"`
	Level    string      `json:"level,omitempty"`
	Against  string      `json:"against,omitempty"`
	Estimate *float64    `json:"estimate,omitempty"`
	SE       *float64    `json:"se,omitempty"`
	CI95     *[2]float64 `json:"ci95,omitempty"`
	P        *float64    `json:"p,omitempty"`
	SEHC3    *float64    `json:"se_hc3,omitempty"`
	PHC3     *float64    `json:"p_hc3,omitempty"`

	Term     Term     `json:"-"`
	Standing Standing `json:"-"`
}

// Contrast is a difference on a natural scale or a ratio on any other, with
// its interval; exactly one of Difference and Ratio is set.
type Contrast struct {
	Difference *float64    `json:"difference,omitempty"`
	Ratio      *float64    `json:"ratio,omitempty"`
	CI95       *[2]float64 `json:"ci95,omitempty"`
	P          *float64    `json:"p,omitempty"`
	Verdict    string      `json:"verdict,omitempty"` // without light, or with own spreads
}

// Value is the difference or the ratio.
func (c *Contrast) Value() *float64 { return cmp.Or(c.Difference, c.Ratio) }

// Comparison is level A against level B of a treatment. SE is on the analysed
// scale: the natural log where the contrast is a ratio. SlopeShare is the share of
// SE² that is the error of the slopes by which covariates and light adjusted whole
// bins or reservoirs.
type Comparison struct {
	Term               Term      `json:"-"`
	CellA              Cell      `json:"-"`
	CellB              Cell      `json:"-"`
	Treatment          string    `json:"treatment"`
	A                  string    `json:"a"`
	B                  string    `json:"b"`
	Difference         *float64  `json:"difference,omitempty"`
	Ratio              *float64  `json:"ratio,omitempty"`
	SE                 *float64  `json:"se,omitempty"`
	DF                 *float64  `json:"df,omitempty"` // of SE; absent where infinite
	SlopeShare         *float64  `json:"slope_share,omitempty"`
	CI95               *Limits   `json:"ci95,omitempty"` // open at one end where a level of a count has no event
	P                  *float64  `json:"p,omitempty"`
	PSingle            *float64  `json:"p_single,omitempty"`
	Unit               string    `json:"unit,omitempty"`
	WithoutLight       *Contrast `json:"without_light,omitempty"`
	Verdict            string    `json:"verdict,omitempty"`
	SmallestDetectable *float64  `json:"smallest_detectable,omitempty"`

	PRobust  *float64 `json:"-"` // with spreads of their own, where spreads differ
	Standing Standing `json:"-"`
}

// Value is the difference or the ratio; nil where there is neither.
func (c *Comparison) Value() *float64 { return cmp.Or(c.Difference, c.Ratio) }

// OneSided tells whether the comparison has a limit on one side only, since one of the
// two has no event.
func (c *Comparison) OneSided() bool { return c.CI95 != nil && c.CI95.Closed() == nil }

// BySlopes tells whether the slopes that adjust whole units weigh more in the error
// than the scatter of these.
func (c *Comparison) BySlopes() bool { return c.SlopeShare != nil && *c.SlopeShare > 0.5 }

// LightDecides tells whether the verdict is another one without light.
func (c *Comparison) LightDecides() bool {
	return c.WithoutLight != nil && c.WithoutLight.Verdict != "" && c.WithoutLight.Verdict != c.Verdict
}

// The verdicts on a comparison.
const (
	Larger     = "larger"
	Smaller    = "smaller"
	Equivalent = "equivalent"
	CantTell   = "can't tell"
)

// Slope is a slope with its test.
type Slope struct {
	Slope *float64    `json:"slope,omitempty"`
	SE    *float64    `json:"se,omitempty"`
	CI95  *[2]float64 `json:"ci95,omitempty"`
	P     *float64    `json:"p,omitempty"`
	DF    *float64    `json:"df,omitempty"`

	PRobust  *float64 `json:"-"`
	Standing Standing `json:"-"`
}

// Bend is the test that the response to light is no straight line.
type Bend struct {
	P        float64
	Standing Standing
}

// LightResult is what light was found to do, per unit of light: in the
// outcome's unit, its natural log (log scale, counts) or log odds (yes_no).
type LightResult struct {
	Slope
	Reliability *float64        `json:"reliability,omitempty"`
	VIF         *float64        `json:"vif,omitempty"`
	WithinBin   *Slope          `json:"within_bin,omitempty"`
	BetweenBin  *Slope          `json:"between_bin,omitempty"`
	Corrected   *CorrectedSlope `json:"corrected_for_error,omitempty"`
	Curve       []LightCurve    `json:"curve,omitempty"`
	Bend        *Bend           `json:"-"`
}

// CorrectedSlope is the slope corrected for independent error in the light figures.
type CorrectedSlope struct {
	Slope float64    `json:"slope"`
	CI95  [2]float64 `json:"ci95"`
}

// LightCurve is one shape fitted to light.
type LightCurve struct {
	Shape       string       `json:"shape"` // straight, hyperbola, exponential, quadratic
	RSS         *float64     `json:"rss,omitempty"`
	AIC         *float64     `json:"aic,omitempty"`
	AICc        *float64     `json:"aicc,omitempty"`
	Weight      *float64     `json:"weight,omitempty"`
	Parameters  []Parameter  `json:"parameters,omitempty"`
	Predictions []Prediction `json:"predictions,omitempty"`
}

// Parameter is one parameter of a curve.
type Parameter struct {
	Name     string      `json:"name"`
	Estimate *float64    `json:"estimate,omitempty"`
	SE       *float64    `json:"se,omitempty"`
	CI95     *[2]float64 `json:"ci95,omitempty"`
}

// Prediction is the outcome that a curve gives at a stated light.
type Prediction struct {
	DLI   float64     `json:"dli"`
	Value *float64    `json:"value,omitempty"`
	CI95  *[2]float64 `json:"ci95,omitempty"`
}

// NegativeBinomial stands beside the quasi-likelihood of a count; Size is held
// at the full fit.
type NegativeBinomial struct {
	Size         float64       `json:"size"`
	Coefficients []Coefficient `json:"coefficients"`
	Effects      []Effect      `json:"effects"`
}

// Exact holds the exact tests where a penalised logistic model is the main one.
type Exact struct {
	Effects     []Effect     `json:"effects"`
	Comparisons []Comparison `json:"comparisons"`
}

// Position is what the residuals tell of where the plants stood.
type Position struct {
	MoranI           *float64 `json:"moran_i,omitempty"`
	P                *float64 `json:"p,omitempty"`
	MoranIAfterLight *float64 `json:"moran_i_after_light,omitempty"`
	PAfterLight      *float64 `json:"p_after_light,omitempty"`
	Edge             *Edge    `json:"edge,omitempty"`
	Standing         Standing `json:"-"`
}

// Alike tells whether neighbours are alike in what the model leaves, light taken into
// account where it is in it.
func (p *Position) Alike() bool {
	if p == nil {
		return false
	}
	alike := cmp.Or(p.PAfterLight, p.P)
	return alike != nil && *alike < 0.05
}

// Edge is the difference of edge plants from inner ones beside light.
type Edge struct {
	Estimate *float64    `json:"estimate,omitempty"`
	CI95     *[2]float64 `json:"ci95,omitempty"`
	VIF      *float64    `json:"vif,omitempty"`
	P        *float64    `json:"-"`
	Standing Standing    `json:"-"`
}

// Apart tells whether the edge can be told apart from light.
func (e *Edge) Apart() bool { return e.VIF == nil || *e.VIF <= Inseparable }

// Inseparable is the variance inflation above which edge and light can't be told
// apart.
const Inseparable = 4

// UnequalSpread stands beside a one-way analysis without assuming equal spread.
type UnequalSpread struct {
	Welch       *WelchTest   `json:"welch,omitempty"`
	GamesHowell []PairSpread `json:"games_howell,omitempty"`

	// Wider tells that sentences take the wider of a pair's two intervals, that of one
	// spread and that of its levels' own.
	Wider bool `json:"-"`
}

// WelchTest is Welch's test of equal means.
type WelchTest struct {
	Value float64    `json:"value"`
	DF    [2]float64 `json:"df"`
	P     float64    `json:"p"`
}

// PairSpread is a pair by Games and Howell.
type PairSpread struct {
	A string `json:"a"`
	B string `json:"b"`
	Contrast

	CellA Cell `json:"-"`
	CellB Cell `json:"-"`
}

// Suspect is a plant whose residual is larger than chance makes likely.
type Suspect struct {
	Plant       string   `json:"plant"`
	Value       float64  `json:"value"`
	Studentized float64  `json:"studentized"`
	PWithout    *float64 `json:"p_without,omitempty"` // of the outcome's first effect

	About Term `json:"-"` // that effect

	// Without is groups, effects and comparisons of the result when the plant is left
	// out; nil where they can't be had.
	Without *OutcomeResult `json:"-"`
}

// Code tells what a check is of.
type Code string

// The codes by which something is decided.
const (
	NoModel     Code = "model"       // why an outcome, or a treatment, has no model
	Tangled     Code = "alike"       // that what was named goes together, so that there is no model
	NotTested   Code = "not tested"  // why an effect has no test
	OneUnit     Code = "one unit"    // that each level of a treatment has one bin or reservoir
	SlopeError  Code = "slope_error" // that slopes weigh more in the error of whole bins than these do
	ByLight     Code = "by_light"    // that a verdict is another one without light
	SlopeTrust  Code = "slope"       // by what the slope of light is judged where plants are no replicates of one spread
	SpreadAlike Code = "spread"      // whether plants spread alike in all treatments
	Fits        Code = "lack_of_fit" // whether the model misses a pattern
	LightOut    Code = "light"       // why light, or plants for want of it, are not in the model
	BetweenBins Code = "between_bin" // what the slope between bins may hold, or why there is none
)

// Check is a test of an assumption, or the reason why a quantity is absent.
type Check struct {
	Check Code      `json:"check"`
	Of    string    `json:"of,omitempty"`
	Value *float64  `json:"value,omitempty"`
	DF    []float64 `json:"df,omitempty"`
	P     *float64  `json:"p,omitempty"`
	Says  string    `json:"says"`
}

// Losses are the plants lost of one level of a treatment. N counts the plants
// that started; accidents are no treatment's losses and are not in Lost.
type Losses struct {
	Of        map[string]string `json:"of,omitempty"`
	Treatment string            `json:"treatment"`
	Level     string            `json:"level"`
	N         int               `json:"n"`
	Lost      int               `json:"lost"`
	Accident  int               `json:"accident"`
	Causes    map[string]int    `json:"causes,omitempty"`
	P         *float64          `json:"p,omitempty"`

	Cell     At       `json:"-"`
	Standing Standing `json:"-"`
}

// Gaps are plants without a value of an outcome: they may have been lost.
type Gaps struct {
	Missing, Plants int
	By              []Losses // of each treatment's levels
}

// mostMissing is the share of plants without a value from which what is told is of the
// survivors, if they were lost.
const mostMissing = 0.05

// Many tells whether so many are missing that it has to be said.
func (g *Gaps) Many() bool {
	return g.Missing > 0 && float64(g.Missing) >= mostMissing*float64(g.Plants)
}

// Correlation is the rank correlation of two outcomes within treatments.
type Correlation struct {
	Of   map[string]string `json:"of,omitempty"`
	A    string            `json:"a"`
	B    string            `json:"b"`
	N    int               `json:"n"`
	Rho  *float64          `json:"rho,omitempty"`
	CI95 *[2]float64       `json:"ci95,omitempty"`
	P    *float64          `json:"p,omitempty"`
}
