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

// The rules of filling.
const (
	fullDay      = 0.999 // share of a day that readings bridge in one that others are filled from
	profileAside = 7     // days to either side, the nearest
	leastSpread  = 0.05  // error of filled light is at least this
	timerError   = 0.15  // of the timer's hours at the plateau
	meterError   = 0.10  // of a handheld meter's own scale
	plateauDays  = 14    // days, the nearest, that show the lamp's plateau
	outBelow     = 0.10  // a lamp that gives less than this share of what is due is out
	darkest      = 1.0   // µmol m⁻² s⁻¹ that says nothing about a lamp
)

// fills is how the silent time of a cell was made up for.
type fills struct {
	profile      part    // from other days at the same clock time, or known to be dark
	profileError float64 // mol m⁻²: their spread
	timer        part    // timer × plateau
	timerError   float64 // mol m⁻²
	meterError   float64 // mol m⁻²: of timer, from the meter's own scale
	missing      int64   // ns
	pending      int64   // ns since the last reading of a running day
}

// cellLight is pooled light in a cell.
type cellLight struct {
	measured part
	fills
}

// fill makes up for gaps of cell c. Light that the lamp is known not to have
// given is not made up: that time is dark. It is known from the log, or from the
// readings at both ends of the silence; if only one end shows the lamp out while
// it was due, nobody knows when it changed, and the time stays missing.
//
// plateau is the lamp's PPFD by other means, for pooled sensors whose own days show
// none; its error shares count in the figure.
func (pl *pooled) fill(ctx context.Context, c int, gaps []dli.Gap, other plateau) (fills, error) {
	var f fills
	if len(gaps) == 0 {
		return f, nil
	}
	cell := pl.b.cells[c]
	profileDays, err := pl.profileDays(ctx, cell)
	if err != nil {
		return f, err
	}
	if len(profileDays) > 0 {
		if err := pl.loadDays(ctx, cell.date.Add(slices.Min(profileDays)), cell.date.Add(slices.Max(profileDays))); err != nil {
			return f, err
		}
	}
	own, err := pl.plateau(ctx, cell, len(profileDays) > 0)
	if err != nil {
		return f, err
	}
	if own.ppfd == 0 {
		own = other
	}
	for _, g := range gaps {
		if now := pl.b.frame.now; now != 0 && g.Until == now && now-g.From <= pl.longestGap() {
			f.pending += g.Until - g.From
			continue
		}
		pieces, err := pl.b.knownDark(ctx, g, &f)
		if err != nil {
			return f, err
		}
		for _, piece := range pieces {
			if err := pl.fillPiece(ctx, cell, piece, profileDays, own, &f); err != nil {
				return f, err
			}
		}
	}
	return f, nil
}

func (pl *pooled) longestGap() (ns int64) {
	for _, t := range pl.tracks {
		ns = max(ns, t.maxGap)
	}
	return ns
}

// knownDark counts the time of a gap in which the log has the lamp out, and gives
// the rest, cut where clocks change.
func (b *bin) knownDark(ctx context.Context, g dli.Gap, f *fills) ([]dli.Gap, error) {
	rest := []dli.Gap{g}
	for _, out := range b.outages {
		from, until := out.From.UnixNano(), dli.Nanoseconds(out.Until, math.MaxInt64)
		if out.Until.IsZero() {
			silent, err := b.silentSince(ctx, from, g)
			if err != nil {
				return nil, err
			}
			if !silent {
				continue
			}
		}
		var left []dli.Gap
		for _, r := range rest {
			dark := dli.Gap{From: max(r.From, from), Until: min(r.Until, until)}
			if dark.From >= dark.Until {
				left = append(left, r)
				continue
			}
			f.profile.ns += dark.Until - dark.From
			for _, side := range []dli.Gap{{From: r.From, Until: dark.From}, {From: dark.Until, Until: r.Until}} {
				if side.From < side.Until {
					left = append(left, side)
				}
			}
		}
		rest = left
	}
	var pieces []dli.Gap
	for _, r := range rest {
		for r.From < r.Until {
			_, change := unix(r.From).In(b.rack.Zone).ZoneBounds()
			until := min(r.Until, dli.Nanoseconds(change, math.MaxInt64))
			pieces = append(pieces, dli.Gap{From: r.From, Until: until})
			r.From = until
		}
	}
	return pieces, nil
}

// silentSince tells whether no sensor of the bin read from an outage, whose end
// the log does not tell, to a gap. Without sensors nothing shows when it ended.
func (b *bin) silentSince(ctx context.Context, out int64, g dli.Gap) (bool, error) {
	if len(b.tracks) == 0 || out >= g.Until {
		return false, nil
	}
	value, last, err := b.all.edge(ctx, g.From, -1)
	return !math.IsNaN(value) && last <= out+b.all.longestGap(), err
}

// fillPiece makes up for a gap within which clocks don't change.
func (pl *pooled) fillPiece(ctx context.Context, cell cell, g dli.Gap, profileDays []int, own plateau, f *fills) error {
	length := g.Until - g.From
	before, err := pl.outAt(ctx, cell, g.From, -1, profileDays, own)
	if err != nil {
		return err
	}
	after, err := pl.outAt(ctx, cell, g.Until, +1, profileDays, own)
	if err != nil {
		return err
	}
	switch {
	case before && after:
		f.profile.ns += length
		return nil
	case before || after:
		f.missing += length
		return nil
	}
	filled, err := pl.fillFromDays(ctx, cell, g, profileDays, f)
	if err != nil || filled {
		return err
	}
	pl.fillFromTimer(g, own, f)
	return nil
}

// fillFromDays makes up for a gap with the mean of what other days had at the same
// clock time, and tells whether any day had that.
func (pl *pooled) fillFromDays(ctx context.Context, cell cell, g dli.Gap, profileDays []int, f *fills) (bool, error) {
	length := g.Until - g.From
	var amounts []float64
	var sum part
	for _, shift := range profileDays {
		from := pl.b.sameClock(g.From, shift)
		if pl.b.sameClock(g.Until-1, shift)+1-from != length {
			continue // clocks change meanwhile: those hours are others
		}
		p, _, err := pl.window(ctx, from, from+length, cell.m)
		if err != nil {
			return false, err
		}
		if 2*p.ns < length {
			continue
		}
		scale := float64(length) / float64(p.ns)
		amounts = append(amounts, p.mol*scale)
		sum.add(part{p.mol * scale, length, p.error * scale})
	}
	n := float64(len(amounts))
	if n == 0 {
		return false, nil
	}
	mean := sum.mol / n
	spread := timerError * mean // one day shows none: as rough as the timer
	if n > 1 {
		squares := 0.0
		for _, x := range amounts {
			squares += square(x - mean)
		}
		spread = max(math.Sqrt(squares/(n-1)), leastSpread*mean)
	}
	f.profile.add(part{mean, length, sum.error / n})
	f.profileError += spread
	return true, nil
}

// fillFromTimer makes up for a gap with the lamp's plateau over the timer's hours;
// without either the time stays missing.
func (pl *pooled) fillFromTimer(g dli.Gap, own plateau, f *fills) {
	length := g.Until - g.From
	if own.ppfd == 0 || len(pl.b.lamps) == 0 {
		f.missing += length
		return
	}
	seconds := 0.0
	for _, s := range pl.b.lit(g.From, g.Until) {
		seconds += s.Length().Seconds()
	}
	mol := own.ppfd * seconds / light.MicromolesPerMole
	f.timer.add(part{mol, length, mol * own.error})
	f.timerError += mol * timerError
	f.meterError += mol * own.meterError
}

// profileDays are the days, as distances from the cell's own, whose profile fills the
// cell: the nearest fully covered ones under the same lamps, timers and sensors,
// without those on which the lamp was plainly out (half the others' light).
func (pl *pooled) profileDays(ctx context.Context, cell cell) ([]int, error) {
	if len(pl.tracks) == 0 {
		return nil, nil
	}
	var shifts []int
	var mols []float64
	for _, step := range []int{-1, 1} {
		found := 0
		for shift := step; found < profileAside && pl.b.inRegime(cell.date.Add(shift), cell.regime); shift += step {
			day, err := pl.day(ctx, cell.date.Add(shift))
			if err != nil {
				return nil, err
			}
			if day.covered >= fullDay {
				shifts, mols = append(shifts, shift), append(mols, day.mol)
				found++
			}
		}
	}
	if len(mols) < 3 {
		return shifts, nil
	}
	median := slices.Sorted(slices.Values(mols))[len(mols)/2]
	kept := shifts[:0]
	for i, shift := range shifts {
		if mols[i] >= median/2 {
			kept = append(kept, shift)
		}
	}
	return kept, nil
}

// inRegime tells whether a light day is one of the trial's, is over, and lies
// within a regime as a whole.
func (b *bin) inRegime(d light.Date, regime light.Span) bool {
	if d.Before(b.rack.Starts) || b.rack.Ends.Before(d) {
		return false
	}
	day := b.rack.Day(d)
	if now := b.frame.now; now != 0 && day.Until.UnixNano() > now {
		return false
	}
	return regime.Holds(day.From) && (regime.Until.IsZero() || !day.Until.After(regime.Until))
}

// plateau is a lamp's PPFD while the timer has it on.
type plateau struct {
	ppfd       float64 // µmol m⁻² s⁻¹; 0 if not known
	error      float64 // share: of the sensors' scale
	meterError float64 // share: of a meter's own scale
}

// plateau is what the pooled sensors show on the nearest days of the regime while the
// lamps are due. It is not looked for where other days can fill.
func (pl *pooled) plateau(ctx context.Context, cell cell, haveDays bool) (plateau, error) {
	if haveDays || len(pl.tracks) == 0 || len(pl.b.lamps) == 0 {
		return plateau{}, nil
	}
	var sum part
	days := 0
	for far := 0; days < plateauDays; far++ {
		inside := far == 0
		for _, shift := range []int{-far, far}[:min(2, 1+far)] {
			d := cell.date.Add(shift)
			if far > 0 && !pl.b.inRegime(d, cell.regime) {
				continue
			}
			inside = true
			day, err := pl.day(ctx, d)
			if err != nil {
				return plateau{}, err
			}
			if day.covered == 0 {
				continue
			}
			span, _ := pl.b.rack.Day(d).Within(cell.regime)
			for _, lit := range pl.b.lit(span.From.UnixNano(), span.Until.UnixNano()) {
				p, _, err := pl.window(ctx, lit.From.UnixNano(), lit.Until.UnixNano(), cell.m)
				if err != nil {
					return plateau{}, err
				}
				sum.add(p)
			}
			days++
		}
		if !inside {
			break
		}
	}
	if sum.ns == 0 {
		return plateau{}, nil
	}
	seconds := time.Duration(sum.ns).Seconds()
	return plateau{ppfd: sum.mol * light.MicromolesPerMole / seconds, error: sum.relative(0)}, nil
}

// mapPlateau is the plateau at which the map was walked, in the pooled scale.
func (b *bin) mapPlateau(m *field.Map) plateau {
	if m == nil {
		return plateau{}
	}
	p := plateau{ppfd: float64(m.Plateau)}
	if m.OwnScale {
		p.meterError = meterError
	}
	if len(b.tracks) > 0 {
		p.error = b.all.scaleError()
	}
	return p
}

// scaleError is the error of all sensors together, as a share, without what they share.
func (pl *pooled) scaleError() float64 {
	var all pool
	for _, t := range pl.tracks {
		all.add(t, 1)
	}
	if all.weights == 0 {
		return 0
	}
	return all.over(1).error
}

// sharedError is the error that their lamp's factor has in common, as a share: it is
// no less for being read by many.
func (pl *pooled) sharedError() float64 {
	sum, weights := 0.0, 0.0
	for _, t := range pl.tracks {
		sum += t.weight * t.sharedError
		weights += t.weight
	}
	if weights == 0 {
		return 0
	}
	return sum / weights
}

// outAt tells whether the reading at one end of a silence shows the lamp out
// while it was due: dark where the timer has it on, and where other days, or the
// plateau, have light.
func (pl *pooled) outAt(ctx context.Context, cell cell, t int64, step int, profileDays []int, own plateau) (bool, error) {
	if len(pl.tracks) == 0 || len(pl.b.lamps) == 0 {
		return false, nil
	}
	value, at, err := pl.edge(ctx, t, step)
	if err != nil || math.IsNaN(value) || value > outBelow*pl.brightest(cell, profileDays, own) || len(pl.b.lit(at, at+1)) == 0 {
		return false, err
	}
	due, n := 0.0, 0.0
	for _, shift := range profileDays {
		x, err := pl.at(ctx, pl.b.sameClock(at, shift+pl.b.dateAt(at).DaysUntil(cell.date)), nil)
		if err != nil {
			return false, err
		}
		if !math.IsNaN(x) {
			due += x
			n++
		}
	}
	if n > 0 {
		due /= n
	} else {
		due = own.ppfd
	}
	return due > darkest && value < outBelow*due, nil
}

// brightest is a PPFD that the lamps hardly exceed: three times the light of the
// profile days, spread over the timer's hours. It saves a closer look where a lamp
// is plainly on.
func (pl *pooled) brightest(cell cell, profileDays []int, own plateau) float64 {
	mol := 0.0
	for _, shift := range profileDays {
		mol = max(mol, pl.days[cell.date.Add(shift)].mol)
	}
	day := pl.b.rack.Day(cell.date)
	seconds := 0.0
	for _, s := range pl.b.lit(day.From.UnixNano(), day.Until.UnixNano()) {
		seconds += s.Length().Seconds()
	}
	if seconds == 0 {
		return math.Inf(1)
	}
	return 3 * max(own.ppfd, mol*light.MicromolesPerMole/seconds)
}

// sameClock is the instant at which clocks show the same some days later.
func (b *bin) sameClock(t int64, days int) int64 {
	local := unix(t).In(b.rack.Zone)
	h, m, s := local.Clock()
	clock := light.TimeOfDay(time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(s)*time.Second)
	return clock.On(light.DateOf(local).Add(days), b.rack.Zone).UnixNano() + int64(local.Nanosecond())
}
