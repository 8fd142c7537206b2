package correlate

import (
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
	for _, t := range in.Treatments {
		counts := make([]Losses, len(t.Levels))
		for l, level := range t.Levels {
			counts[l] = Losses{Of: of, Treatment: t.Name, Level: level, Causes: map[string]int{}}
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
			p := in.lossTest(t, counts, among, opts)
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

// lossTest is the exact test that losses do not differ between levels: of
// plants, or of whole bins or reservoirs where these got the treatment.
func (in question) lossTest(t Treatment, counts []Losses, among func(i int) bool, opts Options) *float64 {
	seed := opts.seedFor("losses", t.Name)
	if t.SetPer != PerBin && t.SetPer != PerReservoir {
		table := make([][]int, len(counts))
		for l, c := range counts {
			table[l] = []int{c.Lost, c.N - c.Accident - c.Lost}
		}
		return analysis.Known(dist.ExactTable(table, seed).P)
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
	test, err := model.DealShares(used, level, block, lost, seed)
	if err != nil || !test.OK {
		return nil
	}
	return analysis.Known(test.P)
}
