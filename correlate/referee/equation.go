package referee

import (
	"fmt"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/model"
)

// Equation is what was fitted to an outcome: "ln mass_g = bin + medium + b₁ light +
// plant; bin = level + bin's own". A name of a factor stands for the effect of its
// level. It is "" where nothing was.
func Equation(in *analysis.Input, r *analysis.OutcomeResult) string {
	if r.Model == "" {
		return ""
	}
	e := equation{in: in, r: r}
	switch {
	case r.Model == "exact table":
		return e.exact()
	case kind.Of(r.Kind).Answers:
		return e.answers()
	case kind.Of(r.Kind).Counted:
		return e.counts()
	}
	name := r.Name
	if r.Scale == analysis.Log {
		name = "ln " + name
	}
	return fmt.Sprintf("%s = %s + plant", name, strings.Join(e.of("plant"), " + ")) + e.units()
}

type equation struct {
	in     *analysis.Input
	r      *analysis.OutcomeResult
	slopes int
}

// of lists the terms of the model of a unit.
func (e *equation) of(unit string) []string {
	list := []string{"constant"}
	for _, x := range e.r.Effects {
		if x.Unit != unit {
			continue
		}
		switch x.Term.Kind {
		case model.KindCovariate, model.KindLight:
			e.slopes++
			list = append(list, fmt.Sprintf("b%s %s", subscript(e.slopes), e.number(x)))
		case model.KindIntercept:
		default:
			list = append(list, x.Effect)
		}
	}
	return list
}

// number is a covariate as it enters: a start as its logarithm where the outcome does.
func (e *equation) number(x analysis.Effect) string {
	if e.r.Scale == analysis.Log && x.Term.Kind == model.KindCovariate && x.Term.A == len(e.in.Covariates) {
		return "ln " + x.Effect
	}
	return x.Effect
}

// units are the equations of whole bins and reservoirs.
func (e *equation) units() (text string) {
	for _, unit := range []string{"bin", "reservoir"} {
		if terms := e.of(unit); len(terms) > 1 {
			text += fmt.Sprintf("; %s = %s + what each %s differs by", unit, strings.Join(terms, " + "), unit)
		}
	}
	return text
}

func (e *equation) counts() string {
	terms := e.of("plant")
	for _, o := range e.in.Outcomes {
		if o.Name == e.r.Name && o.Exposure != nil {
			terms = append(terms, "ln "+o.Exposure.Name)
		}
	}
	return fmt.Sprintf("ln of mean %s = %s, variance φ times the mean%s", e.r.Name, strings.Join(terms, " + "), e.units())
}

func (e *equation) answers() string {
	text := fmt.Sprintf("log odds of %s = %s", e.r.Name, strings.Join(e.of("plant"), " + "))
	if e.in.Bin != nil {
		text += ", given how many of each bin are yes"
	}
	return text
}

func (e *equation) exact() string {
	var list []string
	for _, x := range e.r.Effects {
		list = append(list, x.Effect)
	}
	return fmt.Sprintf("%s by %s, one at a time", e.r.Name, strings.Join(list, ", "))
}

// subscript writes a small whole number below the line.
func subscript(n int) string {
	var b strings.Builder
	for _, digit := range fmt.Sprint(n) {
		b.WriteRune(digit - '0' + '₀')
	}
	return b.String()
}
