//go:build worlds

package worlds

import (
	"math"
	"math/rand/v2"
)

// makePanel is family (b): one or more square boards of chips, with the faults
// boards have. Chips are wired in strings, so most often a whole string goes.
func makePanel(g *rand.Rand, f frame) *rig {
	r := &rig{height: span(g, 0.20, 0.45), lamp: "led", luxPer: ledLux(g)}
	boards := 1
	if math.Max(f.wx, f.wy) > 0.45 && either(g, 0.6) {
		boards = 2
	}
	side := span(g, 0.12, 0.35)
	chips := between(g, 4, 12)
	m := logSpan(g, 0.9, 5)
	hot := span(g, 0, 1.5) // how much denser the driven current is in the middle
	if either(g, 0.4) {
		hot = 0
	}
	s := &Scene{}
	for b := range boards {
		mid := Vec{f.mid.X + span(g, -0.3, 0.3)*f.wx, f.mid.Y + span(g, -0.3, 0.3)*f.wy, r.height}
		if boards == 2 {
			shift := (float64(b) - 0.5) * f.wx / 2
			if f.wy > f.wx {
				mid.Y = f.mid.Y + (float64(b)-0.5)*f.wy/2
			} else {
				mid.X = f.mid.X + shift
			}
		}
		lean := hangDown(math.Abs(g.NormFloat64())*3, span(g, 0, 360))
		board := chipBoard(mid, lean, side, chips, CosPower{m}, hot)
		breakChips(g, board, chips, r)
		s.Sources = append(s.Sources, board...)
	}
	r.scene = s
	r.say("%d boards of %.0f cm, %d×%d chips, m=%.2f, hot %.2f, at %.0f cm", boards, side*100,
		chips, chips, m, hot, r.height*100)
	return r
}

// chipBoard lays chips on a level square; hot makes a brighter middle.
func chipBoard(mid, n Vec, side float64, chips int, shape Shape, hot float64) []Source {
	var out []Source
	for i := range chips {
		for j := range chips {
			u := (float64(i)+0.5)/float64(chips) - 0.5
			v := (float64(j)+0.5)/float64(chips) - 0.5
			out = append(out, Source{
				P: mid.Add(Vec{u * side, v * side, 0}), N: n, Shape: shape,
				Flux: (1 + hot*math.Exp(-(u*u+v*v)/0.03)) / float64(chips*chips),
			})
		}
	}
	return out
}

// breakChips lets some chips die or fade.
func breakChips(g *rand.Rand, board []Source, chips int, r *rig) {
	switch g.IntN(5) {
	case 0:
		r.say("no dead chip")
	case 1:
		i := g.IntN(len(board))
		board[i].Flux = 0
		r.say("chip %d dead", i)
	case 2:
		row := g.IntN(chips)
		for j := range chips {
			board[row*chips+j].Flux = 0
		}
		r.say("string %d of %d dead", row, chips)
	case 3:
		for range max(1, len(board)/10) {
			board[g.IntN(len(board))].Flux *= span(g, 0.1, 0.7)
		}
		r.say("a tenth of the chips dim")
	default:
		// A quarter board on its own driver channel, driven lower.
		k := span(g, 0.2, 0.7)
		for i := range chips / 2 {
			for j := range chips / 2 {
				board[i*chips+j].Flux *= k
			}
		}
		r.say("one quarter at %.0f %%", k*100)
	}
}
