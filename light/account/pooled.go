package account

import (
	"context"
	"math"
	"slices"

	"parstead/light"
	"parstead/light/dli"
	"parstead/light/field"
)

// pooled is what several sensors of a bin say together: at every instant the mean
// of those that read, weighted by precision. If scaled, each is first divided by
// the light map's ratio at its place, so that the pooled PPFD is that for which the
// map says 1.
type pooled struct {
	b      *bin
	tracks []*track
	scaled bool
	curves []*loaded               // of tracks, around the window last asked for
	kept   [][]*loaded             // of tracks, the last few
	days   map[light.Date]dayLight // of whole light days, as far as they were asked for
	under  *field.Map              // that ratios were last asked for, and those
	ratio  []float64
}

// The limits of what pooled sensors keep of their tracks' curves.
const (
	keptCurves = 3  // stretches of days, of each track
	mostTracks = 8  // beyond which days are read one by one
	mostDays   = 31 // likewise

	mostKept = 1 << 19 // readings of a bin's tracks over the frame
)

// loaded is a track's curve over whole light days.
type loaded struct {
	from, until int64
	curve       dli.Curve
	series      *light.Series
}

// dayLight is the pooled sensors' own light on a whole light day.
type dayLight struct {
	mol     float64
	covered float64 // share of the day
}

// part is an amount of light over a number of ns.
type part struct {
	mol   float64
	ns    int64
	error float64 // absolute, mol m⁻²: of the sensors' scale
}

func (p *part) add(o part) {
	p.mol += o.mol
	p.ns += o.ns
	p.error += o.error
}

// relative is the error of the sensors' scale as a share.
func (p part) relative(otherwise float64) float64 {
	if p.mol > 0 {
		return p.error / p.mol
	}
	return otherwise
}

// pool adds up what tracks say of one amount of light, weighted by precision.
type pool struct {
	sum, weights float64
	own          float64 // sum of the squares of weight × error of a track's own
}

func (p *pool) add(t *track, mol float64) {
	p.sum += t.weight * mol
	p.weights += t.weight
	p.own += square(t.weight * t.ownError)
}

// over is the pooled light over a stretch in ns.
func (p *pool) over(ns int64) part {
	mol := p.sum / p.weights
	return part{mol, ns, mol * math.Sqrt(p.own) / p.weights}
}

func newPooled(b *bin, tracks []*track, scaled bool) *pooled {
	return &pooled{b: b, tracks: tracks, scaled: scaled, curves: make([]*loaded, len(tracks)), kept: make([][]*loaded, len(tracks)), days: map[light.Date]dayLight{}}
}

// ratios are what each track is divided by, and 0 for one that is not used: a
// sensor where the map does not say its ratio, beside others where it does.
func (pl *pooled) ratios(m *field.Map) []float64 {
	if pl.ratio != nil && pl.under == m {
		return pl.ratio
	}
	ratios := make([]float64, len(pl.tracks))
	pl.under, pl.ratio = m, ratios
	some := false
	for i, t := range pl.tracks {
		ratios[i] = 1
		if pl.scaled && m != nil && !m.OwnScale {
			if ratios[i] = field.At(pl.b.Bin, m.Ratio, t.position); math.IsNaN(ratios[i]) {
				ratios[i] = 0
			}
		}
		some = some || ratios[i] > 0
	}
	if !some {
		for i := range ratios {
			ratios[i] = 1
		}
	}
	return ratios
}

// cell combines what the tracks integrated over cell c. Gaps are where none of
// them reads.
func (pl *pooled) cell(ctx context.Context, c int) (light part, gaps []dli.Gap, err error) {
	from, until := pl.b.cells[c].from, pl.b.cells[c].until
	ratios := pl.ratios(pl.b.cells[c].m)
	var sum pool
	readers, only, broken := 0, -1, false
	for i, t := range pl.tracks {
		covered := t.lights[c].Covered
		if ratios[i] == 0 || covered == 0 {
			continue
		}
		readers++
		only = i
		broken = broken || covered < until-from
		sum.add(t, float64(t.lights[c].Mol)/ratios[i])
	}
	switch {
	case readers == 0:
		return part{}, []dli.Gap{{From: from, Until: until}}, nil
	case !broken:
		return sum.over(until - from), nil, nil
	case readers == 1:
		t := pl.tracks[only]
		return sum.over(t.lights[c].Covered), clip(t.gaps, from, until), nil
	}
	return pl.window(ctx, from, until, pl.b.cells[c].m)
}

// clip is the part of the gaps that lies in a window.
func clip(gaps []dli.Gap, from, until int64) []dli.Gap {
	i, _ := slices.BinarySearchFunc(gaps, from, func(g dli.Gap, t int64) int {
		if g.Until <= t {
			return -1
		}
		return 1
	})
	var inside []dli.Gap
	for ; i < len(gaps) && gaps[i].From < until; i++ {
		inside = append(inside, dli.Gap{From: max(gaps[i].From, from), Until: min(gaps[i].Until, until)})
	}
	return inside
}

// window combines the tracks over any window, as under map m: cut wherever a
// sensor falls silent or comes back, so that each piece has the same sensors.
func (pl *pooled) window(ctx context.Context, from, until int64, m *field.Map) (light part, gaps []dli.Gap, err error) {
	if err := pl.load(ctx, from, until); err != nil {
		return part{}, nil, err
	}
	ratios := pl.ratios(m)
	edges := []int64{from, until}
	for i := range pl.tracks {
		if ratios[i] == 0 {
			continue
		}
		for _, g := range clip(pl.curves[i].curve.Gaps, from, until) {
			edges = append(edges, g.From, g.Until)
		}
	}
	slices.Sort(edges)
	edges = slices.Compact(edges)
	for k, end := range edges[1:] {
		start := edges[k]
		var sum pool
		for i, t := range pl.tracks {
			if ratios[i] == 0 {
				continue
			}
			if l := pl.curves[i].curve.Between(start, end); l.Covered == end-start {
				sum.add(t, float64(l.Mol)/ratios[i])
			}
		}
		if sum.weights == 0 {
			if n := len(gaps); n > 0 && gaps[n-1].Until == start {
				gaps[n-1].Until = end
			} else {
				gaps = append(gaps, dli.Gap{From: start, Until: end})
			}
			continue
		}
		light.add(sum.over(end - start))
	}
	return light, gaps, nil
}

// at is the pooled PPFD at an instant; NaN where no track reads.
func (pl *pooled) at(ctx context.Context, t int64, m *field.Map) (float64, error) {
	if err := pl.load(ctx, t, t+1); err != nil {
		return 0, err
	}
	ratios := pl.ratios(m)
	sum, weights := 0.0, 0.0
	for i, track := range pl.tracks {
		if ppfd, ok := pl.curves[i].curve.At(t); ok && ratios[i] > 0 {
			sum += track.weight * ppfd / ratios[i]
			weights += track.weight
		}
	}
	return sum / weights, nil
}

// load makes sure that the tracks' curves hold the window, reading whole light
// days. The last few stretches read are kept: filling goes back and forth.
func (pl *pooled) load(ctx context.Context, from, until int64) error {
	for i, t := range pl.tracks {
		holds := func(l *loaded) bool { return l.from <= from && until <= l.until }
		if l := pl.curves[i]; l != nil && holds(l) {
			continue
		}
		if t.frame != nil && holds(t.frame) {
			pl.curves[i] = t.frame
			continue
		}
		if k := slices.IndexFunc(pl.kept[i], holds); k >= 0 {
			pl.curves[i] = pl.kept[i][k]
			continue
		}
		var l *loaded
		if len(pl.kept[i]) < keptCurves {
			l = &loaded{series: dayBuffers.Get().(*light.Series)}
		} else { // the oldest makes room
			l = pl.kept[i][0]
			pl.kept[i] = append(pl.kept[i][:0], pl.kept[i][1:]...)
		}
		pl.kept[i] = append(pl.kept[i], l)
		pl.curves[i] = l
		l.from, l.until = pl.b.dayOf(from).From.UnixNano(), pl.b.dayOf(until-1).Until.UnixNano()
		var err error
		if l.curve, _, _, err = pl.b.read(ctx, t, l.series, []int64{l.from, l.until}); err != nil {
			return err
		}
	}
	return nil
}

// loadDays reads the days from one to another in one go, unless that is much.
func (pl *pooled) loadDays(ctx context.Context, first, last light.Date) error {
	if len(pl.tracks) > mostTracks || first.DaysUntil(last) > mostDays {
		return nil
	}
	return pl.load(ctx, pl.b.rack.Day(first).From.UnixNano(), pl.b.rack.Day(last).Until.UnixNano())
}

// release gives the memory of the curves back.
func (pl *pooled) release() {
	for i := range pl.tracks {
		for _, l := range pl.kept[i] {
			dayBuffers.Put(l.series)
		}
		pl.kept[i], pl.curves[i] = nil, nil
	}
}

// day is the pooled light on a whole light day.
func (pl *pooled) day(ctx context.Context, d light.Date) (dayLight, error) {
	if l, ok := pl.days[d]; ok {
		return l, nil
	}
	span := pl.b.rack.Day(d)
	from, until := span.From.UnixNano(), span.Until.UnixNano()
	m, _ := pl.b.mapAt(from)
	p, _, err := pl.window(ctx, from, until, m)
	if err != nil {
		return dayLight{}, err
	}
	l := dayLight{p.mol, float64(p.ns) / float64(until-from)}
	pl.days[d] = l
	return l, nil
}

// keepDays remembers the whole days of the frame out of its cells.
func (pl *pooled) keepDays(lights []part) {
	b := pl.b
	for i, d := range b.frame.dates {
		if b.frame.now != 0 && i == len(b.frame.dates)-1 {
			break
		}
		var sum part
		for _, p := range lights[b.first[i]:b.first[i+1]] {
			sum.add(p)
		}
		pl.days[d] = dayLight{sum.mol, float64(sum.ns) / float64(b.frame.bounds[i+1]-b.frame.bounds[i])}
	}
}

// edge is what the pooled sensors last showed before an instant, or first after it, as far
// as the trial reaches; NaN if nothing.
func (pl *pooled) edge(ctx context.Context, t int64, step int) (value float64, at int64, err error) {
	trial := pl.b.rack.Trial()
	value = math.NaN()
	for look := t; look >= trial.From.UnixNano() && look <= trial.Until.UnixNano(); {
		day := pl.b.dayOf(look)
		if err := pl.load(ctx, day.From.UnixNano(), day.Until.UnixNano()); err != nil {
			return 0, 0, err
		}
		for i := range pl.tracks {
			c := &pl.curves[i].curve
			k, found := slices.BinarySearch(c.Times, t)
			if step < 0 && !found {
				k--
			}
			if k < 0 || k >= len(c.Times) || c.Times[k] < day.From.UnixNano() || c.Times[k] >= day.Until.UnixNano() {
				continue
			}
			if math.IsNaN(value) || (c.Times[k]-at)*int64(step) < 0 {
				value, at = c.Values[k], c.Times[k]
			}
		}
		if !math.IsNaN(value) {
			break
		}
		look = day.From.UnixNano() - 1
		if step > 0 {
			look = day.Until.UnixNano()
		}
	}
	return value, at, nil
}

// dayOf is the light day in which an instant falls; the last one is remembered.
func (b *bin) dayOf(t int64) light.Span {
	if b.lastDay.From.IsZero() || !b.lastDay.Holds(unix(t)) {
		b.lastDate = b.rack.DateAt(unix(t))
		b.lastDay = b.rack.Day(b.lastDate)
	}
	return b.lastDay
}

func (b *bin) dateAt(t int64) light.Date {
	b.dayOf(t)
	return b.lastDate
}
