package model

import "math"

// A level on which every row gave the same answer has no odds: the likelihood rises
// for ever towards it, and where an interval ends on that side hangs on the penalty
// alone. Its pairs have no odds ratio then and an interval that is open there; the
// other end and p are those of the penalised profile.

// opens tells which ends of the interval of a pair are open: of log odds of yes of A
// less those of B, a level without a yes opens its own side and one of nothing but yes
// the other.
func opens(y []float64, a, b []int) (open [2]bool) {
	noneA, allA := single(y, a)
	noneB, allB := single(y, b)
	return [2]bool{noneA || allB, allA || noneB}
}

// single tells whether no row, or every row, gave a yes; neither without rows.
func single(y []float64, rows []int) (none, all bool) {
	yes := 0
	for _, r := range rows {
		yes += int(y[r])
	}
	return len(rows) > 0 && yes == 0, len(rows) > 0 && yes == len(rows)
}

// open takes away what the penalty alone gives.
func (p *Pair) open(ends [2]bool) {
	if p.Eventless = ends[0] || ends[1]; !p.Eventless {
		return
	}
	p.Value, p.SE, p.Critical = math.NaN(), math.NaN(), math.NaN()
	for side, is := range ends {
		if is {
			p.CI95[side] = math.Inf(2*side - 1)
			p.Value = p.CI95[side]
		}
	}
	if ends[0] && ends[1] {
		p.Value = math.NaN()
	}
}
