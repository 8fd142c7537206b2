package answer

import (
	"fmt"
	"slices"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/phrase"
	"parstead/correlate/ranking"
)

// mostMind is how many things that spoil the answer it names.
const mostMind = 3

// mind says what spoils the answer most.
func (t *teller) mind() string {
	list := t.minds()
	if len(list) > mostMind {
		list = append(list[:mostMind:mostMind], fmt.Sprintf("and %s more, below", phrase.Few(len(list)-mostMind)))
	}
	return strings.Join(list, "; ")
}

// caution is one thing that weakens what is told: a value, worded where it is printed.
type caution struct {
	what      weakness
	treatment int           // whose levels it is about
	term      analysis.Term // a treatment, or two
	column    string        // an outcome, or what levels are unlike in
	n, of     int           // plants, or departures
}

// weakness is what a caution is about.
type weakness int

// The weaknesses, the whole trial's first.
const (
	early weakness = iota
	unplanned
	departed
	hangsOnLight
	unlikeLevels
	slopesDiffer
	notBorneOut
	spreadsDiffer
	edgeIsLight
	lightNotUsed
	lightNotKnown
	manyMissing
)

// said is a caution with the parts that it is true of, none for all alike.
type said struct {
	caution
	of []part
}

// minds words all that spoils the answer.
func (t *teller) minds() []string {
	var list []string
	for _, s := range t.cautions() {
		words := t.cautionWords(s.caution)
		if len(s.of) > 0 {
			var titles []string
			for _, p := range s.of {
				titles = append(titles, t.title(p.r))
			}
			words += " (" + phrase.List(titles) + ")"
		}
		list = append(list, words)
	}
	return list
}

// cautions are all that spoils the answer, each once. What is true of many parts but
// not of all names none.
func (t *teller) cautions() []said {
	var list []said
	if t.in.Early {
		list = append(list, said{caution: caution{what: early}})
	}
	if p := t.parts; len(p) > 0 && p[0].r.Primary && !p[0].r.Planned {
		list = append(list, said{caution: caution{what: unplanned}})
	}
	if n := len(t.all.Departures); n > 0 {
		list = append(list, said{caution: caution{what: departed, n: n}})
	}
	from := len(list)
	for _, p := range t.parts {
		for _, c := range t.spoils(p) {
			i := slices.IndexFunc(list[from:], func(s said) bool { return s.caution == c })
			if i < 0 {
				i, list = len(list)-from, append(list, said{caution: c})
			}
			list[from+i].of = append(list[from+i].of, p)
		}
	}
	for i := from; i < len(list); i++ {
		if n := len(list[i].of); n == len(t.parts) || n > 2 {
			list[i].of = nil
		}
	}
	return list
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// spoils are what weakens what is told of a part.
func (t *teller) spoils(p part) []caution {
	var list []caution
	for i := range p.rankings {
		if r := &p.rankings[i]; r.Unit != perPlant && decides(r) {
			list = append(list, caution{what: hangsOnLight, term: r.Term})
		}
	}
	for _, u := range p.r.Unlike {
		list = append(list, caution{what: unlikeLevels, treatment: u.Treatment, column: t.term(p, u.In)})
	}
	for _, s := range p.r.Slopes {
		if s.Of != analysis.LightTerm() {
			list = append(list, caution{what: slopesDiffer, treatment: s.Treatment, column: t.term(p, s.Of)})
		}
	}
	for i := range p.rankings {
		if r := &p.rankings[i]; (r.Told(analysis.Claim) || r.Told(analysis.Lead)) && !borneOut(p.r, r.Term) {
			list = append(list, caution{what: notBorneOut, term: r.Term})
		}
	}
	if p.r.SpreadsDiffer() {
		list = append(list, caution{what: spreadsDiffer})
	}
	if p.r.EdgeIsLight {
		list = append(list, caution{what: edgeIsLight})
	}
	for _, c := range p.r.Checks {
		if c.Check == analysis.LightOut && c.Of == "" {
			what := lightNotUsed
			if l := p.r.Light; l != nil && l.Slope.Slope != nil {
				what = lightNotKnown
			}
			list = append(list, caution{what: what})
		}
	}
	if g := &p.r.Gaps; g.Many() {
		list = append(list, caution{what: manyMissing, n: g.Missing, of: g.Plants, column: p.r.Name})
	}
	return list
}

// cautionWords is a caution as it is printed.
func (t *teller) cautionWords(c caution) string {
	switch c.what {
	case early:
		return "this is an early look, before the trial ends"
	case unplanned:
		return "no plan was sealed before the plants were dealt"
	case departed:
		return fmt.Sprintf("the trial departed from its plan (%s)", plural(c.n, "departure", "departures"))
	case hangsOnLight:
		return fmt.Sprintf("the answer on %s hangs on light", t.treatment(c.term))
	case unlikeLevels:
		return fmt.Sprintf("the levels of %s were unlike in %s and are compared as if alike", t.in.Treatments[c.treatment].Name, c.column)
	case slopesDiffer:
		return fmt.Sprintf("what %s does differs between the levels of %s", c.column, t.in.Treatments[c.treatment].Name)
	case notBorneOut:
		return fmt.Sprintf("labels dealt anew do not bear out what is told of %s", t.treatment(c.term))
	case spreadsDiffer:
		return "plants spread unlike between levels"
	case edgeIsLight:
		return "edge and light can't be told apart"
	case lightNotUsed:
		return "light could not be taken into account"
	case lightNotKnown:
		return "plants of which the light is not known are left out"
	}
	return fmt.Sprintf("%d of %d plants have no %s", c.n, c.of, c.column)
}

// decides tells whether a verdict among whole units is another one without light.
func decides(r *ranking.Ranking) bool {
	for _, c := range r.Pairs {
		if c.LightDecides() {
			return true
		}
	}
	return false
}

// term names a covariate or light.
func (t *teller) term(p part, of analysis.Term) string {
	switch {
	case of == analysis.LightTerm():
		return "light"
	case of.A < len(t.in.Covariates):
		return t.in.Covariates[of.A].Name
	case p.out.Start != nil:
		return p.out.Start.Name
	}
	return "a covariate"
}
