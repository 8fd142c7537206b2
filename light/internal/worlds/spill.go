//go:build worlds

package worlds

import (
	"math"
	"math/rand/v2"
)

// makeSpill is family (d): an honest lamp, a neighbour's lamp behind one side,
// and one thing that throws a sharp shadow over one to four places.
func makeSpill(g *rand.Rand, f frame) *rig {
	r := &rig{height: span(g, 0.22, 0.45), lamp: "led", luxPer: ledLux(g)}
	s := &Scene{}
	m := logSpan(g, 0.9, 2.5)
	mid := Vec{f.mid.X + span(g, -0.15, 0.15)*f.wx, f.mid.Y + span(g, -0.15, 0.15)*f.wy, r.height}
	side := math.Min(span(g, 0.12, 0.3), 0.8*math.Max(f.wx, f.wy))
	s.Sources = chipBoard(mid, Vec{0, 0, -1}, side, 6, CosPower{m}, 0)
	neighbour(g, f, r, s)
	// A shadow's size depends on everything at once, so try places until it
	// covers one to four cells; the fall-back is the last try.
	bare := lightOver(s, f)
	first := g.IntN(4) // a kind is chosen before its place, so that easy kinds do not crowd out
	for try := range 80 {
		what, blocks := obstacle(g, f, r.height, (first+try/20)%4)
		s.Blocks = blocks
		n := darker(bare, lightOver(s, f), 0.10)
		fits := n >= 1 && n <= min(4, f.rows*f.cols/3)
		if fits || try == 79 {
			r.say("%s over %d places", what, n)
			break
		}
	}
	r.scene = s
	r.say("board %.0f cm at %.0f cm, m=%.2f", side*100, r.height*100, m)
	return r
}

// neighbour hangs the next bin's lamp past one side, often at another height
// and of another spectrum.
func neighbour(g *rand.Rand, f frame, r *rig, s *Scene) {
	if either(g, 0.25) {
		r.say("no neighbour")
		return
	}
	away := span(g, 0.08, 0.35)
	h := r.height * span(g, 0.7, 1.4)
	p := Vec{f.mid.X, f.mid.Y, h}
	wall := g.IntN(4)
	switch wall {
	case 0:
		p.X -= f.wx/2 + away
	case 1:
		p.X += f.wx/2 + away
	case 2:
		p.Y -= f.wy/2 + away
	default:
		p.Y += f.wy/2 + away
	}
	k, tint := span(g, 0.3, 1.3), g.IntN(2)
	next := chipBoard(p, Vec{0, 0, -1}, 0.25, 5, CosPower{1.2}, 0)
	for i := range next {
		next[i].Flux *= k
		next[i].Tint = tint
	}
	s.Sources = append(s.Sources, next...)
	r.say("neighbour's lamp %.0f cm past side %d, strength %.2f, tint %d", away*100, wall, k, tint)
}

// obstacle draws one thing and where it stands.
func obstacle(g *rand.Rand, f frame, lamp float64, kind int) (string, []Block) {
	// Corners between places: nothing can stand where a plant stands.
	x := (float64(between(g, -1, f.cols-1)) + 0.5) * f.px
	y := (float64(between(g, -1, f.rows-1)) + 0.5) * f.py
	upright := func(wx, wy, h float64) []Block {
		return []Block{{Vec{x - wx/2, y - wy/2, -0.02}, Vec{x + wx/2, y + wy/2, h}}}
	}
	switch kind {
	case 0:
		w := math.Min(span(g, 0.02, 0.035), math.Min(f.px, f.py)-0.018)
		return "post", upright(w, w, lamp*1.1)
	case 1:
		w := math.Min(f.px, f.py) - 0.018
		return "pump", upright(w, w, span(g, 0.08, 0.15))
	case 2:
		// A tank stands outside the bin, along a part of one side.
		h := span(g, 0.10, 0.28)
		lo := Vec{x, -f.py/2 - 0.05, -0.02}
		return "reservoir wall", []Block{{lo, Vec{x + span(g, 1, 3)*f.px, -f.py/2 - 0.01, h}}}
	default:
		return "cable", cable(g, f)
	}
}

// cable hangs a bundle of leads slantwise and low over the plants, as a chain
// of little boxes.
func cable(g *rand.Rand, f frame) []Block {
	d := span(g, 0.008, 0.025)
	a := f.place(g.IntN(f.rows), g.IntN(f.cols)).Add(Vec{span(g, -.02, .02), span(g, -.02, .02), span(g, 0.03, 0.12)})
	dir := rad(span(g, 0, 180))
	long := span(g, 0.08, 0.25)
	b := a.Add(Vec{long * math.Cos(dir), long * math.Sin(dir), span(g, 0, 0.08)})
	n := int(math.Ceil(long / d))
	var out []Block
	for i := range n + 1 {
		p := lerp(a, b, float64(i)/float64(n))
		h := Vec{d / 2, d / 2, d / 2}
		out = append(out, Block{p.Sub(h), p.Add(h)})
	}
	return out
}

func lightOver(s *Scene, f frame) []float64 {
	var out []float64
	for r := range f.rows {
		for c := range f.cols {
			out = append(out, s.Seen(f.place(r, c), Instrument{}))
		}
	}
	return out
}

// darker counts the places that lost at least this share.
func darker(bare, now []float64, share float64) int {
	n := 0
	for i := range bare {
		if now[i] < bare[i]*(1-share) {
			n++
		}
	}
	return n
}
