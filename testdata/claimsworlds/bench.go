package claimsworlds

import (
	"fmt"
	"math"
)

// meanLight is the light of the middling place, in the light column's unit.
const meanLight = 200.0

// plan says how a bench is laid out.
type plan struct {
	bins, rows, cols, shelves int
	placeCV                   float64 // light between places of a bin; 0: drawn 0.10-0.25
	lampCV                    float64 // light between lamps
}

// usual is 96 plants in 8 bins on 2 shelves.
var usual = plan{bins: 8, rows: 3, cols: 4, shelves: 2, lampCV: 0.08}

// bench is a trial in the making.
type bench struct {
	chance
	plan
	n               int
	bin, shelf      []int
	row, col        []int
	rim             []float64
	light           []float64
	eta, nuisance   []float64 // of the outcome being made
	lost            []bool
	columns, hidden []Column
	outcomeColumns  map[string]bool
	keepsLost       map[string]bool // outcomes recorded for lost plants too
	roles           Roles
	realised        Truth
	dealt           map[string][]int // level number of each plant, by treatment
	factors         map[string]factor
	hideLight       bool
}

// lay sets plants in every place of every bin and hangs the lamps.
func lay(seed uint64, p plan) *bench {
	b := &bench{
		chance: newChance(seed), plan: p,
		outcomeColumns: map[string]bool{}, keepsLost: map[string]bool{},
		dealt: map[string][]int{}, factors: map[string]factor{},
	}
	for k := range p.bins {
		for r := range p.rows {
			for c := range p.cols {
				b.bin = append(b.bin, k)
				b.shelf = append(b.shelf, k*p.shelves/p.bins)
				b.row, b.col = append(b.row, r), append(b.col, c)
				onRim := 0.0
				if r == 0 || c == 0 || r == p.rows-1 || c == p.cols-1 {
					onRim = 1
				}
				b.rim = append(b.rim, onRim)
			}
		}
	}
	b.n = len(b.bin)
	b.lost = make([]bool, b.n)
	b.clear()
	b.hangLamps()
	return b
}

// clear starts the expectation of the next outcome.
func (b *bench) clear() {
	b.eta, b.nuisance = make([]float64, b.n), make([]float64, b.n)
}

// hangLamps makes the light: bright under the lamp, dimmer to the rim, rough.
func (b *bench) hangLamps() {
	cv := b.placeCV
	if cv == 0 {
		cv = 0.10 + 0.15*b.Float64()
	}
	bowl := b.bowl()
	b.light = make([]float64, b.n)
	lamp := make([]float64, b.bins)
	for k := range lamp {
		lamp[k] = 1 + b.lampCV*b.NormFloat64()
	}
	for i := range b.n {
		place := 1 + cv*(0.8*bowl[i%(b.rows*b.cols)]+0.6*b.NormFloat64())
		b.light[i] = meanLight * lamp[b.bin[i]] * math.Max(place, 0.15)
	}
}

// bowl is minus the squared distance from the lamp, at mean 0 and sd 1.
func (b *bench) bowl() []float64 {
	var d []float64
	for r := range b.rows {
		for c := range b.cols {
			y, x := float64(r)-float64(b.rows-1)/2, float64(c)-float64(b.cols-1)/2
			d = append(d, -(y*y + x*x))
		}
	}
	mean, sd := meanSD(d)
	for i := range d {
		d[i] = (d[i] - mean) / sd
	}
	return d
}

func meanSD(x []float64) (mean, sd float64) {
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean) / float64(len(x))
	}
	return mean, math.Sqrt(sd)
}

// scaleLight multiplies the light of every plant.
func (b *bench) scaleLight(by func(i int) float64) {
	for i := range b.n {
		b.light[i] *= by(i)
	}
}

// add puts a part of the expectation that treatments or light make.
func (b *bench) add(part func(i int) float64) {
	for i := range b.n {
		b.eta[i] += part(i)
	}
}

// disturb puts a part that neither treatments nor light make.
func (b *bench) disturb(part func(i int) float64) {
	for i := range b.n {
		v := part(i)
		b.eta[i] += v
		b.nuisance[i] += v
	}
}

// addSlope puts a straight slope of light, none at meanLight.
func (b *bench) addSlope(slope float64) {
	b.add(func(i int) float64 { return slope * (b.light[i] - meanLight) })
}

// unequalBins lets bins (and a little less the shelves) differ by themselves.
func (b *bench) unequalBins(sd float64) []float64 {
	own, shelf := b.normals(b.bins, sd), b.normals(b.shelves, 0.5*sd)
	b.disturb(func(i int) float64 { return own[b.bin[i]] + shelf[b.shelf[i]] })
	return own
}

func (b *bench) normals(n int, sd float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = sd * b.NormFloat64()
	}
	return x
}

func names(prefix string, index []int) []string {
	out := make([]string, len(index))
	for i, k := range index {
		out[i] = fmt.Sprintf("%s%d", prefix, k+1)
	}
	return out
}

func floats(index []int) []float64 {
	out := make([]float64, len(index))
	for i, k := range index {
		out[i] = float64(k + 1)
	}
	return out
}
