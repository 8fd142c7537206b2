package demo

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat"

	"parstead/light"
)

// bin is a bin with its lamp as it truly hangs.
type bin struct {
	light.Bin
	level    string
	lit      []light.Span
	lamp     pose      // as hung
	strength float64   // PPFD per unit of irradiance
	uneven   []float64 // of single cells
	// field[e] is the PPFD in air at each cell, in the order of Positions, under
	// the new lamp in epoch e; µmol m⁻² s⁻¹.
	field [epochs][]float64
	// seconds[day][e] is the time integral over the light day of the lamp's
	// relative output in epoch e.
	seconds [][epochs]float64
}

// pose is how a lamp hangs: a bar along the columns, its centre beside the
// middle of the bin and its face turned. Lengths in cm, tilts as direction
// cosines.
type pose struct {
	dx, dy, height float64
	tiltX, tiltY   float64
}

// irradiance at a point of the bin's floor, x along columns and y along rows
// from the middle, to an arbitrary scale: five Lambertian emitters along the
// bar, each by cosine of emission, cosine of incidence and inverse square.
func (p pose) irradiance(x, y float64) float64 {
	down := -math.Sqrt(1 - p.tiltX*p.tiltX - p.tiltY*p.tiltY)
	var sum float64
	for _, along := range [...]float64{-18, -9, 0, 9, 18} {
		vx, vy, vz := x-p.dx-along, y-p.dy, -p.height
		r2 := vx*vx + vy*vy + vz*vz
		emitted := vx*p.tiltX + vy*p.tiltY + vz*down
		if emitted > 0 {
			sum += emitted * p.height / (r2 * r2)
		}
	}
	return sum
}

func (p pose) over(b light.Bin) []float64 {
	cells := make([]float64, 0, b.Rows*b.Columns)
	for _, at := range b.Positions() {
		x := (float64(at.Column) - float64(b.Columns+1)/2) * b.PitchColumns
		y := (float64(at.Row) - float64(b.Rows+1)/2) * b.PitchRows
		cells = append(cells, p.irradiance(x, y))
	}
	return cells
}

const (
	fieldCV    = 0.18  // of light within a bin
	raiseLoss  = 0.11  // of light when the lamp is raised
	unevenness = 0.005 // of single cells beside the smooth field
)

// hang gives the bin its lamp: off-centre and tilted the same way, at the
// height that makes the light within the bin vary as the scenario says.
func (b *bin) hang(rng *rand.Rand) {
	turn := rng.Float64() * 2 * math.Pi
	offset := 9 + 5*rng.Float64()
	tilt := math.Sin((9 + 5*rng.Float64()) * math.Pi / 180)
	p := &b.lamp
	*p = pose{
		dx: offset * math.Cos(turn), dy: offset * math.Sin(turn),
		tiltX: tilt * math.Cos(turn), tiltY: tilt * math.Sin(turn),
	}
	cv := fieldCV * (1 + 0.05*rng.NormFloat64())
	p.height = bisect(20, 400, func(h float64) bool {
		p.height = h
		mean, sd := stat.MeanStdDev(p.over(b.Bin), nil)
		return sd/mean > cv
	})
	mean := stat.Mean(p.over(b.Bin), nil)
	b.strength = (1 + 0.02*rng.NormFloat64()) / mean
	b.uneven = make([]float64, b.Rows*b.Columns)
	for i := range b.uneven {
		b.uneven[i] = math.Exp(unevenness * rng.NormFloat64())
	}
}

// brighten sets the lamp's strength. If it is to be raised, it hangs so much
// higher from the second epoch on that the bin loses the scenario's share.
func (b *bin) brighten(ppfd float64, raised bool) {
	b.strength *= ppfd
	p := b.lamp
	for e := range b.field {
		if e == 1 && raised {
			mean := stat.Mean(p.over(b.Bin), nil)
			p.height = bisect(b.lamp.height, 3*b.lamp.height, func(h float64) bool {
				p.height = h
				return stat.Mean(p.over(b.Bin), nil) > mean*(1-raiseLoss)
			})
		}
		b.field[e] = b.lightUnder(p)
	}
}

// lightUnder is the PPFD at every cell under the lamp's pose.
func (b *bin) lightUnder(p pose) []float64 {
	cells := p.over(b.Bin)
	for i := range cells {
		cells[i] *= b.strength * b.uneven[i]
	}
	return cells
}

// bisect finds where a condition that holds at low and not at high turns.
func bisect(low, high float64, holds func(float64) bool) float64 {
	for range 60 {
		if middle := (low + high) / 2; holds(middle) {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// transmitted is the share of the light in air that reaches the plants.
func (b *bin) transmitted() float64 { return math.Exp(-b.Attenuation * b.WaterCM / 100) }

// at is the position of a cell.
func (b *bin) at(cell int) light.Position {
	return light.Position{Bin: b.Name, Row: cell/b.Columns + 1, Column: cell%b.Columns + 1}
}
