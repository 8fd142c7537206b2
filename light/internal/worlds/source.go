//go:build worlds

package worlds

import "math"

// Source is one small piece of a lamp. Pieces are small beside the distance to
// the plants, so each obeys the inverse-square law by itself; a lamp is a sum.
type Source struct {
	P     Vec     // where it is
	N     Vec     // its optical axis, pointing out of the lamp
	Axis  Vec     // along the tube, for linear sources only
	Flux  float64 // photons sent out in total, µmol s⁻¹
	Shape Shape   // how the flux spreads over directions
	Tint  int     // which of two spectra; a cheap meter weighs them unlike
	Still bool    // a wall patch: already holds the reflections, not imaged
}

// Shape says what part of the flux goes into one steradian along dir, a unit
// vector leaving the source.
type Shape interface {
	PerSr(s *Source, dir Vec) float64
}

// CosPower is the textbook LED law I = I0 cos^m; M = 1 is Lambert's.
type CosPower struct{ M float64 }

// PerSr is normalised so that the half space holds the flux exactly once.
func (c CosPower) PerSr(s *Source, dir Vec) float64 {
	k := dir.Dot(s.N)
	if k <= 0 {
		return 0
	}
	if c.M == 1 {
		return k / math.Pi
	}
	return (c.M + 1) / (2 * math.Pi) * math.Pow(k, c.M)
}

// PowerOfHalfAngle turns "half intensity at this angle", the way data sheets
// put it, into the exponent: cos^m(half) = 1/2.
func PowerOfHalfAngle(deg float64) float64 { return -math.Ln2 / math.Log(math.Cos(rad(deg))) }

// TubeSkin is a glowing cylinder whose skin obeys Lambert's law: seen from the
// side it is bright, seen along its axis it vanishes, I ∝ sin α. The integral
// of sin α over the whole sphere is π².
type TubeSkin struct {
	CutDeg float64 // where the trough's edge hides the tube; 0 = no trough
}

// PerSr gives the bare tube's law below the trough's edge, with a soft edge
// because a tube is some 2 to 3 cm thick and is hidden bit by bit.
func (t TubeSkin) PerSr(s *Source, dir Vec) float64 {
	along := dir.Dot(s.Axis)
	sin := math.Sqrt(math.Max(0, 1-along*along))
	if t.CutDeg == 0 {
		return sin / (math.Pi * math.Pi)
	}
	side := dir.Sub(s.Axis.Scale(along))
	if side.Len() < 1e-9 {
		return 0
	}
	ang := math.Acos(clamp(side.Unit().Dot(s.N), -1, 1)) * 180 / math.Pi
	return sin / (math.Pi * math.Pi) * clamp((t.CutDeg+4-ang)/8, 0, 1)
}

// Profile is a measured or published table: intensity at whole steps of angle
// from the axis, the same all round.
type Profile struct {
	Name string
	Step float64   // degrees between entries
	Rel  []float64 // relative intensity, first entry on the axis
	norm float64   // one over the flux of the relative table
}

// NewProfile integrates the table once, so that flux keeps its meaning.
func NewProfile(name string, step float64, rel []float64) *Profile {
	p := &Profile{Name: name, Step: step, Rel: rel}
	const n = 3600
	end := step * float64(len(rel)-1)
	sum := 0.0
	for i := range n {
		a := (float64(i) + 0.5) * end / n
		sum += p.rel(a) * math.Sin(rad(a)) * rad(end/n)
	}
	p.norm = 1 / (2 * math.Pi * sum)
	return p
}

func (p *Profile) rel(deg float64) float64 {
	at := deg / p.Step
	i := int(at)
	if i >= len(p.Rel)-1 {
		return 0
	}
	f := at - float64(i)
	return p.Rel[i]*(1-f) + p.Rel[i+1]*f
}

// PerSr reads the table between its entries.
func (p *Profile) PerSr(s *Source, dir Vec) float64 {
	k := clamp(dir.Dot(s.N), -1, 1)
	if k <= 0 {
		return 0
	}
	return p.norm * p.rel(math.Acos(k)*180/math.Pi)
}
