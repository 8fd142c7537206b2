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
			p := in.lossTest(t, among, opts)
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

// lossTest is the exact test that losses do not differ between levels, within values
// of analyse_by: of plants, or of whole bins or reservoirs where these got the
// treatment.
func (in question) lossTest(t Treatment, among func(i int) bool, opts Options) *float64 {
	seed := opts.seedFor("losses", t.Name)
	if t.SetPer != PerBin && t.SetPer != PerReservoir {
		return analysis.Known(dist.ExactStrata(in.lossTables(t, among), seed).P)
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
		accident := in.Status[i] == Lost && in.Cause != nil && in.Cause[i] == Accident
		if in.Guard != nil && in.Guard[i] || in.Status[i] == Withdrawn || accident || t.Codes[i] == Blank || units.Codes[i] == Blank || !among(i) {
			continue
		}
		rows = append(rows, i)
		if in.Status[i] == Lost {
			lost = append(lost, 1)
		} else {
			lost = append(lost, 0)
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
func (in question) lossTables(t Treatment, among func(i int) bool) [][][]int {
	var tables [][][]int
	at := map[int]int{}
	for i := range in.Plants {
		accident := in.Status[i] == Lost && in.Cause != nil && in.Cause[i] == Accident
		if in.Guard != nil && in.Guard[i] || in.Status[i] == Withdrawn || accident || t.Codes[i] == Blank || !among(i) {
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
		if in.Status[i] == Lost {
			tables[k][t.Codes[i]][0]++
		} else {
			tables[k][t.Codes[i]][1]++
		}
	}
	return tables
}

// gaps counts, in a flat table, the plants without a value by the levels of each
// treatment: they may be plants that were lost.
func (s *sample) gaps(r *OutcomeResult) {
	if !s.in.Table {
		return
	}
	level := 0
	if s.in.By != nil {
		level = s.in.By.Codes[s.rows[0]]
	}
	for k, t := range s.in.Treatments {
		counts := make([]Losses, len(t.Levels))
		table := make([][]int, len(t.Levels))
		for l := range counts {
			counts[l] = Losses{Of: r.Of, Treatment: t.Name, Level: t.Levels[l], Cell: analysis.At{Treatment: k, Level: l}}
		}
		for i := range s.in.Plants {
			if !s.in.among(s.out, level, i) || t.Codes[i] == Blank {
				continue
			}
			counts[t.Codes[i]].N++
			if math.IsNaN(s.out.Values[i]) {
				counts[t.Codes[i]].Lost++
			}
		}
		for l, c := range counts {
			table[l] = []int{c.Lost, c.N - c.Lost}
		}
		p := analysis.Known(dist.ExactTable(table, s.opts.seedFor("gaps", s.out.Name, s.ofText(), t.Name)).P)
		for l := range counts {
			counts[l].P = p
		}
		r.Gaps = append(r.Gaps, counts...)
	}
}
