package kind

import "parstead/correlate/analysis"

// Contrast is how two levels of an outcome are compared.
type Contrast string

// The contrasts, by the words for them.
const (
	Difference Contrast = "difference"
	Ratio      Contrast = "ratio"
	OddsRatio  Contrast = "odds ratio"
)

// Compared is how two levels of an outcome are compared.
func Compared(k analysis.Kind, scale analysis.Scale) Contrast { return Of(k).Contrast(scale) }

// None is the contrast of two levels that do not differ.
func (c Contrast) None() float64 {
	if c == Difference {
		return 0
	}
	return 1
}

// Analysed names what a coefficient or a slope is one of; "" where it is one of
// the outcome itself.
func (c Contrast) Analysed() string {
	switch c {
	case Ratio:
		return "natural logarithm"
	case OddsRatio:
		return "log odds"
	}
	return ""
}

// Axis labels an axis of contrasts of the outcome, in the unit if it has one.
func (c Contrast) Axis(outcome, unit string) string {
	switch c {
	case Ratio:
		return "ratio of " + outcome + ", first over second; 1 is no difference"
	case OddsRatio:
		return "odds ratio of " + outcome + ", first against second; 1 is no difference"
	}
	words := "difference in " + outcome + ", first less second"
	if unit != "" {
		words += ", " + unit
	}
	return words
}
