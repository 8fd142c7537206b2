//go:build worlds

package worlds

import (
	"math"
	"math/rand/v2"
)

// Roof is a bench in a small glasshouse: sky from all round, roof bars whose
// shadows walk over the bench, the lamps' own housing overhead, a house wall.
type Roof struct {
	frame
	NorthDeg float64 // compass bearing of the bin's -Y side
	High     float64 // roof over the plants
	Gap      float64 // between roof bars
	BarWide  float64
	AlongX   bool    // bars run along X
	Pane     float64 // dirty glass and all
	Housing  []Block // lamp housings, a house wall close behind, a shelf above
	Glow     float64 // what those send back, beside an even sky
	House    Skyline
}

func newRoof(g *rand.Rand, f frame, lampM float64) *Roof {
	o := &Roof{
		frame: f, NorthDeg: span(g, 0, 360), High: span(g, 1.0, 2.2), Gap: span(g, 0.4, 0.75),
		BarWide: span(g, 0.03, 0.06), AlongX: either(g, 0.5), Pane: span(g, 0.5, 0.75),
	}
	if lampM > 0 {
		w, l := span(g, 0.03, 0.12), f.wx*span(g, 0.5, 1)
		y := f.mid.Y + span(g, -0.2, 0.2)*f.wy
		o.Housing = []Block{{Vec{f.mid.X - l/2, y - w/2, lampM}, Vec{f.mid.X + l/2, y + w/2, lampM + 0.05}}}
	}
	o.Glow = span(g, 0.05, 0.3)
	if either(g, 0.75) { // a lean-to: the wall is so near that each row sees it unlike
		y := f.mid.Y + f.wy/2 + span(g, 0.03, 0.25)
		o.Housing = append(o.Housing, Block{Vec{-5, y, -1}, Vec{5, y + 0.2, o.High * 0.99}})
	}
	if either(g, 0.4) || lampM == 0 { // a shelf over a part of the bench
		z, x := span(g, 0.25, 0.7), f.mid.X+span(g, -0.3, 0.5)*f.wx
		o.Housing = append(o.Housing, Block{Vec{x, f.mid.Y - f.wy, z}, Vec{x + span(g, 0.1, 0.4), f.mid.Y + f.wy, z + 0.02}})
	}
	if either(g, 0.6) {
		near := span(g, 0, 360)
		o.House = Skyline{near - span(g, 30, 80), near + span(g, 30, 80), near, span(g, 20, 60), 0.25}
	}
	return o
}

func (o *Roof) facing(elev, az float64) Vec {
	d := az - rad(o.NorthDeg)
	return Vec{math.Cos(elev) * math.Sin(d), -math.Cos(elev) * math.Cos(d), math.Sin(elev)}
}

func (o *Roof) bearing(dir Vec) float64 { return rad(o.NorthDeg) + math.Atan2(dir.X, -dir.Y) }

// past is what the housing and the nearest roof bar leave of a ray. The sun is
// half a degree wide, so at two metres the edge of a bar is 2 cm soft.
func (o *Roof) past(p, dir Vec) float64 {
	far := p.Add(dir.Scale(o.High / dir.Z))
	for i := range o.Housing {
		if o.Housing[i].cuts(p, far) {
			return 0
		}
	}
	if o.Gap == 0 {
		return 1
	}
	x := far.X
	if o.AlongX {
		x = far.Y
	}
	off := math.Abs(math.Mod(math.Mod(x, o.Gap)+o.Gap, o.Gap) - o.Gap/2)
	soft := 0.005*o.High/dir.Z + 0.009 // half the penumbra and half the head
	return clamp((off-o.BarWide/2)/(2*soft)+0.5, 0, 1)
}

func (o *Roof) beam(r, c int, sun Vec, day int, blind bool) float64 {
	if sun.Z <= 0.02 || o.House.hides(math.Asin(sun.Z), o.bearing(sun)) {
		return 0
	}
	return o.Pane * o.past(o.place(r, c), sun) * sun.Z
}

func (o *Roof) sky(r, c, day int, blind bool) (even, overcast float64) {
	const ne, na = 18, 48
	p := o.place(r, c)
	for i := range ne {
		el := (float64(i) + 0.5) / ne * math.Pi / 2
		for j := range na {
			az := (float64(j) + 0.5) / na * 2 * math.Pi
			dir := o.facing(el, az)
			omega := math.Cos(el) * (math.Pi / 2 / ne) * (2 * math.Pi / na)
			clear := o.past(p, dir)
			k := o.Pane * clear * dir.Z * omega
			even += o.Glow * (1 - clear) * dir.Z * omega * evenSky
			overcast += o.Glow * (1 - clear) * dir.Z * omega * evenSky
			if o.House.hides(el, az) {
				even += k * evenSky * o.House.Bright
				overcast += k * evenSky * o.House.Bright
				continue
			}
			even += k * evenSky
			overcast += k * overcastSky(dir.Z)
		}
	}
	return even, overcast
}

// lean: an even sky on a tilted plane loses (1 - cos)/2.
func (o *Roof) lean(ins Instrument) float64 { return (1 + math.Cos(rad(ins.TiltDeg))) / 2 }
