//go:build worlds

package field_test

import (
	"slices"
	"strings"
	"testing"

	"parstead/light/internal/worlds"
)

// slipsEach is how many walks are spoilt by each slip, and cleanWalks how many are not.
const (
	slipsEach  = 24
	cleanWalks = 1000
	againWalks = 600
	againSeed  = 1000_000
)

// worldFor draws family and size of walk number i.
func worldFor(tb testing.TB, i int, coverage worlds.Coverage) worldWalk {
	tb.Helper()
	families := worlds.Families()
	return newWalk(tb, families[i%len(families)], worlds.Sizes[i/len(families)%6], coverage, 1, uint64(600_000+i))
}

// Of clean full and half walks in worlds drawn by others at most 1 % have a row set
// aside, and 7 % one that is named. Rows that were typed ten times too large or too
// small are found, and set aside.
func TestSlipsOfOtherWorldsAreFound(t *testing.T) {
	t.Parallel()
	coverage := func(i int) worlds.Coverage {
		return []worlds.Coverage{worlds.WalkAll, worlds.WalkHalf}[i%2]
	}
	named, aside, told := 0, 0, map[string]int{}
	for i := range cleanWalks {
		w := worldFor(t, i, coverage(i))
		maps, _ := w.maps()
		some, out := false, false
		for _, r := range maps[0].Residuals {
			some, out = some || r.Named && !r.Aside, out || r.Aside
		}
		if some {
			named++
		}
		if out {
			aside++
		}
		for _, d := range maps[0].Doubts {
			if d.Off == 0 {
				told[d.Mend]++
			}
		}
	}
	t.Logf("of %d clean walks: %d with a row named, %d with a row set aside, %v", cleanWalks, named, aside, told)
	if named > 0.07*cleanWalks || aside > 0.01*cleanWalks {
		t.Errorf("false alarms: %d named, %d set aside", named, aside)
	}
	for _, slip := range worlds.Slips() {
		found, exact, all := 0, 0, 0
		for i := range slipsEach {
			w := worldFor(t, i, coverage(i))
			spoilt, change := slip.Do(w.walk, worlds.Sub(uint64(i), "slip"))
			if !change.Applied {
				continue
			}
			for _, k := range change.Touched {
				w.survey[k].PPFD = spoilt.Readings[k].Value
				if spoilt.Readings[k].Unit == "lux" {
					w.survey[k].PPFD /= w.luxPer
				}
			}
			for k := range w.survey {
				w.survey[k].Row.Line = k + 1
			}
			all++
			maps, remarks := w.maps()
			if len(remarks) > 0 {
				found++
			}
			if len(maps) == 1 && slices.ContainsFunc(change.Touched, func(k int) bool {
				return len(maps[0].Residuals) > k && maps[0].Residuals[k].Named
			}) {
				exact++
			}
		}
		t.Logf("%-28s %3d walks, something told in %3.0f %%, a spoilt row named in %3.0f %%", slip.Name, all, 100*float64(found)/float64(all), 100*float64(exact)/float64(all))
		if (slip.Name == "one value ×10" || slip.Name == "one value ÷10") && float64(exact) < 0.9*float64(all) {
			t.Errorf("%s: found in %d of %d", slip.Name, exact, all)
		}
	}
}

// Of racks in worlds drawn by others that are walked several times at most 1 % have
// their map ended by a later walk, or a drifting sensor told, where nothing changed.
func TestWalksOfOtherWorldsAgree(t *testing.T) {
	t.Parallel()
	families := worlds.Families()
	ended, drifting, all := 0, 0, 0
	for i := range againWalks {
		w := newWalk(t, families[i%len(families)], worlds.Sizes[i/len(families)%6], worlds.WalkAll, 2, againSeed+uint64(i))
		if w.walk.Plan.Split {
			continue
		}
		all++
		maps, remarks := w.maps()
		if len(maps) > 1 {
			ended++
		}
		if slices.ContainsFunc(remarks, func(r string) bool { return strings.Contains(r, "drifted") }) {
			drifting++
		}
	}
	t.Logf("of %d racks walked twice: %d maps ended, %d sensors drifting", all, ended, drifting)
	if float64(ended) > 0.01*float64(all) || float64(drifting) > 0.01*float64(all) {
		t.Error("too many false alarms")
	}
}
