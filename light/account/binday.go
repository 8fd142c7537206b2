package account

import (
	"math"
	"slices"

	"parstead/light"
)

// BinDay is the light of a bin's positions together on one light day.
type BinDay struct {
	Date           light.Date
	Bin            string
	Known          bool
	Mean, Min, Max light.DLI
	CV             float64 // standard deviation with n − 1 over mean; NaN for one position or no light
	Covered        float64
	Filled         float64
	Missing        float64
	Error          Error // of Mean
	Source         Source
}

// AppendJSON appends the day as an object of `parstead dli --per bin --json`.
func (d BinDay) AppendJSON(dst []byte) []byte {
	dst = append(dst, `{"date":"`...)
	dst, _ = d.Date.AppendText(dst) // never fails
	dst = append(dst, `","bin":`...)
	dst = appendText(dst, d.Bin)
	if d.Known {
		dst = appendNumber(dst, "mean", float64(d.Mean))
		dst = appendNumber(dst, "min", float64(d.Min))
		dst = appendNumber(dst, "max", float64(d.Max))
		if !math.IsNaN(d.CV) {
			dst = appendNumber(dst, "cv", d.CV)
		}
	}
	return appendRest(dst, d.Known, d.Covered, d.Filled, d.Missing, d.Error, d.Source)
}

// MarshalJSON gives the object of AppendJSON.
func (d BinDay) MarshalJSON() ([]byte, error) { return d.AppendJSON(nil), nil }

// PerBin sums up positions' days by bin and light day, over the positions with a
// figure, in the order of the days' bins and then of date. Covered, filled and
// missing shares are means over these positions, or over all where none has one.
func PerBin(days []Day) []BinDay {
	var bins []BinDay
	for len(days) > 0 {
		n, dates := 0, 0 // positions' days of this bin are stored one position after the other
		for n < len(days) && days[n].Position.Bin == days[0].Position.Bin {
			if days[n].Position == days[0].Position {
				dates++
			}
			n++
		}
		for d := range dates {
			bins = append(bins, perBin(days[d:n], dates))
		}
		days = days[n:]
	}
	return bins
}

// perBin sums up every step-th day.
func perBin(days []Day, step int) BinDay {
	sum := BinDay{Date: days[0].Date, Bin: days[0].Position.Bin, CV: math.NaN()}
	var known []Figure
	var all []Figure
	for i := 0; i < len(days); i += step {
		all = append(all, days[i].Figure)
		if days[i].Known {
			known = append(known, days[i].Figure)
		}
	}
	if sum.Known = len(known) > 0; sum.Known {
		all = known
	}
	n := float64(len(all))
	for _, f := range all {
		sum.Covered += f.Covered
		sum.Filled += f.Filled
		sum.Missing += f.Missing
	}
	// Divided once: the mean of ones is 1.
	sum.Covered, sum.Filled, sum.Missing = sum.Covered/n, sum.Filled/n, sum.Missing/n
	if !sum.Known {
		return sum
	}
	sum.Min, sum.Max = known[0].DLI, known[0].DLI
	var independent, bin, rack, mean, plainIndependent, plainBin, plainRack float64
	for _, f := range known {
		sum.Min, sum.Max = min(sum.Min, f.DLI), max(sum.Max, f.DLI)
		sum.Source = max(sum.Source, f.Source)
		mean += float64(f.DLI) / n
		independent += square(float64(f.DLI) * f.Error.Independent / n)
		bin += float64(f.DLI) * f.Error.Bin / n
		rack += float64(f.DLI) * f.Error.All / n
		plainIndependent += square(f.Error.Independent / n)
		plainBin += f.Error.Bin / n
		plainRack += f.Error.All / n
	}
	sum.Mean = light.DLI(mean)
	if mean == 0 {
		sum.Error = Error{math.Sqrt(plainIndependent), plainBin, plainRack}
		return sum
	}
	sum.Error = Error{math.Sqrt(independent) / mean, bin / mean, rack / mean}
	if len(known) > 1 {
		squares := 0.0
		for _, f := range known {
			squares += square(float64(f.DLI) - mean)
		}
		sum.CV = math.Sqrt(squares/(n-1)) / mean
	}
	return sum
}

func square(x float64) float64 { return x * x }

// Uniformity is how evenly a bin's light was spread over some days.
type Uniformity struct {
	Bin           string
	Positions     int       // with a figure
	Mean          light.DLI // mol m⁻² d⁻¹, of the positions' means over their known days
	LeastOverMean float64   // the darkest position's mean over the mean of all
	CV            float64   // standard deviation with n − 1 over mean; NaN for one position or no light
}

// UniformityOf is the uniformity of each bin with a figure, in the order of the
// days, which are as Days gives them.
func UniformityOf(days []Day) []Uniformity {
	var bins []Uniformity
	for len(days) > 0 {
		bin := days[0].Position.Bin
		var means []float64
		for len(days) > 0 && days[0].Position.Bin == bin {
			position := days[0].Position
			sum, n := 0.0, 0.0
			for len(days) > 0 && days[0].Position == position {
				if days[0].Known {
					sum += float64(days[0].DLI)
					n++
				}
				days = days[1:]
			}
			if n > 0 {
				means = append(means, sum/n)
			}
		}
		if len(means) > 0 {
			bins = append(bins, uniformity(bin, means))
		}
	}
	return bins
}

func uniformity(bin string, means []float64) Uniformity {
	n := float64(len(means))
	sum := 0.0
	for _, x := range means {
		sum += x
	}
	mean := sum / n
	squares := 0.0
	for _, x := range means {
		squares += square(x - mean)
	}
	u := Uniformity{Bin: bin, Positions: len(means), Mean: light.DLI(mean), LeastOverMean: math.NaN(), CV: math.NaN()}
	if mean > 0 {
		u.LeastOverMean = slices.Min(means) / mean
		if n > 1 {
			u.CV = math.Sqrt(squares/(n-1)) / mean
		}
	}
	return u
}
