package model

import (
	"fmt"
	"math"

	"parstead/correlate/dist"
)

// Shares are the yes answers by the levels of one factor, with the exact test
// that they do not differ.
type Shares struct {
	Factor Factor
	Yes, N []int // by level
	Test   dist.TableTest
	Pairs  []SharePair
}

// SharePair compares two levels: A, the later, against B, the earlier.
type SharePair struct {
	A, B    int     // into Factor.Levels
	P       float64 // over all pairs, by Bonferroni
	PSingle float64 // the exact test of this pair alone

	// OK tells that no cell of the two levels is zero. Otherwise the odds ratio
	// and what follows from it are absent.
	OK        bool
	OddsRatio float64    // (yes/no of A) / (yes/no of B), of the sample
	LogSE     float64    // √(Σ 1/cell), of its natural log
	Critical  float64    // half the width of a simultaneous interval of the log in LogSE
	CI95      [2]float64 // exact, simultaneous over all pairs by Bonferroni
}

// ShareOf counts the yes answers y, 1 or 0 a row, by level, tests all levels
// together and each pair.
//
// Both tests add up the probabilities of tables no likelier than the observed
// one (see dist.ExactTable, which takes the seed). Intervals hold the odds
// ratios that neither exact one-sided test at half the level rejects, given
// both margins (Clopper and Pearson's rule for the non-central hypergeometric
// distribution; Cornfield 1956, Proceedings of the Third Berkeley Symposium
// 4:135–148); they widen p's reading a little and may hold 1 where p is barely
// under 0.05.
//
// Errors: an answer that is neither 1 nor 0.
func ShareOf(f Factor, y []float64, seed uint64) (*Shares, error) {
	if err := answers(y); err != nil {
		return nil, err
	}
	if len(f.Of) != len(y) {
		panic("model: a factor's length differs from the number of rows")
	}
	s := &Shares{Factor: f, Yes: make([]int, len(f.Levels)), N: make([]int, len(f.Levels))}
	for i, l := range f.Of {
		s.N[l]++
		s.Yes[l] += int(y[i])
	}
	s.Test = dist.ExactTable(s.table(levelsOf(f)...), seed)
	pairs := float64(len(f.Levels) * (len(f.Levels) - 1) / 2)
	for a := range f.Levels {
		for b := range a {
			p := SharePair{A: a, B: b, PSingle: dist.ExactTable(s.table(a, b), seed).P}
			p.P = math.Min(1, pairs*p.PSingle)
			p.odds(s, 1-0.05/pairs)
			s.Pairs = append(s.Pairs, p)
		}
	}
	return s, nil
}

func levelsOf(f Factor) []int {
	all := make([]int, len(f.Levels))
	for l := range all {
		all[l] = l
	}
	return all
}

// answers demands ones and zeros.
func answers(y []float64) error {
	for i, v := range y {
		if v != 0 && v != 1 {
			return &RowError{i, fmt.Sprintf("%g is neither yes (1) nor no (0)", v)}
		}
	}
	return nil
}

// table has a row a level: yes, no.
func (s *Shares) table(levels ...int) [][]int {
	rows := make([][]int, len(levels))
	for i, l := range levels {
		rows[i] = []int{s.Yes[l], s.N[l] - s.Yes[l]}
	}
	return rows
}

// odds gives the pair its odds ratio with an interval at the given level.
func (p *SharePair) odds(s *Shares, level float64) {
	t := s.table(p.A, p.B)
	for _, row := range t {
		for _, cell := range row {
			if cell == 0 {
				return
			}
			p.LogSE += 1 / float64(cell)
		}
	}
	p.OK = true
	p.LogSE, p.Critical = math.Sqrt(p.LogSE), Estimate{DF: math.Inf(1)}.quantile(1-level)
	p.OddsRatio = float64(t[0][0]) * float64(t[1][1]) / (float64(t[0][1]) * float64(t[1][0]))
	p.CI95 = dist.OddsRatioInterval(t[0][0], t[0][1], t[1][0], t[1][1], level)
}

// Detectable is the smallest true log odds ratio that the pair's interval would show in
// four cases of five.
func (p SharePair) Detectable() float64 {
	return Estimate{SE: p.LogSE, DF: math.Inf(1)}.detectable(p.Critical, math.Inf(1), nil)
}
