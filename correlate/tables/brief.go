package tables

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/answer"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
	"parstead/correlate/ranking"
)

// WriteText writes for a terminal what was asked and what the answer is, then a few
// lines and one table for each outcome. The rest is WriteFull's.
func WriteText(w io.Writer, title string, r *analysis.Result) error {
	p := NewLines(w)
	p.answer(title, r)
	long := true // one with a table, which stands apart from what is before and behind it
	for _, o := range answer.Ordered(r) {
		has := len(told(r.Asked, o)) > 0
		p.brief(r, o, long || has)
		long = has
	}
	p.lost(r)
	return p.Flush()
}

// answer writes the question and the answer; title stands above them, "" for none.
func (p *Lines) answer(title string, r *analysis.Result) {
	if title != "" {
		p.Wrapped("", "", title)
	}
	p.Wrapped("", "", answer.Question(r.Asked))
	p.Line("")
	p.Line("THE ANSWER")
	p.Sentences(r.Answer)
	p.Wrapped("  ", "  ", answer.Note(r.Asked))
}

// Sentences writes an answer, a sentence after the other.
func (p *Lines) Sentences(list []analysis.Sentence) {
	for _, s := range list {
		p.Wrapped("  ", "    ", s.String())
	}
}

// mostLines is how many lines an outcome has at most beside its table.
const mostLines = 12

// brief writes an outcome's few lines and its means, apart from what is before it.
func (p *Lines) brief(all *analysis.Result, o *analysis.OutcomeResult, apart bool) {
	in := all.Asked
	if apart {
		p.Line("")
	}
	p.ruled(named(o.Name, o.Of), standing(in, o))
	left := mostLines
	list := answer.Brief(in, all, o)
	for i, l := range list {
		lines := broken(first(l.Kind), margin, l.Says)
		more := 0
		if i < len(list)-1 {
			more = 1 // room to say that some are left out
		}
		if len(lines)+more > left {
			p.Line(fmt.Sprintf("%sand %d more under --full.", margin, len(list)-i))
			break
		}
		left -= len(lines)
		for _, line := range lines {
			p.Line(line)
		}
	}
	if t := ranked(in, o, told(in, o)); len(t.rows) > 0 {
		p.Line("")
		p.Table(t.in(true))
	}
}

// first begins a line with its kind, and margin one that goes on.
func first(k analysis.FindingKind) string { return fmt.Sprintf("  %-*s  ", len(analysis.Caution), k) }

var margin = strings.Repeat(" ", len(first(analysis.Caution)))

// ruled writes a title with what stands at its end, and a rule between.
func (p *Lines) ruled(title, end string) {
	if room := lineWidth - width(title) - width(end) - 2; room >= 3 {
		p.Line(title + " " + strings.Repeat("─", room) + " " + end)
		return
	}
	p.Title(title)
	p.Wrapped("", "", end)
}

// named names an outcome with the plants that it is of: "leaves of Peperomia".
func named(name string, of map[string]string) string {
	for _, v := range of {
		name += " of " + v
	}
	return name
}

// standing words what an outcome was planned as, and how many plants have it.
func standing(in *analysis.Input, o *analysis.OutcomeResult) string {
	says := ""
	switch {
	case in.Table:
	case o.Primary && o.Planned:
		says = "primary, planned; "
	case o.Primary:
		says = "primary, not planned; "
	case o.Planned:
		says = "planned beside; "
	default:
		says = "not planned; "
	}
	if o.Missing > 0 {
		return fmt.Sprintf("%s%d of %d plants", says, o.N, o.N+o.Missing)
	}
	return fmt.Sprintf("%s%d plants", says, o.N)
}

// mostLevels is how many levels a treatment has in a table that is to be short.
const mostLevels = 12

// told are the treatments whose means stand in an outcome's short table: those of which
// something is told, of others its line says all there is.
func told(in *analysis.Input, o *analysis.OutcomeResult) []ranking.Ranking {
	first := answer.Told(in, o)
	return slices.DeleteFunc(ranking.All(in, o), func(r ranking.Ranking) bool {
		if o.Primary || in.Table {
			return len(r.In(ranking.Behind, ranking.Uncertain)) == 0 && !slices.ContainsFunc(first, func(f ranking.Ranking) bool { return f.Term == r.Term })
		}
		return len(r.In(ranking.Behind)) == 0
	})
}

// ranked is the means of an outcome, the levels of treatments in order and against the
// highest.
func ranked(in *analysis.Input, o *analysis.OutcomeResult, list []ranking.Ranking) table {
	shares, mean := kind.Of(o.Kind).Answers, "mean"
	against := "off the highest"
	switch {
	case shares:
		mean, against = "share", "odds off it"
	case o.Unit != "":
		mean += ", " + o.Unit
	}
	t := table{
		title:   same("means, each level against the highest"),
		columns: []cell{same("level"), same("plants"), same(mean), same("95 % interval"), same(against), same("verdict")},
	}
	for _, r := range list {
		under := underOf(in, r)
		for i := range r.Levels {
			l := &r.Levels[i]
			if i == mostLevels && len(r.Levels) > mostLevels+1 {
				t.rows = append(t.rows, row{under: same(under), cells: []cell{same(fmt.Sprintf("and %d more, under --full", len(r.Levels)-i)), {}, {}, {}, {}, {}}})
				break
			}
			mean, interval := same(phrase.Optional(l.Mean())), between(l.Group.CI95)
			if shares {
				mean, interval = same(phrase.WholePercent(*l.Mean())), same(phrase.SharesBetween(l.Group.CI95))
			}
			t.rows = append(t.rows, row{under: same(under), cells: []cell{same(phrase.Cell(in, l.Cell)), count(l.Group.N), mean, interval, same(answer.Span(o, l)), same(Verdict(l))}})
		}
	}
	return t
}

// Ranked is the means of an outcome, each level against the highest, for a page.
func Ranked(in *analysis.Input, o *analysis.OutcomeResult) []Table {
	return onPage(ranked(in, o, ranking.All(in, o)))
}

// underOf names a treatment with what got it.
func underOf(in *analysis.Input, r ranking.Ranking) string {
	t := in.Treatments[r.Term.A]
	if r.Term.B != analysis.None {
		return t.Name + " and " + in.Treatments[r.Term.B].Name + ", which depend on each other"
	}
	switch t.SetPer {
	case analysis.PerBin:
		return t.Name + ", a whole bin's"
	case analysis.PerReservoir:
		return t.Name + ", a whole reservoir's"
	case analysis.Given:
		return t.Name + ", came with the plant"
	}
	return t.Name + ", a plant's own"
}

// Verdict is how a level stands to the highest, in a word or two.
func Verdict(l *ranking.Level) string {
	switch l.Place {
	case ranking.Highest:
		return "highest"
	case ranking.NotApart:
		return "not told apart"
	case ranking.Alike:
		return "alike"
	case ranking.Behind:
		if l.Told == analysis.Lead {
			return "behind, a lead"
		}
		return "behind"
	case ranking.Uncertain:
		return "not certain"
	}
	return "can't tell"
}

// lost writes the losses over all plants in a few lines.
func (p *Lines) lost(all *analysis.Result) {
	lines := answer.LossLines(all)
	if len(lines) == 0 {
		return
	}
	p.Line("")
	p.ruled("losses", "over all plants")
	for _, l := range lines {
		p.Wrapped(first(l.Kind), margin, l.Says)
	}
}
