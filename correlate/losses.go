package correlate

import (
	"math"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/dist"
	"parstead/correlate/model"
)

// losses counts the plants lost of each level of each treatment, over all
// plants and then for each value of analyse_by. Withdrawn plants and guards did
// not take part; an accident is no treatment's loss.
func (in question) losses(levels []int, opts Options) []Losses {
	if in.Status == nil || !slices.Contains(in.Status, Lost) {
		return nil
	}
	all := in.lossesAmong(nil, func(int) bool { return true }, opts)
	if in.By == nil {
		return all
	}
	for _, l := range levels {
		of := map[string]string{in.By.Name: in.By.Levels[l]}
		all = append(all, in.lossesAmong(of, func(i int) bool { return in.By.Codes[i] == l }, opts)...)
	}
	return all
}

func (in question) lossesAmong(of map[string]string, among func(i int) bool, opts Options) []Losses {
	var list []Losses
	for k, t := range in.Treatments {
		counts := make([]Losses, len(t.Levels))
		for l, level := range t.Levels {
			counts[l] = Losses{Of: of, Treatment: t.Name, Level: level, Cell: analysis.At{Treatment: k, Level: l}, Causes: map[string]int{}}
		}
		for i := range in.Plants {
			if in.Guard != nil && in.Guard[i] || in.Status[i] == Withdrawn || t.Codes[i] == Blank || !among(i) {
				continue
			}
			c := &counts[t.Codes[i]]
			c.N++
			if in.Status[i] != Lost {
				continue
			}
			cause := "unknown"
			if in.Cause != nil && in.Cause[i] != "" {
				cause = in.Cause[i]
			}
			c.Causes[cause]++
			if cause == Accident {
				c.Accident++
			} else {
				c.Lost++
			}
		}
		counts = slices.DeleteFunc(counts, func(c Losses) bool { return c.N == 0 })
		if len(counts) > 1 {
			p := in.lossTest(t, in.fates(among), opts.seedFor("losses", t.Name))
			for l := range counts {
				counts[l].P = p
			}
		}
		for l := range counts {
			if len(counts[l].Causes) == 0 {
				counts[l].Causes = nil
			}
		}
		list = append(list, counts...)
	}
	return list
}

// fates tells which plants took part and which of these were lost.
type fates struct {
	among, lost func(i int) bool
}

// fates are those that a trial records. An accident is no treatment's loss.
func (in question) fates(among func(i int) bool) fates {
	return fates{
		among: func(i int) bool {
			guard := in.Guard != nil && in.Guard[i]
			accident := in.Status[i] == Lost && in.Cause != nil && in.Cause[i] == Accident
			return !guard && !accident && in.Status[i] != Withdrawn && among(i)
		},
		lost: func(i int) bool { return in.Status[i] == Lost },
	}
}

// lossTest is the exact test that losses do not differ between levels, within values
// of analyse_by: of plants, or of whole bins or reservoirs where these got the
// treatment; absent where these are not known or too few.
func (in question) lossTest(t Treatment, of fates, seed uint64) *float64 {
	if t.SetPer != PerBin && t.SetPer != PerReservoir {
		return analysis.Known(dist.ExactStrata(in.lossTables(t, of), seed).P)
	}
	units := in.Bin
	if t.SetPer == PerReservoir {
		units = in.Reservoir
	}
	if units == nil {
		return nil
	}
	var rows []int
	var lost []float64
	for i := range in.Plants {
		if t.Codes[i] == Blank || units.Codes[i] == Blank || !of.among(i) {
			continue
		}
		rows, lost = append(rows, i), append(lost, 0)
		if of.lost(i) {
			lost[len(lost)-1] = 1
		}
	}
	s := &sample{in: in, rows: rows}
	used, level := overUnits(s.factor(*units)), overUnits(s.factor(t.Factor))
	var block *model.Factor
	if in.Block != nil && !slices.ContainsFunc(rows, func(i int) bool { return in.Block.Codes[i] == Blank }) {
		if b := s.factor(*in.Block); model.Holds(used, b) {
			block = &b
		}
	}
	if len(rows) == 0 || !model.Holds(used, level) {
		return nil
	}
	test, err := model.DealShares(used, level, in.exchangeable(t.Name, used, block), lost, seed)
	if err != nil || !test.OK {
		return nil
	}
	return analysis.Known(test.P)
}

// lossTables are the plants of each level that were lost and those that were not, a
// table for each value of analyse_by.
func (in question) lossTables(t Treatment, of fates) [][][]int {
	var tables [][][]int
	at := map[int]int{}
	for i := range in.Plants {
		if t.Codes[i] == Blank || !of.among(i) {
			continue
		}
		value := 0
		if in.By != nil {
			value = in.By.Codes[i]
		}
		k, ok := at[value]
		if !ok {
			k = len(tables)
			at[value] = k
			table := make([][]int, len(t.Levels))
			for l := range table {
				table[l] = make([]int, 2)
			}
			tables = append(tables, table)
		}
		column := 1
		if of.lost(i) {
			column = 0
		}
		tables[k][t.Codes[i]][column]++
	}
	return tables
}

// gaps counts, in a flat table, the plants without a value, in all and by the levels of
// each treatment: they may be plants that were lost.
func (s *sample) gaps(r *OutcomeResult) {
	if !s.in.Table {
		return
	}
	level := 0
	if s.in.By != nil {
		level = s.in.By.Codes[s.rows[0]]
	}
	of := fates{
		among: func(i int) bool { return s.in.among(s.out, level, i) },
		lost:  func(i int) bool { return math.IsNaN(s.out.Values[i]) },
	}
	for i := range s.in.Plants {
		if of.among(i) {
			r.Gaps.Plants++
			if of.lost(i) {
				r.Gaps.Missing++
			}
		}
	}
	for k, t := range s.in.Treatments {
		counts := make([]Losses, len(t.Levels))
		for l := range counts {
			counts[l] = Losses{Of: r.Of, Treatment: t.Name, Level: t.Levels[l], Cell: analysis.At{Treatment: k, Level: l}}
		}
		for i := range s.in.Plants {
			if !of.among(i) || t.Codes[i] == Blank {
				continue
			}
			counts[t.Codes[i]].N++
			if of.lost(i) {
				counts[t.Codes[i]].Lost++
			}
		}
		counts = slices.DeleteFunc(counts, func(c Losses) bool { return c.N == 0 })
		p := s.in.lossTest(t, of, s.opts.seedFor("gaps", s.out.Name, s.ofText(), t.Name))
		for l := range counts {
			counts[l].P = p
		}
		r.Gaps.By = append(r.Gaps.By, counts...)
	}
}
