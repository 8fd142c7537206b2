package deal

import (
	"fmt"
	"strings"
)

// ties words which levels of treatments were tied to bins.
func (l *laying) ties(names []string) string {
	var says []string
	for _, name := range names {
		t := l.plan.Treatments[l.index(name)]
		for _, level := range t.Levels {
			if bins, tied := t.OnlyBins[level]; tied {
				says = append(says, fmt.Sprintf("%s only to %s", level, words(bins)))
			}
		}
	}
	if says == nil {
		return ""
	}
	return " as far as bins can have the level (" + strings.Join(says, ", ") + ")"
}

// procedure words what was done.
func (l *laying) procedure() string {
	zones := "positions of like light (by the light map)"
	if !l.Record.ByLight {
		zones = "neighbouring positions (taken around the rim and then row by row, since no light map covers them all)"
	}
	says := []string{fmt.Sprintf("Plants of like starting size in sets of %d went to %s, one set of every layer of sizes to each bin", l.cells, zones)}
	if names := l.decks(PerPlant, true); len(names) > 0 {
		switch {
		case l.joint && len(names[0]) == 1:
			says = append(says, fmt.Sprintf("within a set every level of %s fell on one plant at random", names[0][0]))
		case l.joint:
			says = append(says, fmt.Sprintf("within a set every combination of %s fell on one plant at random", words(names[0])))
		default:
			says = append(says, fmt.Sprintf("%s were dealt one by one, each level once in every set, because a bin has fewer plants than combinations", words(names[0])))
		}
	}
	for _, per := range []SetPer{PerBin, PerReservoir} {
		for _, names := range l.decks(per, true) {
			says = append(says, fmt.Sprintf("%s went to whole %ss at random within blocks", words(names), per)+l.ties(names))
		}
	}
	return strings.Join(says, "; ") + "."
}
