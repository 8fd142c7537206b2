package next

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
	"parstead/correlate/tables"
)

// says words a need in two to four sentences: what it takes, what the rack has,
// how sure that is.
func (f *sizing) says(n *analysis.Need, asked float64) string {
	says := f.takes(n, asked)
	if rack := f.rackWords(n); rack != "" {
		says += " " + rack
	}
	switch {
	case n.DF == nil || *n.DF >= analysis.FewDF:
	case *n.DF <= analysis.HardlyDF:
		says += fmt.Sprintf(" These were too few %ss to tell how far %ss vary: it may be many more.", f.Unit, f.Unit)
	case n.CI95 != nil:
		says += fmt.Sprintf(" How %ss vary is known from %s only, so that anything from %d to %d may be needed.", f.Unit, degrees(*n.DF), n.CI95[0], n.CI95[1])
	default:
		says += fmt.Sprintf(" How %ss vary is known from %s only, so that it may be many more.", f.Unit, degrees(*n.DF))
	}
	return says
}

// degrees counts degrees of freedom.
func degrees(df float64) string {
	if df == 1 {
		return "1 degree of freedom"
	}
	return phrase.Freedom(df) + " degrees of freedom"
}

// takes says how many replicates settle which difference, by which test.
func (f *sizing) takes(n *analysis.Need, asked float64) string {
	between := "two levels"
	switch {
	case len(f.Levels) == 2:
		between = fmt.Sprintf("%s and %s of %s", f.Levels[1], f.Levels[0], f.Treatment)
	case f.Layout.Levels > 2:
		between = fmt.Sprintf("two of %d levels", f.Layout.Levels)
		if f.Treatment != "" {
			between = fmt.Sprintf("two of the %d levels of %s", f.Layout.Levels, f.Treatment)
		}
	}
	each := fmt.Sprintf("%d %ss per level", n.Replicates(), f.Unit)
	switch {
	case f.Unit == model.PerPlant:
		each += " at harvest"
	case n.PlantsPerBin != nil:
		each += fmt.Sprintf(" with %.0f plants in each", *n.PlantsPerBin)
	}
	if f.Layout.Blocked {
		each += ", in blocks that hold every level once"
	}
	says := fmt.Sprintf("To settle %s between %s with a power of %s takes %s", f.sizeOf(n), between, strconv.FormatFloat(asked, 'g', -1, 64), each)
	switch {
	case n.Shares != nil && f.Layout.Levels > 2:
		says += ", by the exact test of that pair among all pairs"
	case n.Shares != nil:
		says += ", by the exact test"
	case n.EachPair != nil && *n.EachPair != n.Replicates():
		says += fmt.Sprintf(" (%d for that pair's own interval)", *n.EachPair)
	}
	return says + "."
}

// sizeOf words the difference that is asked about.
func (f *sizing) sizeOf(n *analysis.Need) string {
	switch {
	case n.Shares != nil && n.Ratio == nil: // one of them is none or all
		return fmt.Sprintf("shares of %s and %s", phrase.Percent(n.Shares[0]), phrase.Percent(n.Shares[1]))
	case n.Shares != nil:
		return fmt.Sprintf("shares of %s and %s (an odds ratio of %s)", phrase.Percent(n.Shares[0]), phrase.Percent(n.Shares[1]), phrase.Number(*n.Ratio))
	case n.Ratio != nil:
		return ratioWords(*n.Ratio)
	case n.Difference != nil:
		return "a difference of " + f.inUnit(*n.Difference)
	}
	return "such a difference"
}

// ratioWords words a ratio as a change in per cent, from a doubling on as it is.
func ratioWords(ratio float64) string {
	if ratio >= 2 {
		return "a ratio of " + phrase.Number(ratio)
	}
	return "a difference of " + phrase.Percent(ratio-1)
}

func (f *sizing) inUnit(d float64) string {
	if f.Share {
		return phrase.Percent(d) + " of the mean"
	}
	return phrase.Unit(phrase.Number(d), f.OutcomeUnit)
}

// rackWords says whether the need fits the rack, and what would.
func (f *sizing) rackWords(n *analysis.Need) string {
	if n.RackHolds == nil {
		return ""
	}
	need, holds := n.Replicates(), *n.RackHolds
	room, alone := fmt.Sprintf("%d per level", holds), false
	if n.RackHoldsAlone != nil {
		room += " beside what else stood there"
		if alone = holds < need && need <= *n.RackHoldsAlone; !alone {
			room += fmt.Sprintf(" (%d by itself)", *n.RackHoldsAlone)
		}
	}
	smallest := f.smallestWords(n)
	switch {
	case need <= holds && smallest == "":
		return fmt.Sprintf("That fits: the rack holds %s.", room)
	case need <= holds:
		return fmt.Sprintf("That fits: the rack holds %s; filled, it would settle %s.", room, smallest)
	case holds == 0:
		return fmt.Sprintf("The rack has fewer %ss than levels.", f.Unit)
	case smallest == "":
		smallest = "no test at all"
	default:
		smallest += " or more"
	}
	says := fmt.Sprintf("The rack holds %s: enough for %s", room, smallest)
	switch racks := (need + holds - 1) / holds; {
	case alone:
		says += fmt.Sprintf("; by itself it holds %d, which will do", *n.RackHoldsAlone)
	case racks <= analysis.MostTimes && f.Unit != model.PerReservoir:
		says += fmt.Sprintf("; %d such racks or seasons would do", racks)
	}
	return says + "."
}

func (f *sizing) smallestWords(n *analysis.Need) string {
	switch {
	case n.SmallestRatio != nil && n.Shares != nil:
		return "an odds ratio of " + phrase.Number(*n.SmallestRatio)
	case n.SmallestRatio != nil:
		return ratioWords(*n.SmallestRatio)
	case n.SmallestDifference != nil:
		return "a difference of " + f.inUnit(*n.SmallestDifference)
	}
	return ""
}

// WriteText writes the needs for a terminal, 80 columns wide.
func WriteText(w io.Writer, n *analysis.NextTrial) error {
	p := tables.NewLines(w)
	for i, need := range n.Needs {
		if i > 0 {
			p.Line("")
		}
		title := phrase.About(need.Outcome, need.Of, need.Treatment)
		if title == "" && len(n.Needs) > 1 {
			title = "If single plants get the treatment"
			if model.Unit(need.Unit) == model.PerBin {
				title = "If whole bins get it"
			}
		}
		if title != "" {
			p.Wrapped("", "", title+":")
		}
		p.Wrapped("", "", need.Says)
		if more := more(&need); more != "" {
			p.Wrapped("", "", more)
		}
	}
	return p.Flush()
}

// more is what a size alone tells, which a finding has no room for.
func more(n *analysis.Need) string {
	var says []string
	if n.Levels > 2 && n.Shares == nil {
		says = append(says, "The number is for the test of all levels together, the others half way between these two.")
	}
	if n.WithoutCovariates != nil {
		says = append(says, fmt.Sprintf("Without its covariates, such as start and light, the model would need %d.", *n.WithoutCovariates))
	}
	if n.CI95 != nil && *n.DF >= analysis.FewDF {
		says = append(says, fmt.Sprintf("The spread is an estimate on %s: anything from %d to %d may be needed.", degrees(*n.DF), n.CI95[0], n.CI95[1]))
	}
	if n.MonteCarloError != nil {
		says = append(says, fmt.Sprintf("Simulated: the power reached is %s ± %s (Monte Carlo error).", phrase.Number(*n.Power), phrase.Number(*n.MonteCarloError)))
	}
	return strings.Join(says, " ")
}
