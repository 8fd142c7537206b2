package correlate

import (
	"errors"
	"math"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/model"
)

const (
	// deals is how many random deals a test by permutation draws.
	deals = 9999
	// mostRows is the number of rows beyond which outcomes are fitted one after another:
	// a model of so many takes gigabytes.
	mostRows = 50_000
)

// position looks for a pattern in where the plants stood.
func (s *sample) position(r *OutcomeResult, b both) {
	if s.in.Row == nil {
		return
	}
	near, groups := s.neighbours()
	p := &Position{}
	fit := func(strata []*model.Stratum, use string) (a model.Autocorrelation, ok bool) {
		m, ok := strata[0].Model.(model.Permutable)
		if !ok {
			return a, false
		}
		return model.Moran(m, near, groups, deals, s.opts.seedFor(use, s.out.Name, s.ofText()))
	}
	if a, ok := fit(b.without, "position"); ok {
		p.MoranI, p.P = analysis.Known(a.I), analysis.Known(a.P)
		if a.Deals-1 < deals {
			s.say("position", "", "residuals were dealt to the places anew %s", dealtTimes(a.Deals-1, ", within bins"))
		}
	} else {
		s.say("position", "", "whether neighbours are alike could not be tested: no plant has a neighbour, or no spread is left")
	}
	if b.lit() {
		if a, ok := fit(b.with, "position after light"); ok {
			p.MoranIAfterLight, p.PAfterLight = analysis.Known(a.I), analysis.Known(a.P)
		}
	}
	p.Edge = s.edge(r, b.with[0])
	if p.MoranI != nil || p.Edge != nil {
		r.Position = p
	}
}

// neighbours are the sample's rows that share an edge, and their bins.
func (s *sample) neighbours() (model.Neighbours, []int) {
	row, column := make([]int, len(s.rows)), make([]int, len(s.rows))
	var bins []int
	for k, i := range s.rows {
		row[k], column[k] = s.in.Row[i], s.in.Column[i]
		if s.in.Bin != nil {
			bins = append(bins, s.in.Bin.Codes[i])
		}
	}
	return model.SharedEdges(bins, row, column), bins
}

// edge fits the difference between edge plants and inner ones beside
// everything else, light included.
func (s *sample) edge(r *OutcomeResult, plants *model.Stratum) *Edge {
	onEdge := s.onEdge()
	indicator := make([]float64, len(s.rows))
	edge := 0
	for k, i := range s.rows {
		if onEdge[i] {
			indicator[k] = 1
			edge++
		}
	}
	if edge == 0 || edge == len(s.rows) {
		s.say("edge_vs_light", "", "all plants that were analysed stand alike, at the edge or inside: the edge cannot be looked at")
		return nil
	}
	e, vif, err := plants.Beside("edge", indicator)
	if err != nil {
		alike, ok := errors.AsType[*model.CollinearError](err)
		r.EdgeIsLight = ok && slices.ContainsFunc(alike.Of, func(c model.Column) bool { return c.Term == model.LightTerm })
		s.say("edge_vs_light", "", "the edge could not be looked at: %v", err)
		return nil
	}
	result := &Edge{Estimate: analysis.Known(e.Value), CI95: analysis.Interval(e), VIF: analysis.Known(vif)}
	if e.OK() {
		result.P = analysis.Known(e.P())
	}
	c := Check{Check: "edge_vs_light", Value: analysis.Known(vif), Says: "the edge can be told apart from what else is in the model"}
	switch {
	case s.terms.Light == nil:
		c.Says = "light is not in the model: what the edge shows may be light"
	case vif > analysis.Inseparable:
		c.Says = "edge and light can't be told apart here: edge plants are the ones with other light"
	default:
		c.Says = "edge and light can be told apart here"
	}
	s.checks = append(s.checks, c)
	return result
}

// onEdge tells of every row of the input whether it stands on its bin's rim.
func (s *sample) onEdge() []bool {
	in := s.in
	if in.Edge != nil {
		return in.Edge
	}
	type rim struct{ top, bottom, left, right int }
	rims := map[int]rim{}
	binOf := func(i int) int {
		if in.Bin == nil {
			return 0
		}
		return in.Bin.Codes[i]
	}
	for i := range in.Plants {
		if in.Row[i] <= 0 || in.Column[i] <= 0 {
			continue
		}
		r, ok := rims[binOf(i)]
		if !ok {
			r = rim{math.MaxInt, 0, math.MaxInt, 0}
		}
		rims[binOf(i)] = rim{min(r.top, in.Row[i]), max(r.bottom, in.Row[i]), min(r.left, in.Column[i]), max(r.right, in.Column[i])}
	}
	edge := make([]bool, len(in.Plants))
	for i := range in.Plants {
		r := rims[binOf(i)]
		edge[i] = in.Row[i] == r.top || in.Row[i] == r.bottom || in.Column[i] == r.left || in.Column[i] == r.right
	}
	return edge
}
