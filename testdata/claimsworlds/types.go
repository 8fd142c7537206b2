// Package claimsworlds deals invented harvest trials whose truth is known,
// so that the conclusions of a harvest analysis can be judged against it.
// All figures are invented, common practice, no source.
package claimsworlds

// World is one kind of trouble on the bench, with its truth.
type World struct {
	Name    string
	Trouble string // what goes wrong, in the grower's words
	Attacks string // the promise of the analysis that is under attack
	// Null says that no treatment changes any outcome other than losses.
	// Light may still have a true slope; see Truth.
	Null  bool
	Blame Blame
	Truth Truth
	Deal  func(seed uint64) Trial
}

// Blame says what an honest analysis can be held to in a world.
type Blame string

const (
	// MustHold says that the table holds all that is needed; promised error rates hold.
	MustHold Blame = "must hold"
	// MustAdmit says that the table shows that the question cannot be answered, or only
	// under an assumption; a plain claim without a caution is a fault.
	MustAdmit Blame = "must admit"
	// CannotKnow says that the cause is not in the table: count false claims, blame none.
	CannotKnow Blame = "cannot know"
)

// Scale is the scale on which an estimand is stated.
type Scale string

// The scales.
const (
	Difference Scale = "difference" // of means, in the outcome's own unit
	LogRatio   Scale = "log ratio"  // measure: difference of mean logs; count: log of ratio of means
	LogOdds    Scale = "log odds"   // natural log of the odds ratio
)

// Standing says how a conclusion is to be held against an estimand.
type Standing string

const (
	// Judge says that a plain claim or interval about this contrast is judged by this.
	Judge Standing = "judge"
	// AlsoRight says that it is right if the conclusion says in words that it means this one.
	AlsoRight Standing = "also right"
	// Tempting is what a careless analysis tends to; stating it is a fault.
	Tempting Standing = "tempting"
)

// Plants an estimand speaks of.
const (
	AllPlants = "all plants, as they truly were"
	AsWritten = "as the table stands (survivors, labels and values as written)"
)

// Estimand is one number that is true in a world, stated exactly.
type Estimand struct {
	Outcome  string
	Scale    Scale
	Factor   string // a treatment, or a column of numbers if From and To are empty
	From, To string // the contrast is To minus From; both empty: slope per 1 unit of Factor
	// By makes it a difference of two: for a pair, (To-From at ByTo) minus
	// (To-From at ByFrom); for a slope, slope at ByTo minus slope at ByFrom.
	By, ByFrom, ByTo string
	// WhereColumn and WhereLevel limit it to plants of that level.
	WhereColumn, WhereLevel string
	// Held are the columns held equal. "bin" means: within one and the same
	// bin, whatever that bin's own effect. "a×b" holds the product too.
	Held     []string
	AtLight  float64 // the light at which a pair is compared, if it matters; else 0
	On       string  // AllPlants or AsWritten
	Standing Standing
	// Value is the truth; NaN: nothing sensible is defined; -Inf: the level
	// To truly never has an event (a ratio of 0), +Inf: the level From never.
	Value float64
	Note  string
}

// IsSlope reports whether e is a slope and not a contrast of two levels.
func (e Estimand) IsSlope() bool { return e.From == "" && e.To == "" }

// Truth is all that is stated of a world.
type Truth []Estimand

// Column holds one column: Numbers or Labels, never both.
type Column struct {
	Name    string
	Numbers []float64 // NaN: nothing was recorded
	Labels  []string
}

// Outcome is one outcome column and how it is to be analysed.
type Outcome struct {
	Name string
	Kind string // "measure", "count" or "yes_no"
	Log  bool   // only for a measure: analyse its logarithm
}

// Roles say what the columns are, as the user would tell the program.
type Roles struct {
	Plant, Bin, Block, Row, Column string
	Light, Lost, Species, Mother   string
	Outcomes                       []Outcome
	PlantTreatments                []string
	BinTreatments                  []string
	Covariates                     []string
	ThroughLight                   []string    // bin treatments declared to act through light
	Interactions                   [][2]string // interactions that were planned
}

// Trial is one dealt trial.
type Trial struct {
	Table []Column
	Roles Roles
	// Realised are truths that depend on where these very plants stand.
	Realised Truth
	// Hidden must never be shown to the program under judgement. Per outcome
	// X it holds X_all (the true value of every plant, lost or not), X_eta
	// (the expectation before plant noise), X_nuisance (the share of bins,
	// mothers, patches); and F_true, the true labels, if F's are wrong.
	Hidden []Column
}
