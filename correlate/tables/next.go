package tables

import (
	"fmt"
	"strconv"

	"parstead/correlate/analysis"
	"parstead/correlate/phrase"
)

// Next is the table of what a next trial needs, for a page; none where that is not
// known.
func Next(n *analysis.NextTrial) []Table {
	if n == nil {
		return nil
	}
	t := Table{
		Caption: "Replicates for a next trial", Head: []string{"", "to settle", "replicate", "per level", "95 % range", "for one pair", "without covariates", "rack holds per level", "alone", "which settles"},
		Note: fmt.Sprintf("Replicates per level with which the test of all levels together has a power of %s where two levels lie that far apart and the others half way between; in the column for one pair, those with which the interval of such a pair tells it apart. The range is that of the spread, which this trial estimated. Plants are counted at harvest: begin with more where some are lost.", phrase.Given(n.Power)),
	}
	for _, need := range n.Needs {
		wanted, settles, likely := change(need.Difference, need.Ratio), change(need.SmallestDifference, need.SmallestRatio), ""
		if need.Shares != nil {
			wanted, settles = phrase.WholePercent(need.Shares[0])+" against "+phrase.WholePercent(need.Shares[1]), "odds "+settles
		}
		if ci := need.CI95; ci != nil {
			likely = fmt.Sprintf("%d to %d", ci[0], ci[1])
		}
		t.Rows = append(t.Rows, []string{
			phrase.About(need.Outcome, need.Of, need.Treatment), wanted, need.Unit, strconv.Itoa(need.Replicates()), likely,
			whole(need.EachPair), whole(need.WithoutCovariates), whole(need.RackHolds), whole(need.RackHoldsAlone), settles,
		})
	}
	return []Table{t.Spoken()}
}

// change words a difference, or a ratio in its place.
func change(difference, ratio *float64) string {
	if difference != nil || ratio == nil {
		return phrase.Optional(difference)
	}
	return "× " + phrase.Number(*ratio)
}

func whole(n *int) string {
	if n == nil {
		return ""
	}
	return strconv.Itoa(*n)
}
