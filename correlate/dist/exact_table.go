package dist

import (
	"math"
	"math/rand/v2"
	"slices"
)

const (
	maxTables = 1_000_000
	draws     = 99_999
	// Tables as likely as the observed one may differ from it by rounding.
	tie = 1e-7
)

// TableTest is the outcome of ExactTable.
type TableTest struct {
	P      float64
	Tables int // tables with the observed margins, where all were listed
	Drawn  int // tables drawn at random, where there are more than a million
}

// ExactTable tests independence in a table of counts: P is the chance, given
// both margins, of a table no likelier than the observed one.
//
//	P(table) = Π rᵢ! Π cⱼ! / (n! Π aᵢⱼ!)
//
// Every table with these margins is listed, and those of at most 1 + 1e-7 times
// the observed probability are added up [1]. Beyond 10⁶ tables, 99,999 are drawn
// with fixed margins, seeded, and p = (1 + those no likelier)/(1 + 99,999); its
// Monte Carlo error is √(p(1−p)/99,999).
//
// A table with only one possible filling has P = 1. ExactTable panics where rows
// differ in length or a count is negative.
//
//	[1] Freeman, Halton (1951). Biometrika 38:141–149; for two by two Fisher
//	    (1935). J. R. Statist. Soc. 98:39–82.
func ExactTable(rows [][]int, seed uint64) TableTest {
	t := newMargins(rows)
	if len(t.rows) < 2 || len(t.columns) < 2 {
		return TableTest{P: 1, Tables: 1}
	}
	limit := t.logP(rows) + math.Log1p(tie)
	list := lister{margins: t, limit: limit, left: slices.Clone(t.rows)}
	list.column(0, 0, t.columns[0], t.constant)
	if list.tables <= maxTables {
		return TableTest{P: math.Min(1, list.sum), Tables: list.tables}
	}
	return TableTest{P: t.draw(limit, seed), Drawn: draws}
}

// margins are the sums of a table without its empty rows and columns, the
// shorter side as columns.
type margins struct {
	rows, columns []int
	n             int
	lnFactorial   []float64
	constant      float64 // ln of Π rᵢ! Π cⱼ! / n!
}

func newMargins(table [][]int) margins {
	var m margins
	columns := make([]int, len(table[0]))
	for _, row := range table {
		if len(row) != len(columns) {
			panic("dist: rows of a table differ in length")
		}
		sum := 0
		for j, a := range row {
			if a < 0 {
				panic("dist: negative count in a table")
			}
			sum += a
			columns[j] += a
		}
		m.n += sum
		if sum > 0 {
			m.rows = append(m.rows, sum)
		}
	}
	for _, c := range columns {
		if c > 0 {
			m.columns = append(m.columns, c)
		}
	}
	if len(m.columns) > len(m.rows) {
		m.rows, m.columns = m.columns, m.rows
	}
	m.lnFactorial = make([]float64, m.n+1)
	for i := 2; i <= m.n; i++ {
		m.lnFactorial[i], _ = math.Lgamma(float64(i) + 1)
	}
	for _, s := range slices.Concat(m.rows, m.columns) {
		m.constant += m.lnFactorial[s]
	}
	m.constant -= m.lnFactorial[m.n]
	return m
}

func (m margins) logP(table [][]int) float64 {
	p := m.constant
	for _, row := range table {
		for _, a := range row {
			p -= m.lnFactorial[a]
		}
	}
	return p
}

// lister walks through all tables, column by column; the last column is what is
// left of the rows.
type lister struct {
	margins
	limit  float64
	left   []int // of each row
	tables int
	sum    float64
}

// column fills cell i of column j, of which need is still to be placed; p is the
// logarithm of the probability so far.
func (l *lister) column(j, i, need int, p float64) {
	if j == len(l.columns)-1 {
		for _, a := range l.left {
			p -= l.lnFactorial[a]
		}
		l.tables++
		if p <= l.limit {
			l.sum += math.Exp(p)
		}
		return
	}
	if i == len(l.rows)-1 {
		if need > l.left[i] {
			return
		}
		l.left[i] -= need
		l.column(j+1, 0, l.columns[j+1], p-l.lnFactorial[need])
		l.left[i] += need
		return
	}
	room := 0 // in the rows below
	for _, a := range l.left[i+1:] {
		room += a
	}
	for a := max(0, need-room); a <= min(need, l.left[i]); a++ {
		l.left[i] -= a
		l.column(j, i+1, need-a, p-l.lnFactorial[a])
		l.left[i] += a
		if l.tables > maxTables {
			return
		}
	}
}

// draw is the p value from tables drawn by their probability: each column's
// places among the rows, a row at a time, by the hypergeometric distribution.
func (m margins) draw(limit float64, seed uint64) float64 {
	rng := rand.New(rand.NewPCG(seed, 0x7461626c65)) // "table"
	left := make([]int, len(m.rows))
	atMost := 1
	for range draws {
		copy(left, m.rows)
		p, total := m.constant, m.n
		for _, need := range m.columns[:len(m.columns)-1] {
			rest := total // in the rows from i on
			total -= need
			for i, room := range left {
				x := m.hypergeometric(rng, rest, room, need)
				p -= m.lnFactorial[x]
				left[i] -= x
				rest -= room
				need -= x
			}
		}
		for _, a := range left {
			p -= m.lnFactorial[a]
		}
		if p <= limit {
			atMost++
		}
	}
	return float64(atMost) / (1 + draws)
}

// hypergeometric draws how many of n units, taken from all, fall on the room
// marked ones, by inversion outwards from the mode.
//
//	P(x) = C(room, x) C(all − room, n − x) / C(all, n)
func (m margins) hypergeometric(rng *rand.Rand, all, room, n int) int {
	least, most := max(0, n-(all-room)), min(n, room)
	if least == most {
		return least
	}
	mode := (n + 1) * (room + 1) / (all + 2)
	mode = max(least, min(most, mode))
	l := m.lnFactorial
	p := math.Exp(l[room] - l[mode] - l[room-mode] +
		l[all-room] - l[n-mode] - l[all-room-n+mode] -
		l[all] + l[n] + l[all-n])
	u := rng.Float64() - p
	below, above, pBelow, pAbove := mode, mode, p, p
	for u >= 0 && (below > least || above < most) {
		if above < most {
			pAbove *= float64(room-above) * float64(n-above) / (float64(above+1) * float64(all-room-n+above+1))
			above++
			if u -= pAbove; u < 0 {
				return above
			}
		}
		if below > least {
			pBelow *= float64(below) * float64(all-room-n+below) / (float64(room-below+1) * float64(n-below+1))
			below--
			if u -= pBelow; u < 0 {
				return below
			}
		}
	}
	return mode // also where rounding left the sum short of u
}
