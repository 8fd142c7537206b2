//go:build worlds

package worlds

import "math"

// patch is a small piece of a white wall.
type patch struct {
	p, n  Vec
	area  float64
	white float64
	lit   float64 // light falling on it straight from the lamps
	out   float64 // light leaving it, all reflections summed
}

// patches cuts the white walls into pieces of about side metres.
func (b *Box) patches(side float64) []patch {
	var out []patch
	wall := func(i int, from, to, n Vec) {
		if !b.Present[i] || b.White[i] == 0 {
			return
		}
		long := to.Sub(from).Len()
		nu, nz := int(math.Ceil(long/side)), int(math.Ceil(b.Top/side))
		for u := range nu {
			for z := range nz {
				p := lerp(from, to, (float64(u)+0.5)/float64(nu))
				p.Z = (float64(z) + 0.5) / float64(nz) * b.Top
				out = append(out, patch{
					p: p, n: n, white: b.White[i],
					area: long / float64(nu) * b.Top / float64(nz),
				})
			}
		}
	}
	lo, hi := b.Lo, b.Hi
	wall(0, Vec{lo.X, lo.Y, 0}, Vec{lo.X, hi.Y, 0}, Vec{1, 0, 0})
	wall(1, Vec{hi.X, lo.Y, 0}, Vec{hi.X, hi.Y, 0}, Vec{-1, 0, 0})
	wall(2, Vec{lo.X, lo.Y, 0}, Vec{hi.X, lo.Y, 0}, Vec{0, 1, 0})
	wall(3, Vec{lo.X, hi.Y, 0}, Vec{hi.X, hi.Y, 0}, Vec{0, -1, 0})
	return out
}

// give is the share of what leaves patch a that lands on each m² of patch b
// (Lambert). Two patches in a corner are not small beside their distance; the
// disc's formula, with the area added below, keeps them from giving too much.
func give(a, b *patch) float64 {
	d := b.p.Sub(a.p)
	r2 := d.Dot(d)
	if r2 < 1e-9 {
		return 0
	}
	ca, cb := d.Dot(a.n), -d.Dot(b.n)
	if ca <= 0 || cb <= 0 {
		return 0
	}
	return ca * cb / (r2 * (math.Pi*r2 + a.area)) * a.area
}

// whiteWalls turns diffuse walls into extra Lambert sources, so that the rest
// of the optics need not know about them. Some rounds are enough: each loses
// what the wall swallows and what escapes up and down.
func whiteWalls(b *Box, lamps []Source, rounds int) []Source {
	if b == nil {
		return nil
	}
	ps := b.patches(0.03)
	for i := range ps {
		for j := range lamps {
			ps[i].lit += land(&lamps[j], ps[i].p.Add(ps[i].n.Scale(1e-5)), ps[i].n, b)
		}
		ps[i].out = ps[i].white * ps[i].lit
	}
	for range rounds {
		next := make([]float64, len(ps))
		for i := range ps {
			next[i] = ps[i].lit
			for j := range ps {
				next[i] += ps[j].out * give(&ps[j], &ps[i])
			}
		}
		for i := range ps {
			ps[i].out = ps[i].white * next[i]
		}
	}
	out := make([]Source, 0, len(ps))
	for _, p := range ps {
		out = append(out, Source{
			P: p.p, N: p.n, Flux: p.out * p.area,
			Shape: CosPower{1}, Still: true,
		})
	}
	return out
}

// land is the plain point-source law E = I cos / d², with the wall in the way
// only for lamp pieces outside the bin.
func land(s *Source, p, n Vec, b *Box) float64 {
	d := p.Sub(s.P)
	r := d.Len()
	dir := d.Scale(1 / r)
	cos := -dir.Dot(n)
	if cos <= 0 || (b != nil && b.hides(s.P, p)) {
		return 0
	}
	return s.Flux * s.Shape.PerSr(s, dir) * cos / (r * r)
}
