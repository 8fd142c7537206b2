//go:build worlds

package worlds

// Block is an upright box that stops light: a post, a pump, a cable's piece.
type Block struct{ Lo, Hi Vec }

// cuts tells whether the straight way from a to b goes through the block.
func (k *Block) cuts(a, b Vec) bool {
	t0, t1 := 0.0, 1.0
	slab := func(a, d, lo, hi float64) bool {
		if d > -1e-12 && d < 1e-12 {
			return a >= lo && a <= hi
		}
		u, v := (lo-a)/d, (hi-a)/d
		if u > v {
			u, v = v, u
		}
		t0, t1 = max(t0, u), min(t1, v)
		return t0 <= t1
	}
	d := b.Sub(a)
	return slab(a.X, d.X, k.Lo.X, k.Hi.X) && slab(a.Y, d.Y, k.Lo.Y, k.Hi.Y) &&
		slab(a.Z, d.Z, k.Lo.Z, k.Hi.Z)
}

// Scene is everything that makes the light of one bin: lamp pieces, walls and
// things in the way. Shadows are cast on the straight light only; light that
// has met a mirror wall is not tested against blocks (no generator mixes a
// mirror wall with blocks).
type Scene struct {
	Sources []Source
	Box     *Box
	Blocks  []Block

	ready []image
}

// prepare works out mirror images and white walls once.
func (s *Scene) prepare() {
	if s.ready != nil {
		return
	}
	all := append([]Source(nil), s.Sources...)
	all = append(all, whiteWalls(s.Box, s.Sources, 3)...)
	for _, src := range all {
		s.ready = append(s.ready, s.Box.images(src)...)
	}
}

// Seen is what a head at p shows, p being a place on the plane of the plants.
func (s *Scene) Seen(p Vec, ins Instrument) float64 {
	s.prepare()
	p.Z += ins.UpCM / 100
	if len(s.Blocks) == 0 {
		return s.atPoint(p, ins)
	}
	// A head is a disc of about 2 cm, and a shadow's edge can be narrower, so
	// a single point would make shadows sharper than any meter shows them.
	const h = 0.008
	sum := s.atPoint(p, ins)
	for _, d := range []Vec{{h, 0, 0}, {-h, 0, 0}, {0, h, 0}, {0, -h, 0}} {
		sum += s.atPoint(p.Add(d), ins)
	}
	return sum / 5
}

func (s *Scene) atPoint(p Vec, ins Instrument) float64 {
	n := ins.normal()
	sum := 0.0
	for i := range s.ready {
		m := &s.ready[i]
		d := p.Sub(m.P)
		r2 := d.Dot(d)
		if r2 < 1e-8 {
			continue
		}
		dir := d.Unit()
		answer := ins.respond(-dir.Dot(n))
		if answer == 0 || !s.Box.reaches(m, p) || s.hidden(m, p) {
			continue
		}
		sum += m.weight * m.Flux * m.Shape.PerSr(&m.Source, dir) * answer / r2 * ins.weight(m.Tint)
	}
	return sum
}

func (s *Scene) hidden(m *image, p Vec) bool {
	if m.kx != 0 || m.ky != 0 {
		return false
	}
	for i := range s.Blocks {
		if s.Blocks[i].cuts(m.P, p) {
			return true
		}
	}
	return false
}

// dim multiplies all the light: light is additive, so the map keeps its shape.
func (s *Scene) dim(k float64) {
	for i := range s.Sources {
		s.Sources[i].Flux *= k
	}
	for i := range s.ready {
		s.ready[i].Flux *= k
	}
}
