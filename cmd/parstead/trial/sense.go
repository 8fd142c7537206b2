package trial

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"parstead/light"
)

// A trial of so many days or fewer, or of more, is asked about: a slip in a date.
const (
	fewDays  = 6
	manyDays = 400
)

// astray is how many times more or less than a bin's target its walk may make.
const astray = 2.5

// warnSense tells of values that may be meant but hardly are.
func (l *loader) warnSense() {
	l.warnSlipsOfNames()
	if l.hasDays() {
		if days := l.Rack.Starts.DaysUntil(l.Rack.Ends) + 1; days <= fewDays || days > manyDays {
			l.warn(l.doc.at("trial.ends"), fmt.Sprintf("the trial lasts %s, from %v to %v", countOf(days, "day"), l.Rack.Starts, l.Rack.Ends), "correct starts or ends, if one of them is a slip")
		}
	}
	l.warnOffTarget()
}

// warnSlipsOfNames tells of a group that holds one plant and is called nearly as
// another: most likely a slip, and the plant would be analysed apart.
func (l *loader) warnSlipsOfNames() {
	columns := []string{l.AnalyseBy}
	for _, o := range l.Outcomes {
		for column := range o.Only {
			columns = append(columns, column)
		}
	}
	slices.Sort(columns)
	for _, column := range slices.Compact(columns) {
		if column == "" {
			continue
		}
		members := map[string][]*plantRow{}
		for _, code := range l.order {
			p := l.plants[code]
			if value := p.Columns[column]; value != "" {
				members[value] = append(members[value], p)
			}
		}
		for value, plants := range members {
			var larger []string
			for other, those := range members {
				if len(those) > 1 {
					larger = append(larger, other)
				}
			}
			slices.Sort(larger)
			near, ok := nearest(value, larger)
			if len(plants) > 1 || !ok || !slices.Equal(numbersIn(near), numbersIn(value)) {
				continue
			}
			l.warn(plants[0].cells[fold(column)].at, fmt.Sprintf("only the plant %s has the %s %q, and %s have %q", plants[0].Code, column, value, countOf(len(members[near]), "plant"), near),
				fmt.Sprintf("write %s, unless it is another %s", near, column))
		}
	}
}

// warnOffTarget tells of a bin whose newest walk makes far more or less light a day
// than it is meant to get: another column, another unit, or a lost digit.
func (l *loader) warnOffTarget() {
	for i, bin := range l.Rack.Bins {
		ppfd, walked := l.surveyedLight(bin)
		hours, timed := l.litHours(bin)
		if !walked || !timed || bin.TargetDLI <= 0 || bin.Daylight == light.Sunlit || bin.WaterCM > 0 {
			continue
		}
		makes := ppfd * hours * time.Hour.Seconds() / 1e6
		if target := float64(bin.TargetDLI); makes > astray*target || makes < target/astray {
			l.warn(l.doc.at("bin[%d].target_dli", i), fmt.Sprintf("the bin %q is meant to get %.3g mol a day, and its walk of %s with the lamp's %.3g hours makes %.3g", bin.Name, target, l.walkedOn(bin), hours, makes),
				"see whether the walk is in ppfd or in lux; correct the lamp's times, its lux_per_ppfd or target_dli, or hang the lamp otherwise")
		}
	}
}

// walkedOn is the day of a bin's newest walk.
func (l *loader) walkedOn(bin light.Bin) string {
	for i := range slices.Backward(l.Rack.Survey) {
		if r := l.Rack.Survey[i]; r.Position.Bin == bin.Name {
			return r.At.In(l.Rack.Zone).Format(time.DateOnly)
		}
	}
	return ""
}

// tooPlain tells of an entry code that others would try first; "" for another.
func tooPlain(code, trialName string) string {
	var letters []rune
	for _, r := range strings.ToLower(code) {
		if !strings.ContainsRune(" -_.", r) {
			letters = append(letters, r)
		}
	}
	steps := map[rune]bool{}
	for i := 1; i < len(letters); i++ {
		steps[letters[i]-letters[i-1]] = true
	}
	plain := string(letters)
	switch {
	case len(steps) == 1 && (steps[0] || steps[1] || steps[-1]):
		return "one sign again and again, or signs that follow one another"
	case slices.Contains([]string{"password", "parstead", "entrycode", "secret", "letmein", "qwertz", "qwerty", "123123", "112233"}, plain):
		return "among the first that anybody would try"
	case plain == strings.Join(strings.Fields(strings.ToLower(trialName)), ""):
		return "the trial's name, which the page shows"
	}
	return ""
}
