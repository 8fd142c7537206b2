package analysis

import (
	"maps"
	"math"
	"slices"

	"parstead/correlate/model"
	"parstead/correlate/power"
)

// NextTrial is how many replicates a next trial needs. PerLevel and BinsPerLevel
// are enough for all needs of plants or of bins; absent where there is none.
type NextTrial struct {
	Power        float64 `json:"power"` // that was asked for
	PerLevel     *int    `json:"per_level,omitempty"`
	BinsPerLevel *int    `json:"bins_per_level,omitempty"`
	Needs        []Need  `json:"needs"`
}

// Need is what one treatment's next comparison needs, with what that rests on.
// The replicates per level are those with which the test of all levels together
// has the power asked for, where two levels lie the difference apart and the others
// half way between; yes/no answers by the exact test of such a pair.
type Need struct {
	Outcome   string            `json:"outcome,omitempty"`
	Of        map[string]string `json:"of,omitempty"`
	Treatment string            `json:"treatment,omitempty"`
	Unit      string            `json:"unit"` // the replicate: plant, bin or reservoir
	Levels    int               `json:"levels"`

	Difference *float64    `json:"difference,omitempty"` // asked about: in the outcome's unit
	Ratio      *float64    `json:"ratio,omitempty"`      // in its place on a log scale and of counts; the odds ratio of yes/no answers
	Shares     *[2]float64 `json:"shares,omitempty"`     // the two shares of yes that are told apart

	Mean         *float64    `json:"mean,omitempty"`       // of one replicate
	SD           *float64    `json:"sd,omitempty"`         // of one replicate, on the analysed scale
	DF           *float64    `json:"sd_df,omitempty"`      // that it was estimated on
	SDCI95       *[2]float64 `json:"sd_ci95,omitempty"`    // by χ²
	Dispersion   *float64    `json:"dispersion,omitempty"` // of counts, in place of SD
	PlantsPerBin *float64    `json:"plants_per_bin,omitempty"`
	PlantSD      *float64    `json:"plant_sd,omitempty"` // of plants within bins
	BinSD        *float64    `json:"bin_sd,omitempty"`   // between bins beyond that; 0 where none shows

	PerLevel           *int     `json:"per_level,omitempty"`
	BinsPerLevel       *int     `json:"bins_per_level,omitempty"`
	ReservoirsPerLevel *int     `json:"reservoirs_per_level,omitempty"`
	Power              *float64 `json:"power,omitempty"` // that these reach
	MonteCarloError    *float64 `json:"monte_carlo_error,omitempty"`
	EachPair           *int     `json:"each_pair,omitempty"`          // replicates with which the interval of one such pair tells it apart
	CI95               *[2]int  `json:"ci95,omitempty"`               // of the replicates, from that of the spread
	WithoutCovariates  *int     `json:"without_covariates,omitempty"` // replicates if start, light and other covariates were not in the model

	RackHolds          *int     `json:"rack_holds,omitempty"`       // per level, beside the plants that shared it
	RackHoldsAlone     *int     `json:"rack_holds_alone,omitempty"` // per level, without them
	Fits               *bool    `json:"fits,omitempty"`
	SmallestDifference *float64 `json:"smallest_difference,omitempty"` // that RackHolds shows with the power asked for
	SmallestRatio      *float64 `json:"smallest_ratio,omitempty"`

	Says string `json:"says"`
}

// Replicates is the number per level, whatever the replicate is.
func (n *Need) Replicates() int { return **n.replicates() }

// SetReplicates sets it.
func (n *Need) SetReplicates(count int) { *n.replicates() = &count }

// replicates is where that number stands.
func (n *Need) replicates() **int {
	switch model.Unit(n.Unit) {
	case model.PerBin:
		return &n.BinsPerLevel
	case model.PerReservoir:
		return &n.ReservoirsPerLevel
	}
	return &n.PerLevel
}

// NeedsOf lists the needs of one result.
func (n *NextTrial) NeedsOf(o *OutcomeResult) []Need {
	if n == nil {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(n.Needs), func(n Need) bool {
		return n.Outcome != o.Name || !maps.Equal(n.Of, o.Of)
	})
}

// MostTimes is the multiple of replicates beyond which another trial is no
// matter of more replicates.
const MostTimes = 20

// FewDF is where more replicates sharpen a comparison by their degrees of freedom
// too, so that it does not go by their number's root.
const FewDF = 10

// HardlyDF is how many degrees of freedom say so little of a spread that an interval
// is not worth a sentence.
const HardlyDF = 2

// HardlyTells tells whether a comparison of whole units rests on so few that where it
// shows nothing its interval is not worth a sentence; it stands in the table.
func (r *OutcomeResult) HardlyTells(c *Comparison) bool {
	return c.Unit != string(model.PerPlant) && slices.ContainsFunc(r.Planning, func(f Planning) bool {
		return f.Treatment == c.Treatment && 0 < f.DF && f.DF <= HardlyDF
	})
}

// Planning is what a trial tells of one treatment that a next one can be sized by.
type Planning struct {
	Treatment   string
	Levels      []string
	Unit        model.Unit
	Kind        Kind
	Scale       Scale
	OutcomeUnit string // the outcome's unit
	Share       bool   // sd and mean are in means, so that differences are shares
	Matters     *Difference

	Layout power.Layout
	SD     float64 // of one replicate, on the analysed scale; of counts the dispersion
	DF     float64 // that it was estimated on; 0 where it was given
	Bare   float64 // sd if covariates and light were not in the model; 0 where there are none
	Level  float64 // mean of the levels as comparisons take it: of counts the rate; of yes/no answers the share
	Mean   float64 // of one replicate; as level, but of counts that of a plant or a whole bin
	Why    string  // why there is no spread

	PlantSD, BinSD float64 // the parts of sd, where bins are the replicates
	PerBin         float64 // plants per bin, harmonic mean

	// What the rack has for plants like these: bins and reservoirs in which they
	// stood, positions in these less guards', and those of them that were theirs as
	// the rack was shared. Zero where not known.
	Bins, Reservoirs int
	Positions, Own   float64
}

// Compose makes the spread of a bin out of its parts.
//
//	σ² = σ²(bins) + σ²(plants)/m
func (f *Planning) Compose() {
	f.SD = math.Sqrt(f.BinSD*f.BinSD + f.PlantSD*f.PlantSD/f.PerBin)
}

// Decompose parts the spread of a bin, which was estimated as a whole.
func (f *Planning) Decompose(plantSD float64) {
	f.PlantSD = plantSD
	f.BinSD = math.Sqrt(math.Max(0, f.SD*f.SD-plantSD*plantSD/f.PerBin))
}
