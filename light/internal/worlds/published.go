//go:build worlds

package worlds

import (
	"math"
	"math/rand/v2"
)

// Batwing is a published shape FROM MEMORY: the sum of two Gaussians in angle
// that I. Moreno and C.-C. Sun give for a batwing LED in "Modeling the
// radiation pattern of LEDs", Optics Express 16 (2008) 1808. The form
// (Gaussians in angle, with ln 2 so that the width is a half width) I am sure
// of; the six numbers are recalled and not checked against the paper.
func Batwing() *Profile {
	rel := make([]float64, 91)
	for d := range rel {
		a := float64(d)
		rel[d] = 0.76*math.Exp(-math.Ln2*sq(a/29)) + 1.10*math.Exp(-math.Ln2*sq((a-45)/21))
		rel[d] *= clamp((90-a)/8, 0, 1) // a flat board hides its own grazing light
	}
	return NewProfile("batwing, two Gaussians (from memory)", 1, rel)
}

// EvenFloor is the textbook batwing I ∝ cos⁻³: E = I cos³/h², so one such lamp
// lights a flat floor evenly out to its cut. It is a relation, not a table.
func EvenFloor(cutDeg float64) *Profile {
	rel := make([]float64, 91)
	for d := range rel {
		a := float64(d)
		rel[d] = math.Pow(math.Cos(rad(math.Min(a, cutDeg))), -3) * clamp((cutDeg+6-a)/12, 0, 1)
	}
	return NewProfile("even-floor batwing", 1, rel)
}

// Lensed is the cosine power of a half angle; the array formula
// m = -ln 2 / ln cos θ½ is in Moreno, Avendaño-Alejo and Tzonchev, Applied
// Optics 45 (2006) 2265 (from memory), and follows from the definition anyway.
func Lensed(halfDeg float64) Shape { return CosPower{PowerOfHalfAngle(halfDeg)} }

func sq(v float64) float64 { return v * v }

// makePublished is family (e): few strong lensed LEDs on a bar or a square.
func makePublished(g *rand.Rand, f frame) *rig {
	r := &rig{height: span(g, 0.20, 0.45), lamp: "led", luxPer: ledLux(g)}
	var shape Shape
	switch g.IntN(3) {
	case 0:
		shape = Batwing()
		r.say("emitter: batwing of Moreno and Sun 2008, from memory")
	case 1:
		cut := span(g, 35, 60)
		shape = EvenFloor(cut)
		r.say("emitter: cos⁻³ batwing, cut %.0f°", cut)
	default:
		half := span(g, 25, 45)
		shape = Lensed(half)
		r.say("emitter: lens, half angle %.0f°", half)
	}
	nx := clampInt(int(math.Round(f.wx/span(g, 0.12, 0.3))), 1, 4)
	ny := clampInt(int(math.Round(f.wy/span(g, 0.12, 0.3))), 1, 4)
	dx, dy := span(g, -0.2, 0.2)*f.wx, span(g, -0.2, 0.2)*f.wy
	lean := hangDown(math.Abs(g.NormFloat64())*2, span(g, 0, 360))
	s := &Scene{}
	for i := range nx {
		for j := range ny {
			p := Vec{
				f.mid.X + dx + (float64(i)-float64(nx-1)/2)*f.wx/float64(nx),
				f.mid.Y + dy + (float64(j)-float64(ny-1)/2)*f.wy/float64(ny), r.height,
			}
			// Each lens sits on four dies, some millimetres apart.
			for q := range 4 {
				e := Vec{0.004 * float64(q%2*2-1), 0.004 * float64(q/2*2-1), 0}
				s.Sources = append(s.Sources, Source{
					P: p.Add(e), N: lean, Shape: shape,
					Flux: span(g, 0.92, 1.08),
				})
			}
		}
	}
	r.scene = s
	r.say("%d×%d lenses at %.0f cm, off %.0f/%.0f cm", nx, ny, r.height*100, dx*100, dy*100)
	return r
}
