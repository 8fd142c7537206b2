package referee

import (
	"fmt"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/model"
)

// Methods is the paragraph on methods: only what was done of the trial stands in it.
func Methods(in *analysis.Input, all *analysis.Result) string {
	t := &teller{in: in, all: all}
	t.measures()
	t.counts()
	t.answers()
	t.light()
	t.redealt()
	t.families()
	return strings.Join(t.says, " ")
}

type teller struct {
	in   *analysis.Input
	all  *analysis.Result
	says []string
}

func (t *teller) say(format string, args ...any) {
	t.says = append(t.says, fmt.Sprintf(format, args...))
}

// any tells whether a computed outcome is so.
func (t *teller) any(is func(o *analysis.OutcomeResult) bool) bool {
	for i := range t.all.Outcomes {
		if o := &t.all.Outcomes[i]; o.Model != "" && is(o) {
			return true
		}
	}
	return false
}

func ofModel(name string) func(*analysis.OutcomeResult) bool {
	return func(o *analysis.OutcomeResult) bool { return o.Model == name }
}

// whole tells whether an outcome has an effect of whole units.
func whole(o *analysis.OutcomeResult) bool {
	for _, e := range o.Effects {
		if e.Unit != string(model.PerPlant) && e.Unit != "" {
			return true
		}
	}
	return false
}

func (t *teller) measures() {
	measure := ofModel("least squares")
	if !t.any(measure) {
		return
	}
	text := "Measures were fitted by least squares"
	if t.in.Bin != nil {
		text += " with bins as fixed effects"
	}
	t.say("%s; effects were tested by F, each beside all that do not contain it, and levels compared at their adjusted means by Tukey and Kramer's test, whose intervals hold for all pairs of a treatment at once.", text)
	if t.any(func(o *analysis.OutcomeResult) bool { return measure(o) && whole(o) }) {
		t.say("Treatments of whole bins were judged by the bins' adjusted means, bins being the replicates; where covariates or light adjust these, intervals have two parts, of the bins' scatter and of the slopes' error (Banerjee).")
	}
	if t.any(func(o *analysis.OutcomeResult) bool { return measure(o) && o.SpreadsDiffer() }) {
		t.say("Where plants spread unlike (Brown and Forsythe's test, p under 0.01), pairs and slopes rest on each treatment's own spread (Games and Howell, with Satterthwaite's degrees of freedom); errors by HC3 stand beside.")
	}
	if t.any(func(o *analysis.OutcomeResult) bool { return measure(o) && len(o.Variance) > 1 }) {
		t.say("How far bins differ by themselves is the mean square among their adjusted means less the plants' share in it (moments), with Williams' interval.")
	}
}

func (t *teller) counts() {
	if !t.any(ofModel("quasi-likelihood")) {
		return
	}
	t.say("Counts were fitted by quasi-likelihood with a log link, the dispersion estimated from Pearson's chi-squared, and tested by F; pairs of plants are told by the wider of two intervals, of this dispersion and of each treatment's own; a level without any event was compared by the exact chance that all plants with events stand elsewhere.")
}

func (t *teller) answers() {
	if !t.any(func(o *analysis.OutcomeResult) bool { return kind.Of(o.Kind).Answers }) {
		return
	}
	t.say("Yes/no answers were compared by exact tests of their tables, pairs by Bonferroni.")
	if t.any(ofModel("penalised logistic")) {
		how := "by logistic regression with Firth's penalty"
		if t.in.Bin != nil {
			how = "by conditional likelihood given each bin's number of yes, with Firth's penalty"
		}
		t.say("Beside covariates, light or a second treatment they were fitted %s; p and intervals are those of the penalised profile, or of all deals within bins where one slope is asked for.", how)
	}
}

func (t *teller) light() {
	lit := t.any(func(o *analysis.OutcomeResult) bool { return o.Light != nil })
	if lit {
		within := ""
		if t.in.Bin != nil {
			within = " within bins"
		}
		t.say("Light is a covariate; its slope is taken%s.", within)
	}
	if lit && t.any(func(o *analysis.OutcomeResult) bool { return o.Position.Alike() }) {
		t.say("Where neighbours were alike in what the model leaves (Moran's I by permutation, p under 0.05), the slope's error is that by which bins differ in it (Bell and McCaffrey).")
	}
	for _, tr := range t.in.Treatments {
		if tr.SetsLight && lit {
			t.say("%s acts through light and was judged in the same model without light.", tr.Name)
		}
	}
}

func (t *teller) redealt() {
	if t.any(func(o *analysis.OutcomeResult) bool {
		for _, e := range o.Effects {
			if e.PRedealt != nil {
				return true
			}
		}
		return false
	}) {
		how := "by the procedure that dealt them"
		if t.in.Table {
			how = "freely within bins"
		}
		t.say("Beside each test stands one by dealing labels anew %s, outcomes and places left as they are.", how)
	}
}

func (t *teller) families() {
	q := t.all.Questions
	if q.Planned > 0 {
		t.say("Claims are held at 5 %% over %s that were planned, by Holm's rule.", number(q.Planned, "question"))
	}
	if q.Others > 0 {
		t.say("Leads are held at a false discovery rate of 5 %% over %s besides (Benjamini and Hochberg); slopes of covariates are a family of their own.", number(q.Others, "test"))
	}
}

func number(n int, of string) string {
	if n == 1 {
		return "the one " + of
	}
	return fmt.Sprintf("the %d %ss", n, of)
}
