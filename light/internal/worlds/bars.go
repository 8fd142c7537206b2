//go:build worlds

package worlds

import (
	"math"
	"math/rand/v2"
)

// White LED shows about 60 to 75 lux per µmol m⁻² s⁻¹, red-blue far fewer.
func ledLux(g *rand.Rand) float64 {
	if either(g, 0.2) {
		return span(g, 18, 40)
	}
	return span(g, 58, 76)
}

// bar strings small sources from a to b.
func bar(a, b, n Vec, step float64, shape Shape, flux float64) []Source {
	count := max(2, int(math.Round(b.Sub(a).Len()/step)))
	out := make([]Source, count)
	for i := range out {
		out[i] = Source{
			P: lerp(a, b, (float64(i)+0.5)/float64(count)), N: n,
			Axis: b.Sub(a).Unit(), Shape: shape, Flux: flux / float64(count),
		}
	}
	return out
}

// shopLength gives the length a grower would buy for this span, in metres.
func shopLength(g *rand.Rand, want float64) float64 {
	lengths := []float64{0.3, 0.45, 0.6, 0.9, 1.2}
	for i, l := range lengths {
		if l >= want*0.8 {
			if i > 0 && either(g, 0.4) {
				return lengths[i-1]
			}
			return l
		}
	}
	return 1.2
}

// sideWalls puts up none to four walls, of foil or of white board.
func sideWalls(g *rand.Rand, f frame, height float64, r *rig) *Box {
	kind := g.IntN(4)
	if kind == 0 {
		r.say("no side walls")
		return nil
	}
	gap := span(g, 0.005, 0.08)
	b := &Box{
		Lo:  Vec{f.mid.X - f.wx/2 - gap, f.mid.Y - f.wy/2 - gap, 0},
		Hi:  Vec{f.mid.X + f.wx/2 + gap, f.mid.Y + f.wy/2 + gap, 0},
		Top: height * span(g, 0.4, 1.05), Orders: 3,
	}
	names := []string{"", "foil", "white", "one foil wall"}
	alone := g.IntN(4)
	for i := range 4 {
		if kind == 3 && i != alone || either(g, 0.25) && kind != 3 {
			continue
		}
		b.Present[i] = true
		if kind == 2 {
			b.White[i] = span(g, 0.55, 0.9)
		} else {
			b.Mirror[i] = span(g, 0.45, 0.88)
		}
	}
	r.say("walls: %s %v, %.0f cm high, %.1f cm off", names[kind], b.Present, b.Top*100, gap*100)
	return b
}

// makeBars is family (a): parallel bars, as rows of cosine-power points.
func makeBars(g *rand.Rand, f frame) *rig {
	r := &rig{height: span(g, 0.20, 0.45), lamp: "led", luxPer: ledLux(g)}
	alongX := f.wx >= f.wy
	if either(g, 0.25) {
		alongX = !alongX
	}
	long, wide := f.wx, f.wy
	if !alongX {
		long, wide = wide, long
	}
	n := clampInt(int(math.Round(wide/span(g, 0.10, 0.22))), 1, 5)
	length := shopLength(g, long)
	m := logSpan(g, 0.8, 4)
	off := [2]float64{span(g, -0.3, 0.3) * long, span(g, -0.45, 0.45) * wide}
	droop := span(g, -0.06, 0.06) // one end lower: chains are set by eye
	roll := 0.0
	if either(g, 0.4) {
		roll = span(g, -25, 25)
	}
	s := &Scene{}
	for i := range n {
		side := (float64(i)-float64(n-1)/2)*wide/float64(n)*span(g, 0.9, 1.1) + off[1]
		at := func(end float64) Vec {
			along, z := off[0]+end*length/2, r.height+end*droop/2
			if alongX {
				return Vec{f.mid.X + along, f.mid.Y + side, z}
			}
			return Vec{f.mid.X + side, f.mid.Y + along, z}
		}
		az := 90.0
		if !alongX {
			az = 0
		}
		s.Sources = append(s.Sources, bar(at(-1), at(1), hangDown(roll, az), 0.02,
			CosPower{m}, span(g, 0.9, 1.1))...)
	}
	s.Box = sideWalls(g, f, r.height, r)
	r.scene = s
	r.say("%d bars of %.0f cm, m=%.2f, off %.0f/%.0f cm, droop %.1f cm, roll %.0f°", n,
		length*100, m, off[0]*100, off[1]*100, droop*100, roll)
	return r
}

func clampInt(v, lo, hi int) int { return max(lo, min(hi, v)) }
