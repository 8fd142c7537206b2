package answer

import (
	"fmt"
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

// minds is all that spoils the answer.
func (t *teller) minds() []string {
	var list []string
	if t.in.Early {
		list = append(list, "this is an early look, before the trial ends")
	}
	if p := t.parts; len(p) > 0 && p[0].r.Primary && !p[0].r.Planned {
		list = append(list, "no plan was sealed before the plants were dealt")
	}
	if n := len(t.all.Departures); n > 0 {
		list = append(list, fmt.Sprintf("the trial departed from its plan (%s)", plural(n, "departure", "departures")))
	}
	return append(list, t.allSpoils()...)
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// allSpoils says what weakens what is told of parts, each once, with the parts it is
// true of unless it is of all.
func (t *teller) allSpoils() []string {
	var order []string
	of := map[string][]string{}
	for _, p := range t.parts {
		for _, says := range t.spoils(p) {
			if of[says] == nil {
				order = append(order, says)
			}
			of[says] = append(of[says], t.title(p.r))
		}
	}
	for i, says := range order {
		if n := len(of[says]); n < len(t.parts) && n <= 2 {
			order[i] += " (" + phrase.List(of[says]) + ")"
		}
	}
	return order
}

// spoils says what weakens what is told of a part, a clause each.
func (t *teller) spoils(p part) []string {
	var list []string
	for i := range p.rankings {
		if r := &p.rankings[i]; r.Unit != perPlant && decides(r) {
			list = append(list, fmt.Sprintf("the answer on %s hangs on light", t.treatment(r.Term)))
		}
	}
	for _, u := range p.r.Unlike {
		list = append(list, fmt.Sprintf("the levels of %s were unlike in %s and are compared as if alike", t.in.Treatments[u.Treatment].Name, t.term(p, u.In)))
	}
	for _, s := range p.r.Slopes {
		if s.Of != analysis.LightTerm() {
			list = append(list, fmt.Sprintf("what %s does differs between the levels of %s", t.term(p, s.Of), t.in.Treatments[s.Treatment].Name))
		}
	}
	for i := range p.rankings {
		if r := &p.rankings[i]; (r.Told(analysis.Claim) || r.Told(analysis.Lead)) && !borneOut(p.r, r.Term) {
			list = append(list, fmt.Sprintf("labels dealt anew do not bear out what is told of %s", t.treatment(r.Term)))
		}
	}
	if p.r.SpreadsDiffer() {
		list = append(list, "plants spread unlike between levels")
	}
	if p.r.EdgeIsLight {
		list = append(list, "edge and light can't be told apart")
	}
	for _, c := range p.r.Checks {
		if c.Check == analysis.LightOut && c.Of == "" {
			says := "light could not be taken into account"
			if l := p.r.Light; l != nil && l.Slope.Slope != nil {
				says = "plants of which the light is not known are left out"
			}
			list = append(list, says)
		}
	}
	if g := &p.r.Gaps; g.Many() {
		list = append(list, fmt.Sprintf("%d of %d plants have no %s", g.Missing, g.Plants, p.r.Name))
	}
	return list
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
