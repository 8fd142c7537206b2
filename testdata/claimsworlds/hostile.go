package claimsworlds

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
)

// Hostile is a table that tries to break the reader, the arithmetic or the
// honesty of an analysis.
type Hostile struct {
	Name  string
	Odd   string // what is odd, in one line
	Wish  string // what an honest program does with it
	CSV   string
	Roles Roles
}

// AlwaysWished holds for every hostile table.
const AlwaysWished = "ends without a crash and soon; prints no NaN or infinity as an estimate; refuses in a plain sentence that names the column or row, or answers; the same answer for the same table"

// sheet is a table of text in the making.
type sheet struct {
	head  []string
	rows  [][]string
	roles Roles
	raw   string // if set, this is the CSV, whatever the rows say
}

// twist is a hostile table as a change of the good one.
type twist struct {
	name, odd, wish string
	change          func(s *sheet)
}

// HostileTables returns all hostile tables.
func HostileTables() []Hostile {
	var out []Hostile
	for _, c := range slices.Concat(hostileValues(), hostileSizes(), hostileCovariates(),
		hostileOutcomes(), hostileEvents(), hostileLosses(), hostileNames(), hostileLookAlikes(), hostileText(),
		hostileShape(), hostileBins(), hostileCopies(), hostileDesign(), hostileTangles(), hostileUnits(), hostileRoles()) {
		s := goodSheet(4, 3, 4)
		c.change(s)
		text := s.raw
		if text == "" {
			text = s.csv()
		}
		out = append(out, Hostile{Name: c.name, Odd: c.odd, Wish: c.wish, CSV: text, Roles: s.roles})
	}
	return out
}

// goodSheet is a table with nothing odd in it.
func goodSheet(bins, rows, cols int) *sheet {
	b := lay(42, plan{bins: bins, rows: rows, cols: cols, shelves: 2, lampCV: 0.08})
	b.dealPlants(active("medium", []float64{0, 0.15, 0}, "peat", "coir", "bark"))
	b.dealBins(idleCover)
	start := make([]float64, b.n)
	for i := range start {
		start[i] = 8 + b.NormFloat64()
	}
	b.covariate("start", start)
	b.act(b.factors["medium"])
	b.addSlope(0.001)
	b.unequalBins(0.1)
	b.mass()
	b.count("leaves", 6, func(_ int, mean float64) float64 { return b.poisson(mean) })
	b.yesNo("rot", logit(0.3))
	t := b.trial()
	s := &sheet{roles: t.Roles}
	for _, c := range t.Table {
		s.head = append(s.head, c.Name)
	}
	for i := range b.n {
		row := make([]string, len(t.Table))
		for j, c := range t.Table {
			row[j] = c.text(i)
			if c.Name == "mass" || c.Name == "light" || c.Name == "start" {
				row[j] = strconv.FormatFloat(math.Round(c.Numbers[i]*100)/100, 'f', 2, 64)
			}
		}
		s.rows = append(s.rows, row)
	}
	return s
}

func (s *sheet) csv() string {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	_ = w.Write(s.head)
	_ = w.WriteAll(s.rows) // a bytes.Buffer never fails
	return out.String()
}

func (s *sheet) at(name string) int {
	k := slices.Index(s.head, name)
	if k < 0 {
		panic("no column " + name)
	}
	return k
}

// set fills a column, row by row.
func (s *sheet) set(name string, value func(i int) string) {
	k := s.at(name)
	for i := range s.rows {
		s.rows[i][k] = value(i)
	}
}

// all fills a column with one text.
func (s *sheet) all(name, value string) { s.set(name, func(int) string { return value }) }

// number reads a cell of the good table.
func (s *sheet) number(name string, i int) float64 {
	v, err := strconv.ParseFloat(s.rows[i][s.at(name)], 64)
	if err != nil {
		panic(err)
	}
	return v
}

// scale multiplies a column.
func (s *sheet) scale(name string, by float64) {
	s.set(name, func(i int) string { return fmt.Sprintf("%g", s.number(name, i)*by) })
}

// put writes single cells: row → text.
func (s *sheet) put(name string, cells map[int]string) {
	for i, v := range cells {
		s.rows[i][s.at(name)] = v
	}
}

// addColumn appends a column.
func (s *sheet) addColumn(name string, value func(i int) string) {
	s.head = append(s.head, name)
	for i := range s.rows {
		s.rows[i] = append(s.rows[i], value(i))
	}
}

// drop removes a column and leaves the roles as they are.
func (s *sheet) drop(name string) {
	k := s.at(name)
	s.head = slices.Delete(s.head, k, k+1)
	for i := range s.rows {
		s.rows[i] = slices.Delete(s.rows[i], k, k+1)
	}
}

// rename changes a level everywhere in a column.
func (s *sheet) rename(column, from, to string) {
	s.set(column, func(i int) string {
		if v := s.rows[i][s.at(column)]; v != from {
			return v
		}
		return to
	})
}
