package dist

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"
)

// mostSums bounds the work of adding up strata's tables: pairs of sums and tables.
const mostSums = 5_000_000

// ExactStrata tests independence in several tables of the same levels, each with two
// columns (events and others), a stratum each: within a stratum every deal of its
// events to its plants is equally likely. P is the chance of sums of events over the
// strata, a sum a level, that are no likelier than the observed ones, up to 1 + 1e-7
// times. With one stratum that is ExactTable; with two levels the exact conditional
// test of a common odds ratio of one.
//
//	P(stratum) = Π C(nₗ, yₗ) / C(n, Σ yₗ)
//
// Where there are too many sums to list, 99,999 deals are drawn, seeded, and
// p = (1 + those with Σ (Sₗ − E Sₗ)²/E Sₗ as large) / (1 + 99,999).
//
// ExactStrata panics where tables differ in their levels.
//
// Mehta, Patel, Gray (1985), Journal of the American Statistical Association
// 80:969–973, for two levels.
func ExactStrata(strata [][][]int, seed uint64) TableTest {
	if len(strata) == 0 {
		return TableTest{P: 1, Tables: 1}
	}
	if len(strata) == 1 {
		return ExactTable(strata[0], seed)
	}
	levels := len(strata[0])
	observed := make([]int, levels)
	for _, table := range strata {
		if len(table) != levels {
			panic("dist: strata differ in their levels")
		}
		for l, row := range table {
			observed[l] += row[0]
		}
	}
	chance, ok := sums(strata, levels)
	if !ok {
		return TableTest{P: drawStrata(strata, observed, seed), Drawn: draws}
	}
	limit, p := chance[sumKey(observed)]*(1+tie), 0.0
	for _, key := range slices.Sorted(maps.Keys(chance)) { // a sum of many must not depend on their order
		if c := chance[key]; c <= limit {
			p += c
		}
	}
	return TableTest{P: math.Min(1, p), Tables: len(chance)}
}

// sumKey is a list of sums as a key.
func sumKey(sums []int) string {
	key := make([]byte, 0, 4*len(sums))
	for _, s := range sums {
		key = append(key, byte(s>>24), byte(s>>16), byte(s>>8), byte(s))
	}
	return string(key)
}

func keySums(key string, into []int) {
	for l := range into {
		k := key[4*l : 4*l+4]
		into[l] = int(k[0])<<24 | int(k[1])<<16 | int(k[2])<<8 | int(k[3])
	}
}

// sums gives the chance of each list of sums; ok is false where there are too many.
func sums(strata [][][]int, levels int) (chance map[string]float64, ok bool) {
	chance = map[string]float64{sumKey(make([]int, levels)): 1}
	before := make([]int, levels)
	work := 0
	for _, table := range strata {
		m := newTwoColumns(table)
		next := map[string]float64{}
		keys := slices.Sorted(maps.Keys(chance))
		m.list(func(events []int, p float64) bool {
			for _, key := range keys {
				c := chance[key]
				keySums(key, before)
				for l, y := range events {
					before[l] += y
				}
				next[sumKey(before)] += c * p
			}
			work += len(chance)
			return work <= mostSums
		})
		if work > mostSums {
			return nil, false
		}
		chance = next
	}
	return chance, true
}

// twoColumns are the margins of a table of events and others.
type twoColumns struct {
	n           []int // of each level
	events, all int
	room        []int // plants in the levels from l on
	lnFactorial []float64
}

func newTwoColumns(table [][]int) twoColumns {
	m := twoColumns{n: make([]int, len(table)), room: make([]int, len(table)+1)}
	for l, row := range table {
		m.n[l] = row[0] + row[1]
		m.events += row[0]
		m.all += m.n[l]
	}
	for l := len(table) - 1; l >= 0; l-- {
		m.room[l] = m.room[l+1] + m.n[l]
	}
	m.lnFactorial = make([]float64, m.all+1)
	for i := 2; i <= m.all; i++ {
		m.lnFactorial[i], _ = math.Lgamma(float64(i) + 1)
	}
	return m
}

func (m twoColumns) lnChoose(n, k int) float64 {
	return m.lnFactorial[n] - m.lnFactorial[k] - m.lnFactorial[n-k]
}

// list calls visit for every table with its probability, until it says no.
func (m twoColumns) list(visit func(events []int, p float64) bool) {
	events := make([]int, len(m.n))
	var level func(l, left int, p float64) bool
	level = func(l, left int, p float64) bool {
		if l == len(m.n) {
			return visit(events, math.Exp(p))
		}
		for y := max(0, left-m.room[l+1]); y <= min(left, m.n[l]); y++ {
			events[l] = y
			if !level(l+1, left-y, p+m.lnChoose(m.n[l], y)) {
				return false
			}
		}
		return true
	}
	level(0, m.events, -m.lnChoose(m.all, m.events))
}

// drawStrata is the p value from drawn deals.
func drawStrata(strata [][][]int, observed []int, seed uint64) float64 {
	rng := rand.New(rand.NewPCG(seed, 0x737472617461)) // "strata"
	expected := make([]float64, len(observed))
	plants := make([][]int, len(strata)) // the level of each plant
	events := make([]int, len(strata))
	for k, table := range strata {
		m := newTwoColumns(table)
		events[k] = m.events
		for l, n := range m.n {
			expected[l] += float64(m.events) * float64(n) / float64(max(1, m.all))
			for range n {
				plants[k] = append(plants[k], l)
			}
		}
	}
	statistic := func(sums []int) (s float64) {
		for l, e := range expected {
			if d := float64(sums[l]) - e; e > 0 {
				s += d * d / e
			}
		}
		return s
	}
	limit, as := statistic(observed)*(1-tie), 1
	dealt := make([]int, len(observed))
	for range draws {
		clear(dealt)
		for k, of := range plants {
			for i := range events[k] {
				j := i + rng.IntN(len(of)-i)
				of[i], of[j] = of[j], of[i]
				dealt[of[i]]++
			}
		}
		if statistic(dealt) >= limit {
			as++
		}
	}
	return float64(as) / (1 + draws)
}
