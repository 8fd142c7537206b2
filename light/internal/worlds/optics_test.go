//go:build worlds

package worlds

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s: got %.6g, want %.6g within %.2g", what, got, want, rel)
	}
}

// TestInverseSquare checks E = I0·cos^(m+3)/h² for a bare point source.
func TestInverseSquare(t *testing.T) {
	for _, m := range []float64{0.8, 1, 2.5, 6} {
		at := func(h, off float64) float64 {
			s := &Scene{Sources: []Source{{P: Vec{0, 0, h}, N: Vec{0, 0, -1}, Flux: 10, Shape: CosPower{m}}}}
			return s.Seen(Vec{off, 0, 0}, Instrument{})
		}
		near(t, "level below", at(0.3, 0), 10*(m+1)/(2*math.Pi)/0.09, 1e-9)
		near(t, "double distance", at(0.3, 0)/at(0.6, 0), 4, 1e-9)
		c := math.Cos(math.Atan2(0.2, 0.3))
		near(t, "off axis", at(0.3, 0.2)/at(0.3, 0), math.Pow(c, m+3), 1e-9)
	}
}

// TestFluxIsOne integrates each shape over the sphere.
func TestFluxIsOne(t *testing.T) {
	shapes := map[string]Shape{
		"lambert": CosPower{1}, "cos^3.3": CosPower{3.3}, "tube": TubeSkin{},
		"batwing": Batwing(), "even floor": EvenFloor(50), "lens": Lensed(30),
	}
	src := &Source{N: Vec{0, 0, -1}, Axis: Vec{1, 0, 0}}
	for name, s := range shapes {
		const n = 500
		sum := 0.0
		for i := range n {
			th := (float64(i) + 0.5) / n * math.Pi
			for j := range 2 * n {
				ph := (float64(j) + 0.5) / (2 * n) * 2 * math.Pi
				dir := Vec{math.Sin(th) * math.Cos(ph), math.Sin(th) * math.Sin(ph), math.Cos(th)}
				sum += s.PerSr(src, dir) * math.Sin(th) * (math.Pi / n) * (math.Pi / n)
			}
		}
		near(t, name, sum, 1, 0.003)
	}
	near(t, "half angle", math.Pow(math.Cos(rad(40)), PowerOfHalfAngle(40)), 0.5, 1e-9)
}

// TestEvenFloor: the cos⁻³ lamp is flat inside its cut.
func TestEvenFloor(t *testing.T) {
	s := &Scene{Sources: []Source{{P: Vec{0, 0, 0.3}, N: Vec{0, 0, -1}, Flux: 1, Shape: EvenFloor(50)}}}
	mid := s.Seen(Vec{}, Instrument{})
	for _, x := range []float64{0.05, 0.12, 0.2, 0.26} {
		near(t, "flat floor", s.Seen(Vec{x, 0, 0}, Instrument{}), mid, 0.005)
	}
}

// TestLongTube: a line far longer than its distance falls as 1/h.
func TestLongTube(t *testing.T) {
	at := func(h float64) float64 {
		s := &Scene{Sources: tube(Vec{-10, 0, h}, Vec{10, 0, h}, 0, 0, 0.05, TubeSkin{}, Vec{0, 0, -1}, 1)}
		return s.Seen(Vec{}, Instrument{})
	}
	near(t, "1/h", at(0.2)/at(0.4), 2, 0.005)
}

func fourWalls(top float64, orders int) *Box {
	b := &Box{Lo: Vec{0, 0, 0}, Hi: Vec{0.4, 0.3, 0}, Top: top, Orders: orders}
	b.Present = [4]bool{true, true, true, true}
	return b
}

// floorSum is all the light that lands on the floor of the box.
func floorSum(s *Scene, b *Box, ins Instrument) float64 {
	const n = 60
	sum := 0.0
	for i := range n {
		for j := range n {
			p := Vec{b.Hi.X * (float64(i) + 0.5) / n, b.Hi.Y * (float64(j) + 0.5) / n, 0}
			sum += s.Seen(p, ins) * b.Hi.X / n * b.Hi.Y / n
		}
	}
	return sum
}

// TestMirrorEnergy: with perfect mirrors all round nothing is lost, so what
// the lamp sends the floor gets; with poor ones less, with none least.
func TestMirrorEnergy(t *testing.T) {
	last := 0.0
	for _, rho := range []float64{0, 0.5, 0.9, 1} {
		b := fourWalls(0.3, 12)
		b.Mirror = [4]float64{rho, rho, rho, rho}
		s := &Scene{Box: b, Sources: []Source{{P: Vec{0.1, 0.12, 0.25}, N: hangDown(8, 30), Flux: 5, Shape: CosPower{1.5}}}}
		got := floorSum(s, b, Instrument{})
		if got <= last {
			t.Errorf("mirror %.1f gives %.3f, not more than %.3f", rho, got, last)
		}
		last = got
	}
	near(t, "perfect mirrors", last, 5, 0.012)
}

// TestMirrorTop: light that would be mirrored above a low wall is not.
func TestMirrorTop(t *testing.T) {
	seen := func(top float64) float64 {
		b := &Box{Hi: Vec{1, 1, 0}, Top: top, Orders: 1}
		b.Present[0], b.Mirror[0] = true, 1
		s := &Scene{Box: b, Sources: []Source{{P: Vec{0.2, 0.5, 0.4}, N: Vec{0, 0, -1}, Flux: 1, Shape: CosPower{1}}}}
		return s.Seen(Vec{0.2, 0.5, 0}, Instrument{})
	}
	bare := &Scene{Sources: []Source{
		{P: Vec{0.2, 0.5, 0.4}, N: Vec{0, 0, -1}, Flux: 1, Shape: CosPower{1}},
		{P: Vec{-0.2, 0.5, 0.4}, N: Vec{0, 0, -1}, Flux: 1, Shape: CosPower{1}},
	}}
	near(t, "one mirror is a second lamp", seen(0.3), bare.Seen(Vec{0.2, 0.5, 0}, Instrument{}), 1e-9)
	bare.Sources, bare.ready = bare.Sources[:1], nil
	near(t, "mirror too low", seen(0.1), bare.Seen(Vec{0.2, 0.5, 0}, Instrument{}), 1e-9)
}

// TestWhiteEnergy: with walls that swallow nothing, floor and open top
// together get what the lamp sends.
func TestWhiteEnergy(t *testing.T) {
	b := fourWalls(0.3, 0)
	b.White = [4]float64{1, 1, 1, 1}
	lamp := []Source{{P: Vec{0.15, 0.15, 0.299}, N: Vec{0, 0, -1}, Flux: 5, Shape: CosPower{1}}}
	s := &Scene{Sources: append(lamp, whiteWalls(b, lamp, 40)...)}
	floor := floorSum(s, b, Instrument{})
	top := floorSum(s, b, Instrument{UpCM: 30.01, TiltDeg: 180})
	t.Logf("floor %.3f, out of the top %.3f", floor, top)
	near(t, "white walls", floor+top, 5, 0.04)
}

// TestSymmetry: a symmetric bin has a symmetric map, walls and all.
func TestSymmetry(t *testing.T) {
	f := newFrame(5, 6, [2]float64{5, 6})
	for _, mirror := range []bool{true, false} {
		b := &Box{Lo: Vec{f.mid.X - 0.2, f.mid.Y - 0.15, 0}, Hi: Vec{f.mid.X + 0.2, f.mid.Y + 0.15, 0}, Top: 0.243, Orders: 3}
		for i := range 4 {
			b.Present[i] = true
			if mirror {
				b.Mirror[i] = 0.8
			} else {
				b.White[i] = 0.8
			}
		}
		s := &Scene{Box: b}
		for _, y := range []float64{-0.08, 0.08} {
			s.Sources = append(s.Sources, bar(Vec{f.mid.X - 0.15, f.mid.Y + y, 0.3}, Vec{f.mid.X + 0.15, f.mid.Y + y, 0.3},
				Vec{0, 0, -1}, 0.02, CosPower{1.4}, 1)...)
		}
		k := Rack{Rows: 5, Columns: 6, PitchCM: [2]float64{5, 6}, scene: s}
		m := k.Map(Instrument{})
		for r := range 5 {
			for c := range 6 {
				near(t, "left and right", m[r][c], m[r][5-c], 1e-6)
				near(t, "front and back", m[r][c], m[4-r][c], 1e-6)
			}
		}
		near(t, "tilt left and right", k.See(2, 1, Instrument{TiltDeg: 9, TiltAzDeg: 0}),
			k.See(2, 4, Instrument{TiltDeg: 9, TiltAzDeg: 180}), 1e-6)
	}
}

// TestShadow: a post hides the lamp behind it and nothing else.
func TestShadow(t *testing.T) {
	lamp := []Source{{P: Vec{0, 0, 0.3}, N: Vec{0, 0, -1}, Flux: 1, Shape: CosPower{1}}}
	with := &Scene{Sources: lamp, Blocks: []Block{{Vec{0.1, -0.05, 0}, Vec{0.12, 0.05, 0.3}}}}
	bare := &Scene{Sources: lamp}
	if v := with.Seen(Vec{0.15, 0, 0}, Instrument{}); v != 0 {
		t.Errorf("light %.3g behind the post", v)
	}
	near(t, "other side", with.Seen(Vec{-0.15, 0, 0}, Instrument{}), bare.Seen(Vec{-0.15, 0, 0}, Instrument{}), 0.02)
}

// TestRackRepeats: a seed is a world; ratios begin with one at the sensor; and
// lamps of every family give light that is positive and finite.
func TestRackRepeats(t *testing.T) {
	for _, f := range Families() {
		a, _ := NewRack(f, 4, 6, 5)
		b, _ := NewRack(f, 4, 6, 5)
		q := a.Ratios()
		near(t, f+" sensor", q[a.Sensor[0]][a.Sensor[1]], 1, 0)
		for r := range a.True {
			for c, v := range a.True[r] {
				if v != b.True[r][c] || !(v > 0) || math.IsInf(v, 0) {
					t.Fatalf("%s: place %d,%d is %v and %v", f, r, c, v, b.True[r][c])
				}
			}
		}
		near(t, f+" dimming keeps the map", a.See(1, 1, Instrument{}), a.True[1][1], 1e-9)
	}
}
