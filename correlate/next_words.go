package correlate

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"

	"parstead/correlate/model"
)

// says words a need in two to four sentences: what it takes, what the rack has,
// how sure that is.
func (f *footing) says(n *Need, asked float64) string {
	says := f.takes(n, asked)
	if rack := f.rackWords(n); rack != "" {
		says += " " + rack
	}
	switch {
	case n.DF == nil || *n.DF >= fewDF:
	case n.CI95 != nil:
		says += fmt.Sprintf(" How %ss vary is known from %s only, so that anything from %d to %d may be needed.", f.unit, degrees(*n.DF), n.CI95[0], n.CI95[1])
	default:
		says += fmt.Sprintf(" How %ss vary is known from %s only, so that it may be many more.", f.unit, degrees(*n.DF))
	}
	return says
}

// degrees counts degrees of freedom.
func degrees(df float64) string {
	if df == 1 {
		return "1 degree of freedom"
	}
	return freedom(df) + " degrees of freedom"
}

// takes says how many replicates settle which difference, by which test.
func (f *footing) takes(n *Need, asked float64) string {
	between := "two levels"
	switch {
	case len(f.levels) == 2:
		between = fmt.Sprintf("%s and %s of %s", f.levels[1], f.levels[0], f.treatment)
	case f.layout.Levels > 2:
		between = fmt.Sprintf("two of %d levels", f.layout.Levels)
		if f.treatment != "" {
			between = fmt.Sprintf("two of the %d levels of %s", f.layout.Levels, f.treatment)
		}
	}
	each := fmt.Sprintf("%d %ss per level", n.Replicates(), f.unit)
	switch {
	case f.unit == model.PerPlant:
		each += " at harvest"
	case n.PlantsPerBin != nil:
		each += fmt.Sprintf(" with %.0f plants in each", *n.PlantsPerBin)
	}
	if f.layout.Blocked {
		each += ", in blocks that hold every level once"
	}
	says := fmt.Sprintf("To settle %s between %s with a power of %s takes %s", f.sizeOf(n), between, strconv.FormatFloat(asked, 'g', -1, 64), each)
	switch {
	case f.kind == YesNo && f.layout.Levels > 2:
		says += ", by the exact test of that pair among all pairs"
	case f.kind == YesNo:
		says += ", by the exact test"
	case n.EachPair != nil && *n.EachPair != n.Replicates():
		says += fmt.Sprintf(" (%d for that pair's own interval)", *n.EachPair)
	}
	return says + "."
}

// sizeOf words the difference that is asked about.
func (f *footing) sizeOf(n *Need) string {
	switch {
	case n.Shares != nil && n.Ratio == nil: // one of them is none or all
		return fmt.Sprintf("shares of %s and %s", percent(n.Shares[0]), percent(n.Shares[1]))
	case n.Shares != nil:
		return fmt.Sprintf("shares of %s and %s (an odds ratio of %s)", percent(n.Shares[0]), percent(n.Shares[1]), Number(*n.Ratio))
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
		return "a ratio of " + Number(ratio)
	}
	return "a difference of " + percent(ratio-1)
}

func (f *footing) inUnit(d float64) string {
	if f.share {
		return percent(d) + " of the mean"
	}
	return unit(Number(d), f.in)
}

// rackWords says whether the need fits the rack, and what would.
func (f *footing) rackWords(n *Need) string {
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
		return fmt.Sprintf("The rack has fewer %ss than levels.", f.unit)
	case smallest == "":
		smallest = "no test at all"
	default:
		smallest += " or more"
	}
	says := fmt.Sprintf("The rack holds %s: enough for %s", room, smallest)
	switch racks := (need + holds - 1) / holds; {
	case alone:
		says += fmt.Sprintf("; by itself it holds %d, which will do", *n.RackHoldsAlone)
	case racks <= mostTimes && f.unit != model.PerReservoir:
		says += fmt.Sprintf("; %d such racks or seasons would do", racks)
	}
	return says + "."
}

func (f *footing) smallestWords(n *Need) string {
	switch {
	case n.SmallestRatio != nil && f.kind == YesNo:
		return "an odds ratio of " + Number(*n.SmallestRatio)
	case n.SmallestRatio != nil:
		return ratioWords(*n.SmallestRatio)
	case n.SmallestDifference != nil:
		return "a difference of " + f.inUnit(*n.SmallestDifference)
	}
	return ""
}

// WriteText writes the needs for a terminal, 80 columns wide.
func (n *NextTrial) WriteText(w io.Writer) error {
	p := &printer{out: bufio.NewWriter(w)}
	for i, need := range n.Needs {
		if i > 0 {
			p.line("")
		}
		about := OutcomeResult{Name: need.Outcome, Of: need.Of}
		title := about.About(need.Treatment)
		if title == "" && len(n.Needs) > 1 {
			title = "If single plants get the treatment"
			if model.Unit(need.Unit) == model.PerBin {
				title = "If whole bins get it"
			}
		}
		if title != "" {
			p.wrapped("", "", title+":")
		}
		p.wrapped("", "", need.Says)
		if more := need.more(); more != "" {
			p.wrapped("", "", more)
		}
	}
	return p.out.Flush()
}

// About names something of an outcome: "biomass_g, species Peperomia, medium".
func (r *OutcomeResult) About(of string) string {
	var parts []string
	for _, part := range []string{r.Name, ofWords(r.Of), of} {
		if part != "" {
			parts = append(parts, part)
		}
	}
	return strings.Join(parts, ", ")
}

// more is what a size alone tells, which a finding has no room for.
func (n *Need) more() string {
	var says []string
	if n.Levels > 2 && n.Shares == nil {
		says = append(says, "The number is for the test of all levels together, the others half way between these two.")
	}
	if n.WithoutCovariates != nil {
		says = append(says, fmt.Sprintf("Without its covariates, such as start and light, the model would need %d.", *n.WithoutCovariates))
	}
	if n.CI95 != nil && *n.DF >= fewDF {
		says = append(says, fmt.Sprintf("The spread is an estimate on %s: anything from %d to %d may be needed.", degrees(*n.DF), n.CI95[0], n.CI95[1]))
	}
	if n.MonteCarloError != nil {
		says = append(says, fmt.Sprintf("Simulated: the power reached is %s ± %s (Monte Carlo error).", Number(*n.Power), Number(*n.MonteCarloError)))
	}
	return strings.Join(says, " ")
}
