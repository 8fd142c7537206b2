package account

import (
	"math"
	"slices"

	"parstead/light"
)

// mean is a mean in the making.
type mean struct{ sum, n float64 }

func (m *mean) add(x float64) { m.sum, m.n = m.sum+x, m.n+1 }

func (m mean) value() float64 { return m.sum / m.n } // NaN of nothing

// BinSeason is what a bin's positions got over some days, and how that came to be.
type BinSeason struct {
	Cells   []float64 // mean DLI by bin.Index, NaN where not known
	DLI     float64   // mean over known positions and days; NaN where none is known
	Covered float64   // mean share of the days that readings bridge
	Filled  float64   // mean share of the light that was estimated
	Error   float64   // mean of one standard deviation, as a share
	Missing int       // days on which a position's light is not known
	Sources []Source  // that any figure came from
	Even    Uniformity
}

// SeasonOf sums up a bin's part of days, which are as Days gives them; known is
// false where none has a figure.
func SeasonOf(bin light.Bin, days []Day) (s BinSeason, known bool) {
	cells := make([]mean, bin.Rows*bin.Columns)
	var dli, covered, filled, off mean
	missing := map[light.Date]bool{}
	own := slices.DeleteFunc(slices.Clone(days), func(d Day) bool { return d.Position.Bin != bin.Name })
	for _, d := range own {
		covered.add(d.Covered)
		if !d.Known {
			missing[d.Date] = true
			continue
		}
		cells[bin.Index(d.Position)].add(float64(d.DLI))
		dli.add(float64(d.DLI))
		filled.add(d.Filled)
		off.add(d.Error.Total())
		if !slices.Contains(s.Sources, d.Source) {
			s.Sources = append(s.Sources, d.Source)
		}
	}
	slices.Sort(s.Sources)
	for _, c := range cells {
		s.Cells = append(s.Cells, c.value())
	}
	s.DLI, s.Covered, s.Filled, s.Error, s.Missing = dli.value(), covered.value(), filled.value(), off.value(), len(missing)
	if math.IsNaN(s.DLI) {
		return s, false
	}
	s.Even = UniformityOf(own)[0]
	return s, true
}
