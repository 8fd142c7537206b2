package answer

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/phrase"
)

// lossesOf are the losses over all plants by the levels of one treatment.
type lossesOf struct {
	treatment string
	told      bool // as a claim
	p         *float64
	levels    []analysis.Losses // that lost most first
}

func (l *lossesOf) sum() (lost, of int) {
	for _, x := range l.levels {
		lost, of = lost+x.Lost, of+x.N-x.Accident
	}
	return lost, of
}

// lossesBy parts the losses by treatment, over the plants that have something to be
// compared with: of values of analyse_by that had one level only, nothing can be said.
func lossesBy(all *analysis.Result) []lossesOf {
	var list []lossesOf
	for _, l := range all.Lost {
		if l.Of != nil {
			continue
		}
		if n := len(list); n == 0 || list[n-1].treatment != l.Treatment {
			list = append(list, lossesOf{treatment: l.Treatment, p: l.P})
		}
		last := &list[len(list)-1]
		last.told = last.told || l.Standing.Told == analysis.Claim
		if l = compared(all, l); l.N > 0 {
			last.levels = append(last.levels, l)
		}
	}
	list = slices.DeleteFunc(list, func(l lossesOf) bool { return len(l.levels) < 2 })
	for i := range list {
		slices.SortStableFunc(list[i].levels, func(a, b analysis.Losses) int { return cmp.Compare(share(b), share(a)) })
	}
	return list
}

// compared is a level's losses without those of values of analyse_by in which the
// treatment had that level only.
func compared(all *analysis.Result, l analysis.Losses) analysis.Losses {
	l.Causes = maps.Clone(l.Causes)
	for _, own := range all.Lost {
		alone := own.Of != nil && own.Cell == l.Cell && !slices.ContainsFunc(all.Lost, func(x analysis.Losses) bool {
			return maps.Equal(x.Of, own.Of) && x.Treatment == own.Treatment && x.Level != own.Level
		})
		if !alone {
			continue
		}
		l.N, l.Lost, l.Accident = l.N-own.N, l.Lost-own.Lost, l.Accident-own.Accident
		for cause, n := range own.Causes {
			l.Causes[cause] -= n
		}
	}
	maps.DeleteFunc(l.Causes, func(_ string, n int) bool { return n == 0 })
	return l
}

func share(l analysis.Losses) float64 {
	if l.N == l.Accident {
		return 0
	}
	return float64(l.Lost) / float64(l.N-l.Accident)
}

// losses says on what plants were lost.
func (t *teller) losses() (weight int, says string) {
	list := lossesBy(t.all)
	if len(list) == 0 {
		return light, ""
	}
	var claims, unsure []string
	for _, l := range list {
		switch {
		case l.told:
			claims = append(claims, l.words())
		case l.p != nil && *l.p < 0.05:
			unsure = append(unsure, l.words()+", which is not certain")
		}
	}
	switch dead, plants := list[0].sum(); {
	case len(claims) > 0:
		return certain, strings.Join(claims, "; ")
	case len(unsure) > 0:
		return useful, strings.Join(unsure, "; ")
	case dead > 0:
		return light, fmt.Sprintf("%d of %d plants; that one treatment loses more than another can't be told yet", dead, plants)
	}
	return light, ""
}

// LossLines are the few lines on plants lost, what may be claimed first; none where none
// was lost.
func LossLines(all *analysis.Result) []Line {
	var claims, others []Line
	var rest []string
	dead := 0
	topic := analysis.Topic{Subject: analysis.OfLosses}
	for _, l := range lossesBy(all) {
		lost, _ := l.sum()
		dead = max(dead, lost)
		switch {
		case l.told:
			claims = append(claims, Line{analysis.Claim, topic, fmt.Sprintf("by %s: %s.", l.treatment, l.each())})
		case l.p != nil && *l.p < 0.05:
			others = append(others, Line{analysis.Open, topic, fmt.Sprintf("by %s, not certain: %s.", l.treatment, l.each())})
		default:
			rest = append(rest, l.treatment)
		}
	}
	if len(rest) > 0 && dead > 0 {
		others = append(others, Line{analysis.Open, topic, fmt.Sprintf("that one level loses more than another can't be told by %s.", strings.Join(rest, " or "))})
	}
	return append(claims, others...)
}

// each tells the losses of every level; of many, of those that lost most.
func (l *lossesOf) each() string {
	const most = 6
	var list []string
	for i, x := range l.levels {
		if i == most {
			list = append(list, phrase.Few(len(l.levels)-most)+" more that lost fewer")
			break
		}
		text := fmt.Sprintf("%s %d of %d", x.Level, x.Lost, x.N-x.Accident)
		list = append(list, text+causes(x))
	}
	return phrase.List(list)
}

// words tells losses level by level; of many levels, the first against the rest.
func (l *lossesOf) words() string {
	worst := l.levels[0]
	text := fmt.Sprintf("on %s %d of %d plants were lost%s", worst.Level, worst.Lost, worst.N-worst.Accident, causes(worst))
	if len(l.levels) <= 3 {
		var others []string
		for _, x := range l.levels[1:] {
			others = append(others, fmt.Sprintf("on %s %d of %d", x.Level, x.Lost, x.N-x.Accident))
		}
		return text + ", " + phrase.List(others)
	}
	rest := lossesOf{levels: l.levels[1:]}
	lost, of := rest.sum()
	return fmt.Sprintf("%s, on the other levels of %s %d of %d together", text, l.treatment, lost, of)
}

// causes names what plants were lost of.
func causes(l analysis.Losses) string {
	var list []string
	for _, c := range slices.Sorted(maps.Keys(l.Causes)) {
		if c != analysis.Accident && c != "unknown" {
			list = append(list, fmt.Sprintf("%s %d", c, l.Causes[c]))
		}
	}
	if len(list) == 0 || l.Lost == 0 {
		return ""
	}
	return " (" + strings.Join(list, ", ") + ")"
}
