//go:build worlds

package worlds

import (
	"math"
	"math/rand/v2"
)

// families is the list of all optics. The odd ones (f) are found nowhere in a
// catalogue and often in a shed.
var families = []family{
	{"bars", makeBars},
	{"panel", makePanel},
	{"tubes", makeTubes},
	{"spill", makeSpill},
	{"published", makePublished},
	{"odd/crossed", makeCrossed},
	{"odd/ring", makeRing},
	{"odd/shared", makeShared},
	{"odd/mixed", makeMixed},
	{"odd/halfout", makeHalfOut},
	{"odd/sagging", makeSagging},
	{"odd/sideways", makeSideways},
}

func start(g *rand.Rand, lo, hi float64) *rig {
	return &rig{height: span(g, lo, hi), lamp: "led", luxPer: ledLux(g), scene: &Scene{}}
}

// makeCrossed lays two bars over each other in an X or a plus.
func makeCrossed(g *rand.Rand, f frame) *rig {
	r := start(g, 0.20, 0.32)
	mid := Vec{f.mid.X + span(g, -0.2, 0.2)*f.wx, f.mid.Y + span(g, -0.2, 0.2)*f.wy, r.height}
	first := span(g, 0, 180)
	for i := range 2 {
		a := rad(first + float64(i)*span(g, 50, 90))
		l := span(g, 0.2, 0.6)
		e := Vec{math.Cos(a) * l / 2, math.Sin(a) * l / 2, 0}
		p := mid.Add(Vec{0, 0, 0.03 * float64(i)})
		r.scene.Sources = append(r.scene.Sources, bar(p.Sub(e), p.Add(e), Vec{0, 0, -1}, 0.02,
			CosPower{logSpan(g, 1, 4)}, l*span(g, 0.7, 1))...)
	}
	r.say("two bars crossed at %.0f°, %.0f cm up", first, r.height*100)
	return r
}

// makeRing is a ring of chips, sometimes with a dark arc.
func makeRing(g *rand.Rand, f frame) *rig {
	r := start(g, 0.20, 0.32)
	radius := span(g, 0.06, 0.22)
	mid := Vec{f.mid.X + span(g, -0.3, 0.3)*f.wx, f.mid.Y + span(g, -0.3, 0.3)*f.wy, r.height}
	dark, from := 0, 0
	if either(g, 0.5) {
		dark, from = between(g, 4, 12), g.IntN(36)
	}
	m := logSpan(g, 1, 6)
	for i := range 36 {
		s, c := math.Sincos(2 * math.Pi * float64(i) / 36)
		flux := 1.0
		if (i-from+36)%36 < dark {
			flux = 0
		}
		r.scene.Sources = append(r.scene.Sources, Source{
			P: mid.Add(Vec{radius * c, radius * s, 0}),
			N: Vec{0, 0, -1}, Shape: CosPower{m}, Flux: flux,
		})
	}
	r.say("ring of %.0f cm radius at %.0f cm, m=%.1f, %d of 36 dark", radius*100, r.height*100, m, dark)
	return r
}

// makeShared hangs one lamp over the gap between two bins, with or without a
// dividing wall that may be black.
func makeShared(g *rand.Rand, f frame) *rig {
	r := start(g, 0.25, 0.45)
	edge := f.mid.X + f.wx/2 + span(g, -0.02, 0.06)
	p := Vec{edge + span(g, -0.1, 0.02)*f.wx, f.mid.Y + span(g, -0.2, 0.2)*f.wy, r.height}
	r.scene.Sources = chipBoard(p, Vec{0, 0, -1}, span(g, 0.15, 0.35), 8, CosPower{logSpan(g, 0.7, 1.6)}, 0)
	if either(g, 0.6) {
		b := &Box{
			Lo: Vec{f.mid.X - 9, f.mid.Y - 9, 0}, Hi: Vec{edge, f.mid.Y + 9, 0},
			Top: r.height * span(g, 0.3, 0.9), Orders: 1,
		}
		b.Present[1] = true
		b.Mirror[1] = span(g, 0, 0.7)
		r.scene.Box = b
		r.say("divider %.0f cm high, reflectance %.2f", b.Top*100, b.Mirror[1])
	}
	r.say("one board for two bins, over the gap, %.0f cm up", r.height*100)
	return r
}

// makeMixed has a tube over one part and a board over the other, of different
// spectrum: a cheap meter is then wrong by place, not by one factor.
func makeMixed(g *rand.Rand, f frame) *rig {
	r := start(g, 0.20, 0.40)
	x := span(g, 0.2, 0.35) * f.wx * sign(g)
	l := shopLength(g, f.wy)
	a := Vec{f.mid.X + x, f.mid.Y - l/2, r.height}
	r.scene.Sources = tube(a, a.Add(Vec{0, l, 0}), 0.5, 0.5, 0.05, TubeSkin{70}, Vec{0, 0, -1}, span(g, 0.7, 1.3))
	for i := range r.scene.Sources {
		r.scene.Sources[i].Tint = 1
	}
	p := Vec{f.mid.X - x, f.mid.Y + span(g, -0.2, 0.2)*f.wy, r.height * span(g, 0.8, 1.3)}
	r.scene.Sources = append(r.scene.Sources,
		chipBoard(p, hangDown(span(g, 0, 10), span(g, 0, 360)), 0.15, 6, CosPower{logSpan(g, 1, 4)}, 0)...)
	r.say("tube and board side by side, of two spectra")
	return r
}

// makeHalfOut is a bin that sticks out from under its lamp.
func makeHalfOut(g *rand.Rand, f frame) *rig {
	r := start(g, 0.28, 0.45)
	p := Vec{f.mid.X, f.mid.Y, r.height}
	if either(g, 0.5) || f.rows == 1 {
		p.X += span(g, 0.35, 0.6) * f.wx * sign(g)
	} else {
		p.Y += span(g, 0.35, 0.6) * f.wy * sign(g)
	}
	r.scene.Sources = chipBoard(p, Vec{0, 0, -1}, span(g, 0.2, 0.35), 7, CosPower{logSpan(g, 0.7, 1.3)}, 0)
	r.say("lamp's middle at %.0f/%.0f cm from the bin's", (p.X-f.mid.X)*100, (p.Y-f.mid.Y)*100)
	return r
}

// makeSagging is a bar with one chain slipped: one end far lower, and the
// chips turned with it.
func makeSagging(g *rand.Rand, f frame) *rig {
	r := start(g, 0.25, 0.42)
	l := span(g, 0.3, math.Max(0.5, f.wx))
	drop := math.Min(span(g, 0.06, 0.2), r.height-0.12)
	a := Vec{f.mid.X - l/2, f.mid.Y + span(g, -0.2, 0.2)*f.wy, r.height}
	b := Vec{f.mid.X + l/2, a.Y + span(g, -0.1, 0.1), r.height - drop}
	az := 0.0
	n := hangDown(-math.Atan2(drop, l)*180/math.Pi, az)
	r.scene.Sources = bar(a, b, n, 0.02, CosPower{logSpan(g, 0.9, 2.5)}, 1)
	r.say("bar of %.0f cm sagging by %.0f cm", l*100, drop*100)
	return r
}

// makeSideways adds to a high ceiling lamp one that stands beside the bin and
// shines across it, so that a head's cosine response matters most.
func makeSideways(g *rand.Rand, f frame) *rig {
	r := start(g, 0.3, 0.45)
	r.scene.Sources = chipBoard(Vec{f.mid.X, f.mid.Y, r.height + 0.5}, Vec{0, 0, -1}, 0.4, 5, CosPower{1}, 0)
	x := f.mid.X + sign(g)*(f.wx/2+span(g, 0.05, 0.15))
	dir := 1.0
	if x > f.mid.X {
		dir = -1
	}
	a := Vec{x, f.mid.Y + span(g, -0.3, 0.3)*f.wy, span(g, 0.12, 0.25)}
	n := Vec{dir, 0, -span(g, 0.2, 1)}.Unit()
	r.scene.Sources = append(r.scene.Sources,
		bar(a, a.Add(Vec{0, 0, 0.25}), n, 0.02, CosPower{1.2}, span(g, 0.08, 0.35))...)
	r.say("high ceiling board and an upright bar at the side")
	return r
}
