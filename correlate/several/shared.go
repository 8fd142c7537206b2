package several

import (
	"fmt"
	"math"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
)

// fewestAlike is how many plants must be alike before two trials are taken for
// one, so that a coincidence of a few plants is none.
const fewestAlike = 3

// findShared refuses two folders that hold the same harvest, and takes down
// which trials have the same plants: codes alone tell nothing, since every
// grower's first plant may be called P001.
func (c *Compared) findShared(trials []Trial, labels []string) error {
	c.shared = map[[2]string]bool{}
	for i := range trials {
		for j := range trials[:i] {
			a, b := trials[j].Input, trials[i].Input
			if sameHarvest(a, b) {
				return fmt.Errorf("%s and %s hold the same harvest: name each trial once", trials[j].Folder, trials[i].Folder)
			}
			if samePlants(a, b) {
				c.shared[[2]string{labels[j], labels[i]}] = true
			}
		}
	}
	return nil
}

// sameHarvest tells whether most plants of one code were found to be alike: in
// every outcome that both know, one of them a measure. Where no measure is in
// common all of them must be, at the same places: counts and yes or no often
// coincide.
func sameHarvest(a, b *analysis.Input) bool {
	rows := rowsOf(b)
	pairs, measured := outcomePairs(a, b)
	alike, compared := 0, 0
	for i, code := range a.Plants {
		k, ok := rows[code]
		if !ok {
			continue
		}
		same, seen := true, false
		for _, p := range pairs {
			x, y := p[0].Values[i], p[1].Values[k]
			if math.IsNaN(x) || math.IsNaN(y) || measured && !kind.Of(p[0].Kind).Measured {
				continue
			}
			seen = true
			same = same && x == y
		}
		if !seen {
			continue
		}
		compared++
		if same && (measured || placeOf(a, i) == placeOf(b, k)) {
			alike++
		}
	}
	if compared < fewestAlike {
		return false
	}
	return alike == compared || measured && 2*alike > compared
}

// outcomePairs are the outcomes that both trials have; measured tells whether one
// is a measure.
func outcomePairs(a, b *analysis.Input) (pairs [][2]*analysis.Outcome, measured bool) {
	for i := range a.Outcomes {
		for j := range b.Outcomes {
			if x, y := &a.Outcomes[i], &b.Outcomes[j]; x.Name == y.Name && x.Kind == y.Kind {
				pairs = append(pairs, [2]*analysis.Outcome{x, y})
				measured = measured || kind.Of(x.Kind).Measured
			}
		}
	}
	return pairs, measured
}

// samePlants tells whether most plants of one code had the same starting value.
func samePlants(a, b *analysis.Input) bool {
	rows := rowsOf(b)
	for i := range a.Outcomes {
		for j := range b.Outcomes {
			x, y := a.Outcomes[i].Start, b.Outcomes[j].Start
			if x == nil || y == nil || x.Name != y.Name {
				continue
			}
			alike, compared := 0, 0
			for i, code := range a.Plants {
				k, ok := rows[code]
				if !ok || math.IsNaN(x.Values[i]) || math.IsNaN(y.Values[k]) {
					continue
				}
				compared++
				if x.Values[i] == y.Values[k] {
					alike++
				}
			}
			if alike >= fewestAlike && 2*alike > compared {
				return true
			}
		}
	}
	return false
}

func rowsOf(in *analysis.Input) map[string]int {
	rows := make(map[string]int, len(in.Plants))
	for i, code := range in.Plants {
		rows[code] = i
	}
	return rows
}

// placeOf words where the plant of a row stands.
func placeOf(in *analysis.Input, i int) string {
	place := ""
	if in.Bin != nil && in.Bin.Codes[i] != analysis.Blank {
		place = in.Bin.Levels[in.Bin.Codes[i]]
	}
	if in.Row != nil {
		place = fmt.Sprintf("%s, row %d, column %d", place, in.Row[i], in.Column[i])
	}
	return place
}
