package account

import (
	"context"
	"math"
	"slices"
	"time"

	"parstead/light"
	"parstead/light/dli"
	"parstead/light/field"
)

// ownLight is the light of a position with sensors of its own in a cell.
type ownLight struct {
	cellLight           // by its own sensors
	others    cellLight // by the bin's, while its own are silent
}

// combine pools the tracks of the frame, fills what is silent, and leaves the
// bin ready to say what each place received. The bin's sensors together are
// looked at only where some place has none of its own.
func (b *bin) combine(ctx context.Context) error {
	defer b.all.release()
	var err error
	together := slices.ContainsFunc(b.places, func(p place) bool { return p.own == nil || b.ownIsAll(&p) })
	if together {
		if b.light, err = b.all.light(ctx, b.mapPlateau); err != nil {
			return err
		}
	}
	gaps := make([][][]dli.Gap, len(b.places)) // of each place's own sensors in each cell
	for i := range b.places {
		p := &b.places[i]
		if p.own == nil {
			continue
		}
		p.light = make([]ownLight, len(b.cells))
		if b.ownIsAll(p) { // nobody else to ask
			for c := range b.cells {
				p.light[c].cellLight = b.light[c]
			}
			continue
		}
		lights := make([]cellLight, len(b.cells))
		if gaps[i], err = p.own.measure(ctx, lights); err != nil {
			return err
		}
		p.own.release()
		for c := range b.cells {
			p.light[c].cellLight = lights[c]
		}
	}
	for c := range b.cells { // a day after another, so that each is read once
		for i := range b.places {
			if gaps[i] != nil && len(gaps[i][c]) > 0 {
				if err := b.fillOwn(ctx, &b.places[i], c, gaps[i][c]); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// ownIsAll tells whether a place's own sensors are all that the bin has.
func (b *bin) ownIsAll(p *place) bool { return p.own != nil && len(p.own.tracks) == len(b.tracks) }

func (pl *pooled) light(ctx context.Context, other func(*field.Map) plateau) ([]cellLight, error) {
	lights := make([]cellLight, len(pl.b.cells))
	gaps, err := pl.measure(ctx, lights)
	if err != nil {
		return nil, err
	}
	for c := range lights {
		if lights[c].fills, err = pl.fill(ctx, c, gaps[c], other(pl.b.cells[c].m)); err != nil {
			return nil, err
		}
	}
	return lights, nil
}

// measure puts what readings bridge into the cells and gives each cell's gaps.
func (pl *pooled) measure(ctx context.Context, lights []cellLight) ([][]dli.Gap, error) {
	gaps := make([][]dli.Gap, len(lights))
	parts := make([]part, len(lights))
	for c := range lights {
		var err error
		if parts[c], gaps[c], err = pl.cell(ctx, c); err != nil {
			return nil, err
		}
		parts[c].error = math.Hypot(max(parts[c].error, parts[c].mol*pl.b.unsure[c]), pl.sampling(c, parts[c].mol))
		lights[c].measured = parts[c]
	}
	pl.keepDays(parts)
	return gaps, nil
}

// dense is how close readings lie where a timer's edge between two of them is no
// matter: under 0.4 % of twelve hours' light.
const dense = int64(10 * time.Minute)

// sampling is the error of a cell's light from the timer's edges that lie between
// readings far apart: the line drawn over the edge may be wrong by up to half of
// their distance, evenly spread.
func (pl *pooled) sampling(c int, mol float64) float64 {
	every := int64(math.MaxInt64)
	for _, t := range pl.tracks {
		if t.every > 0 {
			every = min(every, t.every)
		}
	}
	if every <= dense || every == math.MaxInt64 || mol <= 0 {
		return 0
	}
	cell := pl.b.cells[c]
	lit, edges := int64(0), 0.0
	for _, s := range pl.b.lit(cell.from, cell.until) {
		lit += int64(s.Length())
		for _, edge := range []int64{s.From.UnixNano(), s.Until.UnixNano()} {
			if edge > cell.from && edge < cell.until {
				edges++
			}
		}
	}
	if lit == 0 {
		return 0
	}
	return mol / float64(lit) * float64(every) * math.Sqrt(edges/12)
}

// fillOwn makes up for the gaps of a place's own sensors in a cell: by what the
// bin's other sensors show, else from the place's own other days, or where it has
// none as for the rest of the bin.
func (b *bin) fillOwn(ctx context.Context, p *place, c int, gaps []dli.Gap) error {
	cell, l := b.cells[c], &p.light[c]
	var silent []dli.Gap
	for _, g := range gaps {
		seen, rest, err := b.all.window(ctx, g.From, g.Until, cell.m)
		if err != nil {
			return err
		}
		l.others.measured.add(seen)
		silent = append(silent, rest...)
	}
	if len(silent) == 0 {
		return nil
	}
	profileDays, err := p.own.profileDays(ctx, cell)
	if err != nil {
		return err
	}
	if len(profileDays) > 0 {
		l.fills, err = p.own.fill(ctx, c, silent, plateau{})
		p.own.release()
	} else {
		l.others.fills, err = b.all.fill(ctx, c, silent, b.mapPlateau(cell.m))
	}
	return err
}

// shares are standard deviations by cause. Within a cause they are wholly
// correlated and add up; causes are independent of one another.
type shares struct {
	own, survey            float64 // of one position
	reference, noMap, fill float64 // of a bin
	water                  float64 // the same: how it dims the light between a sensor and the plants
	meter, lamp            float64 // of the rack: a meter's scale, lux per PPFD
}

func (s *shares) add(o shares, times float64) {
	s.own += o.own * times
	s.survey += o.survey * times
	s.reference += o.reference * times
	s.noMap += o.noMap * times
	s.fill += o.fill * times
	s.water += o.water * times
	s.meter += o.meter * times
	s.lamp += o.lamp * times
}

// over gives the parts of an error out of sums over an amount.
func (s shares) over(amount float64) Error {
	return Error{
		Independent: math.Sqrt(square(s.own)+square(s.survey)) / amount,
		Bin:         math.Sqrt(square(s.reference)+square(s.noMap)+square(s.fill)+square(s.water)) / amount,
		All:         math.Hypot(s.meter, s.lamp) / amount,
	}
}

// tally adds up a place's light.
type tally struct {
	mol, filledMol           float64
	covered, filled, missing int64 // ns
	bySource, bySourceTime   [FromTimer + 1]float64
	errors, errorsTime       shares // weighted by light, and by time for the dark
}

// add counts a part, times a ratio, with the shares that its error has.
func (t *tally) add(source Source, filled bool, p part, ratio float64, e shares) {
	if p.ns == 0 {
		return
	}
	mol, ns := p.mol*ratio, float64(p.ns)
	t.mol += mol
	if filled {
		t.filled += p.ns
		t.filledMol += mol
	} else {
		t.covered += p.ns
	}
	t.bySource[source] += mol
	t.bySourceTime[source] += ns
	t.errors.add(e, mol)
	t.errorsTime.add(e, ns)
}

// merge adds another tally.
func (t *tally) merge(o *tally) {
	t.mol += o.mol
	t.filledMol += o.filledMol
	t.covered += o.covered
	t.filled += o.filled
	t.missing += o.missing
	for s := range t.bySource {
		t.bySource[s] += o.bySource[s]
		t.bySourceTime[s] += o.bySourceTime[s]
	}
	t.errors.add(o.errors, 1)
	t.errorsTime.add(o.errorsTime, 1)
}

// figure sums the tally up.
func (t *tally) figure() Figure {
	known := t.covered + t.filled
	length := float64(known + t.missing)
	if known == 0 {
		return Figure{Missing: 1}
	}
	f := Figure{
		Known: true, DLI: light.DLI(t.mol),
		Covered: float64(t.covered) / length, Missing: float64(t.missing) / length,
	}
	weights := t.bySource
	if t.mol > 0 {
		f.Filled = t.filledMol / t.mol
		f.Error = t.errors.over(t.mol)
	} else {
		weights = t.bySourceTime
		f.Error = t.errorsTime.over(float64(known))
	}
	f.Source = FromSensor
	for s := FromSensor; s <= FromTimer; s++ {
		if weights[s] > weights[f.Source] {
			f.Source = s
		}
	}
	return f
}

// tally adds a place's light in cell c.
func (b *bin) tally(t *tally, p *place, c int) {
	if p.own == nil {
		b.tallyBin(t, p, c, &b.light[c])
		return
	}
	l := &p.light[c]
	scale := p.own.scaleError()
	own := func(of part) shares {
		return shares{own: of.relative(scale), lamp: p.own.sharedError(), water: p.own.waterError()}
	}
	t.add(FromSensor, false, l.measured, 1, own(l.measured))
	profile := own(l.profile)
	profile.fill = share(l.profileError, l.profile.mol, leastSpread)
	t.add(FromSensor, true, l.profile, 1, profile)
	t.add(FromTimer, true, l.timer, 1, timerShares(&l.fills, own(l.timer)))
	t.missing += l.missing
	b.tallyBin(t, p, c, &l.others)
}

// tallyBin adds light that the bin as a whole shows, brought to a place by the
// light map or as it stands.
func (b *bin) tallyBin(t *tally, p *place, c int, l *cellLight) {
	if m := b.cells[c].m; knows(m, p) {
		b.tallyMapped(t, c, l, m.Ratio[p.index], m.RelativeError[p.index])
	} else {
		b.tallyUnmapped(t, c, l)
	}
}

// knows tells whether a light map holds and knows a place.
func knows(m *field.Map, p *place) bool { return m != nil && !math.IsNaN(m.Ratio[p.index]) }

// tallyMapped adds the bin's light in cell c, brought to a place by the light
// map's ratio there and its error.
func (b *bin) tallyMapped(t *tally, c int, l *cellLight, ratio, relativeError float64) {
	e := shares{survey: relativeError}
	if b.cells[c].m.OwnScale && len(b.tracks) > 0 {
		e.meter = meterError
	}
	b.tallyAs(t, FromMap, l, ratio, e)
}

// tallyUnmapped adds the bin's light as it stands.
func (b *bin) tallyUnmapped(t *tally, c int, l *cellLight) {
	if len(b.tracks) == 0 { // nothing at all is known here
		t.missing += l.measured.ns + l.profile.ns + l.timer.ns + l.missing
		return
	}
	b.tallyAs(t, FromBin, l, 1, shares{noMap: b.unmapped(unix(b.cells[c].from).In(b.rack.Zone).Hour())})
}

func (b *bin) tallyAs(t *tally, source Source, l *cellLight, ratio float64, e shares) {
	scale, factor, water := b.all.scaleError(), b.all.sharedError(), b.all.waterError()
	reference := func(p part) shares {
		e := e
		e.reference, e.lamp, e.water = p.relative(scale), factor, water
		return e
	}
	t.add(source, false, l.measured, ratio, reference(l.measured))
	t.missing += l.missing
	if l.profile.ns == 0 && l.timer.ns == 0 {
		return
	}
	profile := reference(l.profile)
	profile.fill = share(l.profileError, l.profile.mol, leastSpread)
	t.add(source, true, l.profile, ratio, profile)
	t.add(FromTimer, true, l.timer, ratio, timerShares(&l.fills, reference(l.timer)))
}

// timerShares adds to the shares of a timer's light its own error.
func timerShares(f *fills, e shares) shares {
	e.fill = share(f.timerError, f.timer.mol, timerError)
	e.meter = max(e.meter, share(f.meterError, f.timer.mol, 0))
	return e
}

func share(part, whole, otherwise float64) float64 {
	if whole == 0 {
		return otherwise
	}
	return part / whole
}

// common is what the places without a sensor have in common on one light day: all
// but the light map's ratio and its error at each.
type common struct {
	alike    bool // whether one map, or none, holds all day
	m        *field.Map
	mapped   Figure // where the map's ratio is 1 and without error
	unmapped Figure // where the map does not know the place, or there is none
	changes  changing
}

// commons works the days out once for all places.
func (b *bin) commons() []common {
	days := make([]common, len(b.frame.dates))
	if !slices.ContainsFunc(b.places, func(p place) bool { return p.own == nil }) {
		return days
	}
	for d := range days {
		day := &days[d]
		first, end := b.first[d], b.first[d+1]
		day.m = b.cells[first].m
		var mapped, unmapped tally
		day.alike = true
		for c := first; c < end; c++ {
			if b.cells[c].m != day.m {
				day.alike = false
				day.changes = b.changing(first, end)
				break
			}
			if day.m != nil {
				b.tallyMapped(&mapped, c, &b.light[c], 1, 0)
			}
			b.tallyUnmapped(&unmapped, c, &b.light[c])
		}
		day.mapped, day.unmapped = mapped.figure(), unmapped.figure()
	}
	return days
}

// put writes the figure of a place.
func (day *common) put(p *place, f *Figure) {
	if !knows(day.m, p) {
		*f = day.unmapped
		return
	}
	*f = day.mapped
	if f.Known {
		f.DLI *= light.DLI(day.m.Ratio[p.index])
		f.Error.Independent = day.m.RelativeError[p.index]
	}
}

// days writes the days of all places.
func (b *bin) days(dst []Day) {
	days := b.commons()
	for i := range b.places {
		p := &b.places[i]
		for d, date := range b.frame.dates {
			day := &dst[i*len(days)+d]
			day.Date, day.Position = date, p.Position
			if p.own == nil && days[d].alike {
				days[d].put(p, &day.Figure)
				continue
			}
			if p.own == nil && days[d].changes.put(p, &day.Figure) {
				continue
			}
			var t tally
			for c := b.first[d]; c < b.first[d+1]; c++ {
				b.tally(&t, p, c)
			}
			day.Figure = t.figure()
		}
	}
}
