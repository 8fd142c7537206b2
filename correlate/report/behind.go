package report

import (
	"fmt"
	"slices"
	"strings"

	"parstead/correlate"
	"parstead/correlate/answer"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
	"parstead/correlate/ranking"
)

// behind draws, for each planned outcome, the levels in order of their means: each
// level's difference from the best, with the interval that holds for all pairs at once,
// so that picture and verdict can't disagree.
func (r *Report) behind(names fileNames) []picture {
	var pictures []picture
	done := map[string]bool{}
	for _, o := range answer.Ordered(r.Result) {
		if !done[o.Name] && (o.Primary || r.Input.Table) {
			done[o.Name] = true
			pictures = append(pictures, r.behindIn(names, o.Name)...)
		}
	}
	return pictures
}

// places are the headings of levels in their order.
var places = []struct {
	heading string
	places  []ranking.Place
}{
	{"best, not told apart", []ranking.Place{ranking.Highest, ranking.NotApart, ranking.Alike}},
	{"behind", []ranking.Place{ranking.Behind}},
	{"behind, but not certain", []ranking.Place{ranking.Uncertain}},
	{"can't tell", []ranking.Place{ranking.Unknown}},
}

// behindIn draws the levels of one outcome, of every value of analyse_by.
func (r *Report) behindIn(names fileNames, name string) []picture {
	var list []estimate
	var entries []entry
	var of *outcome
	for i := range r.Result.Outcomes {
		o := r.outcome(i)
		if o.Name != name {
			continue
		}
		for _, one := range answer.Told(r.Input, o.OutcomeResult) {
			of = o
			best := one.Highest()
			plant, less, turned := answer.Without(o.OutcomeResult, &one)
			for _, part := range places {
				for k, l := range one.In(part.places...) {
					if k == 0 {
						heading := r.Input.Treatments[one.Term.A].Name + ": " + part.heading
						for _, value := range o.Of {
							heading = value + ", " + heading // there is one
						}
						entries = append(entries, entry{heading: true, label: heading})
					}
					q := estimate{Comparison: correlate.Comparison{Treatment: r.Input.Treatments[one.Term.A].Name, A: phrase.Cell(r.Input, l.Cell), B: phrase.Cell(r.Input, best.Cell), Unit: one.Unit, CI95: l.CI95}, value: l.Value}
					if l == best {
						none := one.Contrast.None()
						q.value, q.Verdict = &none, "best"
					} else {
						q.Verdict = part.heading
					}
					words := o.meanWords(l)
					if k := moved(&less, l); turned && k >= 0 {
						q.other = against(one.Contrast, *less.Levels[k].Mean(), *best.Mean())
						words = fmt.Sprintf("%s; %s without %s", words, o.meanWords(&less.Levels[k]), plant)
					}
					entries = append(entries, entry{label: q.A, words: words, of: len(list)})
					list = append(list, q)
				}
			}
		}
	}
	if of == nil {
		return nil
	}
	ratio := of.contrast() != kind.Difference
	words := "difference from the best, " + phrase.Unit(of.Name, of.Unit)
	if ratio {
		words = "times the best; 1 is as good"
	}
	d := pairPicture{estimates{title: name + ": how far behind the best", words: words, list: list, ratio: ratio}, of}
	d.band = d.indifferent()
	d.axis = axisOver(ratio, worthShowing(list, d.none(), ratio)...)
	pages := pagesOf(entries)
	var pictures []picture
	for i, page := range pages {
		d.rows, d.sub = layLarge(page, firstSize), "a line that crosses the best is not told apart from it; at the right the means"
		pictures = append(pictures, picture{
			file: names.of(name, "best"), title: d.title + pageOf(i, len(pages)), of: firstOfAll,
			caption: d.bestCaption(), alt: d.bestAlt(), table: d.table(false), draw: d.draw,
		})
	}
	return pictures
}

// firstSize is how much larger the texts of the first picture are, which stands beside
// the answer in half the page's width.
const firstSize = 1.4

// moved is where a level that has a plant less stands in the ranking without that plant;
// −1 where it has not.
func moved(less *ranking.Ranking, l *ranking.Level) int {
	return slices.IndexFunc(less.Levels, func(x ranking.Level) bool {
		return x.Cell.Apart(l.Cell) == 0 && x.Group.N < l.Group.N && x.Mean() != nil
	})
}

// against sets a mean against another one.
func against(how kind.Contrast, a, b float64) *float64 {
	d := a - b
	if how != kind.Difference {
		d = a / b
	}
	return &d
}

// meanWords is a level's mean as a picture has it.
func (o *outcome) meanWords(l *ranking.Level) string {
	if o.answers() {
		return phrase.WholePercent(*l.Mean())
	}
	return phrase.Unit(number(*l.Mean()), o.Unit)
}

func (d pairPicture) bestCaption() string {
	says := "Point: a level's mean against the best one's, for plants alike in all else that was taken into account; best is the highest " + d.o.Name + ". Line: the 95 % interval of that difference, all pairs held at once: one that crosses the dashed line is not told apart from the best."
	if d.cut() {
		says += " Where an interval ends in an arrow, it goes on."
	}
	if d.band != nil {
		says += " Shaded: differences that were said not to matter."
	}
	if slices.ContainsFunc(d.list, func(q estimate) bool { return q.other != nil }) {
		says += " Open mark: the same without a plant that lies far off; then another level is the best."
	}
	return says
}

func (d pairPicture) bestAlt() string {
	var parts []string
	for _, e := range d.rows.entries {
		q := d.list[e.of]
		switch {
		case e.heading:
			parts = append(parts, phrase.Capital(e.label)+":")
		case q.closed() == nil:
			parts = append(parts, fmt.Sprintf("%s %s;", e.label, e.words))
		default:
			parts = append(parts, fmt.Sprintf("%s %s, %s (%s) of %s;", e.label, e.words, number(*q.value), phrase.Between(q.closed()), q.B))
		}
	}
	return "Levels in order of their means, each against the best. " + strings.Join(parts, " ")
}

// standsOut tells whether anything of an outcome is a claim or a lead, so that its
// pictures stand in the main part.
func standsOut(in *correlate.Input, o *outcome) bool {
	if o.Primary {
		return len(ranking.All(in, o.OutcomeResult)) > 0
	}
	return slices.ContainsFunc(o.Findings, func(f correlate.Finding) bool {
		return f.Kind == correlate.Lead && f.Topic.Subject != 0
	})
}
