package answer

import (
	"slices"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
	"parstead/correlate/ranking"
)

// Most is how many sentences an answer has at most.
const Most = 7

// part is the result of one planned outcome, with its treatments' levels in order.
type part struct {
	r        *analysis.OutcomeResult
	out      *analysis.Outcome
	rankings []ranking.Ranking
}

// teller words the answer of a trial.
type teller struct {
	in  *analysis.Input
	all *analysis.Result

	parts    []part // of what was planned
	rest     []part
	severals bool // whether parts are of several outcomes
}

// candidate is a sentence with how much it is missed where there is no room for it.
type candidate struct {
	analysis.Sentence
	weight int
}

// The weights of sentences.
const (
	light = iota // a sentence that says little
	useful
	certain // a claim
	guiding // what spoils the rest, what to do
	leading // the best levels
)

// Of is the answer of a trial: at most seven sentences, in the order of the levels,
// losses, light, leads, what is open, what spoils it, what to do next.
func Of(in *analysis.Input, all *analysis.Result) []analysis.Sentence {
	t := newTeller(in, all)
	var list []candidate
	add := func(weight int, lead, says string) {
		if says != "" {
			list = append(list, candidate{analysis.Sentence{Lead: lead, Says: ended(says)}, weight})
		}
	}
	list = append(list, t.levels()...)
	weight, says := t.losses()
	add(weight, "Losses", says)
	weight, lead, says := t.lit()
	add(weight, lead, says)
	add(useful, "Leads, to be tried again", t.leads())
	add(useful, "Open", t.open())
	add(guiding, "Mind", t.mind())
	add(guiding, "Next", t.next())
	if len(list) == 0 {
		add(guiding, "Open", "nothing was asked of a treatment or of light, or nothing could be computed; what was found stands below")
	}
	return fitted(list)
}

// fitted leaves out what is missed least until the rest is few enough.
func fitted(list []candidate) []analysis.Sentence {
	for len(list) > Most {
		least := len(list) - 1
		for i := range slices.Backward(list) {
			if list[i].weight < list[least].weight {
				least = i
			}
		}
		list = slices.Delete(list, least, least+1)
	}
	sentences := make([]analysis.Sentence, len(list))
	for i, c := range list {
		sentences[i] = c.Sentence
	}
	return sentences
}

func newTeller(in *analysis.Input, all *analysis.Result) *teller {
	t := &teller{in: in, all: all}
	for i := range all.Outcomes {
		r := &all.Outcomes[i]
		p := part{r, outcomeOf(in, r), ranking.All(in, r)}
		if r.Primary || in.Table {
			t.parts = append(t.parts, p)
		} else {
			t.rest = append(t.rest, p)
		}
	}
	if len(t.parts) == 0 { // no outcome is primary: all are looked at
		t.parts, t.rest = t.rest, nil
	}
	for _, p := range t.parts {
		t.severals = t.severals || p.r.Name != t.parts[0].r.Name
	}
	return t
}

func outcomeOf(in *analysis.Input, r *analysis.OutcomeResult) *analysis.Outcome {
	return &in.Outcomes[slices.IndexFunc(in.Outcomes, func(o analysis.Outcome) bool { return o.Name == r.Name })]
}

// of names whose plants a result is of: "Streptocarpus"; "" where it is of all.
func of(r *analysis.OutcomeResult) string {
	var names []string
	for _, v := range r.Of {
		names = append(names, v)
	}
	return strings.Join(names, ", ")
}

// title names a result where several outcomes or values of analyse_by stand side by side.
func (t *teller) title(r *analysis.OutcomeResult) string {
	name := of(r)
	switch {
	case name == "":
		return r.Name
	case t.severals:
		return r.Name + " of " + name
	}
	return name
}

// treatment names a term's treatments.
func (t *teller) treatment(term analysis.Term) string {
	name := t.in.Treatments[term.A].Name
	if term.B == analysis.None {
		return name
	}
	return name + " with " + t.in.Treatments[term.B].Name
}

// cell names a level, or the levels of a cell.
func (t *teller) cell(l *ranking.Level) string { return phrase.Cell(t.in, l.Cell) }

// perPlant is the unit of what single plants got.
const perPlant = string(model.PerPlant)

// ended ends a sentence.
func ended(says string) string { return strings.TrimSuffix(says, ".") + "." }

// Told are the treatments that the answer tells of a result: those of which something
// may be claimed, else the first that was compared.
func Told(in *analysis.Input, r *analysis.OutcomeResult) []ranking.Ranking {
	p := part{r, outcomeOf(in, r), ranking.All(in, r)}
	var list []ranking.Ranking
	for _, one := range p.rankings {
		if one.Told(analysis.Claim) {
			list = append(list, one)
		}
	}
	if first := p.first(); len(list) == 0 && first != nil {
		list = append(list, *first)
	}
	return list
}
