package report

import (
	"fmt"
	"strconv"

	"parstead/correlate"
	"parstead/correlate/phrase"
)

// nextTable is what a next trial needs; nil where that is not known.
func nextTable(n *correlate.NextTrial) *table {
	if n == nil {
		return nil
	}
	t := table{
		Caption: "Replicates for a next trial", Head: []string{"", "to settle", "replicate", "per level", "95 % range", "for one pair", "without covariates", "rack holds per level", "alone", "which settles"},
		Note: fmt.Sprintf("Replicates per level with which the test of all levels together has a power of %s where two levels lie that far apart and the others half way between; in the column for one pair, those with which the interval of such a pair tells it apart. The range is that of the spread, which this trial estimated. Plants are counted at harvest: begin with more where some are lost.", short(n.Power)),
	}
	for _, need := range n.Needs {
		wanted, settles := change(need.Difference, need.Ratio), change(need.SmallestDifference, need.SmallestRatio)
		if need.Shares != nil {
			wanted, settles = percent(need.Shares[0])+" against "+percent(need.Shares[1]), "odds "+settles
		}
		row := []string{phrase.About(need.Outcome, need.Of, need.Treatment), wanted, need.Unit, strconv.Itoa(need.Replicates()), "", whole(need.EachPair), whole(need.WithoutCovariates), whole(need.RackHolds), whole(need.RackHoldsAlone), settles}
		if ci := need.CI95; ci != nil {
			row[4] = fmt.Sprintf("%d to %d", ci[0], ci[1])
		}
		t.Rows = append(t.Rows, row)
	}
	t = t.without()
	return &t
}

// change words a difference, or a ratio in its place.
func change(difference, ratio *float64) string {
	if difference != nil {
		return number(*difference)
	}
	if ratio == nil {
		return ""
	}
	return "× " + number(*ratio)
}

func whole(n *int) string {
	if n == nil {
		return ""
	}
	return strconv.Itoa(*n)
}
