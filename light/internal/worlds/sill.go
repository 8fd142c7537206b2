//go:build worlds

package worlds

import (
	"math"
	"math/rand/v2"
)

// Sill is a windowsill or a table before a window. Row 0 is nearest the glass;
// columns run from left to right as one looks out.
type Sill struct {
	frame
	FacingDeg float64     // compass bearing that the window looks to
	Back      float64     // glass to the first row, m
	Wide      float64     // width of the glass
	High      float64     // height of the glass
	Foot      float64     // glass's foot above the plants' plane (negative: below)
	Shift     float64     // window's middle beside the bin's
	Reveal    float64     // thickness of the wall outside the glass
	Pane      float64     // transmission at right angles
	Room      float64     // light sent back by the room
	BarsX     []float64   // upright bars, from the window's middle
	BarsZ     []float64   // level bars, from the window's foot
	BarWide   float64     // width of a bar
	House     Skyline     // what stands opposite
	Cloth     Blind       // geometry of the blind only
	Tall      [][]float64 // tops of the plants over the plane on day 0, m
	Grow      float64     // growth, m per day
	Crown     float64     // half width of a plant
	Leaf      float64     // light that comes through or past a plant
}

// newSill draws a window for a bin.
func newSill(g *rand.Rand, f frame) *Sill {
	s := &Sill{
		frame: f, FacingDeg: span(g, 90, 270), Back: span(g, 0.04, 0.18),
		Wide: math.Max(f.wx*span(g, 0.9, 1.8), 0.5), High: span(g, 0.7, 1.4), Foot: span(g, -0.05, 0.05),
		Reveal: span(g, 0.03, 0.2), Pane: span(g, 0.55, 0.82), Room: span(g, 0.01, 0.05),
		BarWide: span(g, 0.03, 0.07), Crown: span(g, 0.015, 0.035), Leaf: span(g, 0.15, 0.5),
		Grow: span(g, 0, 0.0008),
	}
	if either(g, 0.12) {
		s.FacingDeg = span(g, -60, 60) // a north window
	}
	s.Shift = span(g, -0.2, 0.2) * s.Wide
	for range g.IntN(3) {
		s.BarsX = append(s.BarsX, span(g, -0.4, 0.4)*s.Wide)
	}
	for range g.IntN(2) {
		s.BarsZ = append(s.BarsZ, span(g, 0.2, 0.7)*s.High)
	}
	if either(g, 0.5) {
		near := s.FacingDeg + span(g, -50, 50)
		s.House = Skyline{
			near - span(g, 15, 60), near + span(g, 15, 60), near,
			span(g, 10, 38), span(g, 0.1, 0.3),
		}
	}
	for r := range f.rows {
		row := make([]float64, f.cols)
		for c := range row {
			// Tops beside the plane of measurement: some plants are taller.
			row[c] = math.Max(0, span(g, -0.02, 0.03)-0.002*float64(r))
		}
		s.Tall = append(s.Tall, row)
	}
	return s
}

func (s *Sill) facing(elev, az float64) Vec {
	d := az - rad(s.FacingDeg)
	return Vec{math.Cos(elev) * math.Sin(d), -math.Cos(elev) * math.Cos(d), math.Sin(elev)}
}

func (s *Sill) bearing(dir Vec) float64 { return rad(s.FacingDeg) + math.Atan2(dir.X, -dir.Y) }

// spot is a place, with Y counted from the glass into the room.
func (s *Sill) spot(r, c int) Vec {
	p := s.place(r, c)
	p.Y += s.Back
	return p
}

// through is how much of a ray from p along dir comes in: 0 past the frame.
func (s *Sill) through(p, dir Vec, blind bool) float64 {
	if dir.Y > -1e-6 {
		return 0
	}
	t := p.Y / -dir.Y
	x, z := p.X+t*dir.X-s.mid.X-s.Shift, p.Z+t*dir.Z-s.Foot
	if math.Abs(x) > s.Wide/2 || z < 0 || z > s.High {
		return 0
	}
	out := t + s.Reveal/-dir.Y
	if xo, zo := p.X+out*dir.X-s.mid.X-s.Shift, p.Z+out*dir.Z-s.Foot; math.Abs(xo) > s.Wide/2 || zo > s.High {
		return 0
	}
	for _, b := range s.BarsX {
		if math.Abs(x-b) < s.BarWide/2 {
			return 0
		}
	}
	for _, b := range s.BarsZ {
		if math.Abs(z-b) < s.BarWide/2 {
			return 0
		}
	}
	k := s.Pane * glass(-dir.Y)
	if blind && z > s.High*(1-s.Cloth.Share) {
		k *= s.Cloth.Pass
	}
	return k
}

// plants is what the rows in front leave of a ray.
func (s *Sill) plants(p, dir Vec, r, day int) float64 {
	k := 1.0
	for q := range r {
		t := (s.spot(q, 0).Y - p.Y) / dir.Y
		x, z := p.X+t*dir.X, p.Z+t*dir.Z
		c := int(math.Round(x / s.px))
		if c < 0 || c >= s.cols || math.Abs(x-float64(c)*s.px) > s.Crown {
			continue
		}
		if z < s.Tall[q][c]+s.Grow*float64(day) {
			k *= s.Leaf
		}
	}
	return k
}

func (s *Sill) beam(r, c int, sun Vec, day int, blind bool) float64 {
	// What the room sends back when the sun shines in, wherever it falls.
	room := s.Room * s.Pane * math.Max(0, -sun.Y) * 0.5
	if sun.Z <= 0 || sun.Y >= 0 || s.House.hides(math.Asin(sun.Z), s.bearing(sun)) {
		return 0
	}
	// Five points of the head, because a bar's shadow has a hard edge.
	sum := 0.0
	for _, d := range [5][2]float64{{0, 0}, {1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
		p := s.spot(r, c).Add(Vec{d[0] * 0.009, d[1] * 0.009, 0})
		if k := s.through(p, sun, blind); k > 0 {
			sum += k * s.plants(p, sun, r, day)
		}
	}
	return sum/5*sun.Z + room
}

func (s *Sill) sky(r, c, day int, blind bool) (even, overcast float64) {
	const nx, nz = 18, 14
	p := s.spot(r, c)
	area := s.Wide / nx * s.High / nz
	for i := range nx {
		for j := range nz {
			w := Vec{
				s.mid.X + s.Shift + s.Wide*((float64(i)+0.5)/nx-0.5), 0,
				s.Foot + s.High*(float64(j)+0.5)/nz,
			}
			d := w.Sub(p)
			dir := d.Unit()
			if dir.Z <= 0 {
				continue
			}
			k := s.through(p, dir, blind)
			if k == 0 {
				continue
			}
			k *= s.plants(p, dir, r, day) * dir.Z * area * -dir.Y / d.Dot(d)
			if s.House.hides(math.Asin(dir.Z), s.bearing(dir)) {
				even += k * evenSky * s.House.Bright
				overcast += k * evenSky * s.House.Bright
				continue
			}
			even += k * evenSky
			overcast += k * overcastSky(dir.Z)
		}
	}
	return even + s.Room*s.Pane*0.5, overcast + s.Room*s.Pane*0.5
}

// lean: light from a window comes from the side, at some 40° on average, so a
// head tipped toward the glass gains by the cotangent of that.
func (s *Sill) lean(ins Instrument) float64 {
	t := rad(ins.TiltDeg)
	return math.Max(0, math.Cos(t)+1.2*math.Sin(t)*math.Cos(rad(ins.TiltAzDeg-270)))
}
