//go:build worlds

package worlds

import "math"

// Box is the side walls of a bin. Index: 0 at low X, 1 at high X, 2 at low Y,
// 3 at high Y. A wall may be mirror-like (foil), white (diffuse) or just black.
type Box struct {
	Lo, Hi  Vec        // the corners; only X and Y are used
	Top     float64    // height of the walls
	Present [4]bool    // which walls stand
	Mirror  [4]float64 // specular reflectance
	White   [4]float64 // diffuse reflectance
	Orders  int        // how many mirror reflections along each axis are kept
}

// image is a source as seen in the mirrors, kx and ky reflections away.
type image struct {
	Source
	kx, ky int
	weight float64
}

// unfold gives where a coordinate lies after k reflections between two walls,
// and whether directions are turned round.
func unfold(x, lo, hi float64, k int) (float64, bool) {
	w := hi - lo
	if k%2 == 0 {
		return x + float64(k)*w, false
	}
	return 2*lo - x + float64(k+1)*w, true
}

// loss is the product of reflectances for k reflections: the walls take turns,
// beginning, seen from the plant, with the one on the side of the image.
func loss(k int, lo, hi float64) float64 {
	if k == 0 {
		return 1
	}
	first, second := hi, lo
	if k < 0 {
		first, second, k = lo, hi, -k
	}
	return math.Pow(first, float64((k+1)/2)) * math.Pow(second, float64(k/2))
}

func (b *Box) inside(p Vec) bool {
	return p.X >= b.Lo.X && p.X <= b.Hi.X && p.Y >= b.Lo.Y && p.Y <= b.Hi.Y
}

// images lists a source and its mirror images (method of images).
func (b *Box) images(s Source) []image {
	out := []image{{Source: s, weight: 1}}
	if b == nil || s.Still || !b.inside(s.P) {
		return out
	}
	for kx := -b.Orders; kx <= b.Orders; kx++ {
		for ky := -b.Orders; ky <= b.Orders; ky++ {
			w := loss(kx, b.Mirror[0], b.Mirror[1]) * loss(ky, b.Mirror[2], b.Mirror[3])
			if (kx == 0 && ky == 0) || w < 1e-4 {
				continue
			}
			m := image{Source: s, kx: kx, ky: ky, weight: w}
			var fx, fy bool
			m.P.X, fx = unfold(s.P.X, b.Lo.X, b.Hi.X, kx)
			m.P.Y, fy = unfold(s.P.Y, b.Lo.Y, b.Hi.Y, ky)
			if fx {
				m.N.X, m.Axis.X = -m.N.X, -m.Axis.X
			}
			if fy {
				m.N.Y, m.Axis.Y = -m.N.Y, -m.Axis.Y
			}
			out = append(out, m)
		}
	}
	return out
}

// meets tells whether the unfolded ray hits the wall, not the air above it, at
// each of its reflections along one axis.
func (b *Box) meets(p, s, lo, hi float64, k int, pz, sz float64) bool {
	first, step := hi, hi-lo
	if k < 0 {
		first, step, k = lo, lo-hi, -k
	}
	for j := range k {
		t := (first + float64(j)*step - p) / (s - p)
		if pz+t*(sz-pz) > b.Top {
			return false
		}
	}
	return true
}

// reaches tells whether an image's light arrives at p at all.
func (b *Box) reaches(m *image, p Vec) bool {
	if b == nil {
		return true
	}
	if m.kx == 0 && m.ky == 0 {
		return !b.hides(m.P, p)
	}
	if m.P.Z <= b.Top {
		return true
	}
	return b.meets(p.X, m.P.X, b.Lo.X, b.Hi.X, m.kx, p.Z, m.P.Z) &&
		b.meets(p.Y, m.P.Y, b.Lo.Y, b.Hi.Y, m.ky, p.Z, m.P.Z)
}

// hides tells whether a standing wall cuts the straight way from a lamp piece
// that hangs outside the bin.
func (b *Box) hides(s, p Vec) bool {
	cut := func(wall int, a, c, at float64) bool {
		if !b.Present[wall] || (a-at)*(c-at) >= 0 {
			return false
		}
		t := (at - c) / (a - c)
		return p.Z+t*(s.Z-p.Z) < b.Top
	}
	return cut(0, s.X, p.X, b.Lo.X-1e-6) || cut(1, s.X, p.X, b.Hi.X+1e-6) ||
		cut(2, s.Y, p.Y, b.Lo.Y-1e-6) || cut(3, s.Y, p.Y, b.Hi.Y+1e-6)
}
