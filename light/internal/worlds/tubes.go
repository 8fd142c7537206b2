//go:build worlds

package worlds

import (
	"math"
	"math/rand/v2"
)

// tube is a glowing line whose ends are darker: cathode space and blackening.
func tube(a, b Vec, loseA, loseB, reach float64, shape Shape, n Vec, flux float64) []Source {
	out := bar(a, b, n, 0.02, shape, flux)
	length := b.Sub(a).Len()
	for i := range out {
		d := out[i].P.Sub(a).Len()
		out[i].Flux *= (1 - loseA*math.Exp(-d/reach)) * (1 - loseB*math.Exp(-(length-d)/reach))
	}
	return out
}

// makeTubes is family (c): bare tubes, or tubes under a trough or a flat white
// reflector. The reflector is a second, dimmer line above the first, because
// the plant sees the tube's back in it.
func makeTubes(g *rand.Rand, f frame) *rig {
	r := &rig{height: span(g, 0.20, 0.42), lamp: "tube", luxPer: span(g, 70, 80)}
	alongX := f.wx >= f.wy
	long, wide := f.wx, f.wy
	if !alongX {
		long, wide = wide, long
	}
	length := shopLength(g, long)
	n := clampInt(int(math.Round(wide/span(g, 0.12, 0.28))), 1, 4)
	kind := g.IntN(3) // 0 bare, 1 trough, 2 flat reflector
	cut := 0.0
	if kind == 1 {
		cut = span(g, 50, 75)
	}
	back := span(g, 0.55, 0.85)
	gap := span(g, 0.03, 0.06)
	off := [2]float64{span(g, -0.22, 0.22) * long, span(g, -0.45, 0.45) * wide}
	s := &Scene{}
	for i := range n {
		side := (float64(i)-float64(n-1)/2)*wide/float64(n) + off[1]
		at := func(end, up float64) Vec {
			along := off[0] + end*length/2
			if alongX {
				return Vec{f.mid.X + along, f.mid.Y + side, r.height + up}
			}
			return Vec{f.mid.X + side, f.mid.Y + along, r.height + up}
		}
		age := span(g, 0.6, 1) // tubes are changed one at a time
		la, lb, reach := span(g, 0.3, 0.7), span(g, 0.3, 0.8), span(g, 0.03, 0.08)
		down := Vec{0, 0, -1}
		s.Sources = append(s.Sources, tube(at(-1, 0), at(1, 0), la, lb, reach, TubeSkin{cut}, down, age)...)
		if kind != 0 {
			s.Sources = append(s.Sources, tube(at(-1, 2*gap), at(1, 2*gap), la, lb, reach,
				TubeSkin{cut}, down, age*back)...)
		}
	}
	r.scene = s
	r.say("%d tubes of %.0f cm, reflector %s, cut %.0f°, off %.0f/%.0f cm", n, length*100,
		[]string{"none", "trough", "flat"}[kind], cut, off[0]*100, off[1]*100)
	return r
}
