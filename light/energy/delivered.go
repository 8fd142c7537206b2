package energy

import (
	"parstead/light"
	"parstead/light/account"
)

// MostMolPerKWh is the most light, 400 to 700 nm, that a kilowatt hour can become:
// a photon of 700 nm takes h c / λ, so that a mole of them takes N_A h c / 700 nm =
// 0.1709 MJ (constants of the SI, 2019).
const MostMolPerKWh = 3.6e6 / (6.02214076e23 * 6.62607015e-34 * 299792458 / 700e-9)

// Delivered is the light that came down on a bin's grid over some days.
type Delivered struct {
	Bin         string
	Mol         float64        // on the grid's area: mean over the known positions times Area
	MeanDLI     float64        // mol m⁻² d⁻¹, over days and known positions
	Dark, Light float64        // mol m⁻² of the position that got least and of that which got most
	Positions   int            // with a figure on any day
	Missing     float64        // share of the days' time that is not known
	Filled      float64        // share of Mol that was estimated
	Error       float64        // one standard deviation of Mol, as a share; days' errors taken as one and the same
	Source      account.Source // whichever gave most of Mol
}

// DeliveredTo sums up days, which are as account.Days gives them, by bin. Bins
// without any figure are left out.
func DeliveredTo(rack *light.Rack, days []account.Day) []Delivered {
	totals := map[light.Position]float64{}
	sources := map[string]*[account.FromTimer + 1]float64{}
	for _, d := range days {
		if !d.Known {
			continue
		}
		totals[d.Position] += float64(d.DLI)
		if sources[d.Position.Bin] == nil {
			sources[d.Position.Bin] = &[account.FromTimer + 1]float64{}
		}
		sources[d.Position.Bin][d.Source] += float64(d.DLI)
	}
	var list []Delivered
	perBin := account.PerBin(days)
	for _, b := range rack.Bins {
		d := Delivered{Bin: b.Name}
		n, sum, filled, wrong := 0.0, 0.0, 0.0, 0.0
		for _, day := range perBin {
			if day.Bin != b.Name {
				continue
			}
			n++
			d.Missing += day.Missing
			if day.Known {
				mean := float64(day.Mean)
				sum, filled, wrong = sum+mean, filled+mean*day.Filled, wrong+mean*day.Error.Total()
			}
		}
		for _, p := range b.Positions() {
			total, ok := totals[p]
			if !ok {
				continue
			}
			if d.Positions++; d.Positions == 1 {
				d.Dark = total
			}
			d.Dark, d.Light = min(d.Dark, total), max(d.Light, total)
		}
		if d.Positions == 0 {
			continue
		}
		of := sources[b.Name]
		for source, mol := range of {
			if mol > of[d.Source] {
				d.Source = account.Source(source)
			}
		}
		d.Missing /= n
		d.MeanDLI, d.Mol = sum/n, sum*Area(b)
		if sum > 0 {
			d.Filled, d.Error = filled/sum, wrong/sum
		}
		list = append(list, d)
	}
	return list
}
