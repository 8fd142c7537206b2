package account

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"parstead/light"
	"parstead/light/dli"
	"parstead/light/watch"
)

// suspicion is a stretch of a sensor's readings that is set aside, or doubted,
// for what it shows.
type suspicion struct {
	sensor string
	during dli.Gap
	why    string
	kept   bool // two sensors part and nobody knows which is wrong
}

// suspect notes a stretch; one that follows on the last for the same reason
// prolongs it.
func (b *bin) suspect(s suspicion) {
	for i := range b.suspects {
		last := &b.suspects[i]
		if last.sensor == s.sensor && last.why == s.why && last.during.Until >= s.during.From && s.during.Until >= last.during.From {
			last.during.From, last.during.Until = min(last.during.From, s.during.From), max(last.during.Until, s.during.Until)
			return
		}
	}
	b.suspects = append(b.suspects, s)
}

// suspicions tells of them in whole sentences.
func (b *bin) suspicions() (sentences []string) {
	for _, s := range b.suspects {
		clock := func(t int64) string { return unix(t).In(b.rack.Zone).Format("2006-01-02 15:04") }
		what := "is set aside"
		if s.kept {
			what = "is in doubt"
		}
		sentences = append(sentences, fmt.Sprintf("Sensor %s of bin %s %s from %s until %s: %s.",
			s.sensor, b.Name, what, clock(s.during.From), clock(s.during.Until), s.why))
	}
	return sentences
}

// refused tells of readings that no figure holds because of their value.
func (b *bin) refused() (sentences []string) {
	clock := func(t int64) string { return unix(t).In(b.rack.Zone).Format("2006-01-02 15:04") }
	say := func(t *track, r dli.Refused, one, many, mend string) {
		text := ""
		switch r.N {
		case 0:
			return
		case 1:
			text = fmt.Sprintf("the reading of %s %s", clock(r.First), one)
		default:
			text = fmt.Sprintf("%d readings from %s until %s %s", r.N, clock(r.First), clock(r.Last), many)
		}
		sentences = append(sentences, fmt.Sprintf("Sensor %s of bin %s: %s: %s.", t.sensor, b.Name, text, mend))
	}
	for _, t := range b.tracks {
		say(t, t.saturated, "is a mark of saturation (−1 or 65535) and enters no figure", "are marks of saturation (−1, 65535 or a lux chip's ceiling) and enter no figure",
			"look for a loose cable, or a range that is too small for this light")
		say(t, t.outside, "lies outside what is valid and enters no figure", "lie outside what is valid and enter no figure",
			"look at the sensor, or set valid in trial.toml")
	}
	return sentences
}

// goneAfter is how long a sensor must be silent at the end to be called silent for
// good: less is for the page to tell.
const goneAfter = 24 * time.Hour

// unheard tells of sensors that are silent for good, or whose readings come too
// seldom for what trial.toml says of them.
func (b *bin) unheard() (sentences []string) {
	end := b.frame.bounds[len(b.frame.bounds)-1]
	for _, t := range b.tracks {
		last := min(end, t.until)
		switch {
		case t.apart > 0:
			every := light.Plain(time.Duration(t.apart).Round(time.Second))
			sentences = append(sentences, fmt.Sprintf("Sensor %s of bin %s reads every %s, further apart than the %s that are bridged, so most of its light is missing: write every = %q under its [[sensor]].",
				t.sensor, b.Name, every, light.Plain(time.Duration(t.maxGap)), every))
		case last < end || time.Duration(last-max(t.heard, t.from, b.frame.bounds[0])) <= goneAfter:
		case t.heard == 0:
			sentences = append(sentences, fmt.Sprintf("Sensor %s of bin %s was not heard on any of these days: look at its supply, its cable and its topic.", t.sensor, b.Name))
		default:
			sentences = append(sentences, fmt.Sprintf("Sensor %s of bin %s has not been heard since %s: look at its supply, its cable and the network.",
				t.sensor, b.Name, unix(t.heard).In(b.rack.Zone).Format("2006-01-02 15:04")))
		}
	}
	return sentences
}

// switchings are the instants in a window at which a timer of the bin switches.
func (b *bin) switchings(from, until int64) (edges []int64) {
	for _, l := range b.lamps {
		for _, s := range l.Lit(light.Span{From: unix(from), Until: unix(until)}, b.rack.Zone) {
			edges = append(edges, s.From.UnixNano(), s.Until.UnixNano())
		}
	}
	slices.Sort(edges)
	return slices.DeleteFunc(slices.Compact(edges), func(t int64) bool { return t == from || t == until })
}

// stuckRuns finds in what a track read in a window where it was stuck. A run that
// reaches out of the window is followed for a day, since the switching that it
// missed may lie there: a figure must not depend on how much is asked for.
func (b *bin) stuckRuns(ctx context.Context, t *track, series *light.Series, from, until int64) ([]dli.Gap, error) {
	if reachesOut(series, t.stretches) {
		from, until = from-int64(24*time.Hour), until+int64(24*time.Hour)
		series = new(light.Series)
		if err := b.src.Series(ctx, t.sensor, light.Span{From: unix(from), Until: unix(until)}, series); err != nil {
			return nil, fmt.Errorf("read sensor %s: %w", t.sensor, err)
		}
	}
	return stuck(series, t.stretches, b.switchings(from, until)), nil
}

// reachesOut tells whether a series begins or ends with equal light readings.
func reachesOut(s *light.Series, stretches []dli.Stretch) bool {
	n := len(s.Times)
	if n < watch.FlatReadings {
		return false
	}
	for _, end := range [][]float64{s.Values[:watch.FlatReadings], s.Values[n-watch.FlatReadings:]} {
		equal := !slices.ContainsFunc(end, func(x float64) bool { return x != end[0] })
		if equal && (bright(end[0], s.Times[0], stretches) || bright(end[0], s.Times[n-1], stretches)) {
			return true
		}
	}
	return false
}

// stuck finds the runs of equal light readings that reach past a switching of the
// lamp by watch.FlatEachSide on both sides: such a sensor did not see it. Equal
// darkness may be true, and is for the bin's other sensors to judge.
func stuck(s *light.Series, stretches []dli.Stretch, edges []int64) (runs []dli.Gap) {
	const side = int64(watch.FlatEachSide)
	times, values := s.Times, s.Values
	usable := func(i int) bool { return s.Marks == nil || s.Marks[i].Usable() }
	for _, edge := range edges {
		if n := len(runs); n > 0 && edge < runs[n-1].Until {
			continue
		}
		first := sort.Search(len(times), func(i int) bool { return times[i] > edge-side }) - 1
		if first < 0 || first+1 == len(times) || !bright(values[first], times[first], stretches) {
			continue
		}
		run := values[first]
		same := func(i int) bool { return values[i] == run || !usable(i) }
		if !same(first + 1) { // as nearly always
			continue
		}
		last := sort.Search(len(times), func(i int) bool { return times[i] >= edge+side })
		if last == len(times) || !usable(first) || !usable(last) || !allSame(first, last, same) {
			continue
		}
		for first > 0 && same(first-1) {
			first--
		}
		for last+1 < len(times) && same(last+1) {
			last++
		}
		if last-first+1 >= watch.FlatReadings {
			runs = append(runs, dli.Gap{From: times[first], Until: times[last] + 1})
		}
	}
	return runs
}

func allSame(first, last int, same func(int) bool) bool {
	for i := first; i <= last; i++ {
		if !same(i) {
			return false
		}
	}
	return true
}

// bright tells whether a raw value is a lamp's light.
func bright(raw float64, at int64, stretches []dli.Stretch) bool {
	i := slices.IndexFunc(stretches, func(st dli.Stretch) bool { return st.From <= at && at < st.Until })
	if i < 0 {
		return false
	}
	st := stretches[i]
	value := raw*st.Scale + st.Offset
	return value >= st.Low && value <= st.High && value*st.PerUnit > darkest
}

// without gives the stretches less the runs.
func without(stretches []dli.Stretch, runs []dli.Gap) []dli.Stretch {
	for _, r := range runs {
		stretches = dli.Without(stretches, light.Span{From: unix(r.From), Until: unix(r.Until)})
	}
	return stretches
}

// The rule by which sensors of one bin are compared.
const (
	baselineDays = 7       // whole days at a regime's beginning that show what each sensor reads beside the others
	baselineLook = 14      // light days among which they are looked for
	plainlyLit   = 0.5     // of its baseline: such a sensor sees its lamp
	darkLog      = -7.0    // the least logarithm of a share: so that darkness can be set against light
	dayNS        = 8.64e13 // ns
)

// compare looks for sensors whose share of the bin's light has changed since the
// regime began, cell by cell, and sets them aside: of three and more the one that
// is off, of two only one that is dark while the other is plainly lit.
func (b *bin) compare(ctx context.Context, levels []float64) error {
	for _, t := range b.tracks {
		for _, run := range t.stuck {
			b.suspect(suspicion{sensor: t.sensor, during: run, why: "it sent the same value through a change of light"})
		}
	}
	if len(b.tracks) < 2 {
		return nil
	}
	if b.sun.Sun { // their shares change with hour and season, and no sensor is wrong for it
		return nil
	}
	aside := make([][]dli.Gap, len(b.tracks))
	wrong := make([]string, len(b.tracks)) // why, as long as the verdict stands
	var base []float64
	for c, cell := range b.cells {
		if c == 0 || cell.regime != b.cells[c-1].regime {
			var err error
			if base, err = b.baselines(ctx, cell.regime); err != nil {
				return err
			}
			clear(wrong)
		}
		b.judge(c, base, wrong)
		for i, why := range wrong {
			if why != "" {
				aside[i] = append(aside[i], dli.Gap{From: cell.from, Until: cell.until})
			}
		}
	}
	for i, t := range b.tracks {
		if len(aside[i]) == 0 {
			continue
		}
		t.stretches = without(t.stretches, aside[i])
		if t.frame != nil {
			buffers.Put(t.frame.series)
			t.frame = nil
		}
		if err := b.integrate(ctx, t, levels, 0); err != nil {
			return err
		}
	}
	return nil
}

// baselines are the logarithms of what each track has seen, on a mean of the
// regime's first whole days; nil where the tracks have no such days in common.
func (b *bin) baselines(ctx context.Context, regime light.Span) ([]float64, error) {
	first := b.rack.Starts
	if !regime.From.IsZero() {
		if first = b.rack.DateAt(regime.From); b.rack.Day(first).From.Before(regime.From) {
			first = first.Add(1)
		}
	}
	if first.Before(b.rack.Starts) {
		first = b.rack.Starts
	}
	var bounds []int64
	for d := first; len(bounds) <= baselineLook && b.inRegime(d, regime); d = d.Add(1) {
		if len(bounds) == 0 {
			bounds = append(bounds, b.rack.Day(d).From.UnixNano())
		}
		bounds = append(bounds, b.rack.Day(d).Until.UnixNano())
	}
	if len(bounds) < 2 {
		return nil, nil
	}
	days := make([][]dli.Light, len(b.tracks))
	for i, t := range b.tracks {
		var err error
		if days[i], err = b.wholeDays(ctx, t, bounds); err != nil {
			return nil, err
		}
	}
	base, n := make([]float64, len(b.tracks)), 0
	for d := 0; d+1 < len(bounds) && n < baselineDays; d++ {
		whole := true
		for i := range b.tracks {
			whole = whole && float64(days[i][d].Covered) >= fullDay*float64(bounds[d+1]-bounds[d]) && days[i][d].Mol > 0
		}
		if !whole {
			continue
		}
		n++
		for i := range b.tracks {
			base[i] += math.Log(float64(days[i][d].Mol))
		}
	}
	if n == 0 {
		return nil, nil
	}
	for i := range base {
		base[i] /= float64(n)
	}
	return base, nil
}

// wholeDays is a track's light on successive days: out of the cells where the
// frame holds them, else by reading.
func (b *bin) wholeDays(ctx context.Context, t *track, bounds []int64) ([]dli.Light, error) {
	if bounds[0] < b.cells[0].from || bounds[len(bounds)-1] > b.cells[len(b.cells)-1].until {
		series := buffers.Get().(*light.Series)
		defer buffers.Put(series)
		_, days, _, err := b.read(ctx, t, series, bounds)
		return days, err
	}
	days := make([]dli.Light, len(bounds)-1)
	c := sort.Search(len(b.cells), func(c int) bool { return b.cells[c].from >= bounds[0] })
	for d := range days {
		for ; c < len(b.cells) && b.cells[c].until <= bounds[d+1]; c++ {
			days[d].Mol += t.lights[c].Mol
			days[d].Covered += t.lights[c].Covered
		}
	}
	return days, nil
}

// judge compares the tracks that cover a cell, and keeps the verdict on the
// others as it was.
func (b *bin) judge(c int, base []float64, wrong []string) {
	if base == nil {
		return
	}
	cell := b.cells[c]
	seen, logs := b.seen[:0], b.logs[:0]
	defer func() { b.seen, b.logs = seen[:0], logs[:0] }() // cells are many: their memory serves again
	lit := false
	for i, t := range b.tracks {
		if l := t.lights[c]; float64(l.Covered) >= fullDay*float64(cell.until-cell.from) {
			seen, logs = append(seen, i), append(logs, max(math.Log(float64(l.Mol))-base[i], darkLog))
			lit = lit || float64(l.Mol)*light.MicromolesPerMole/time.Duration(l.Covered).Seconds() > darkest
		}
	}
	if !lit || len(seen) < 2 {
		return
	}
	for _, i := range seen {
		wrong[i] = ""
	}
	doubt := func(off float64) string {
		if off < math.Log(outBelow) {
			return "it was dark while others of the bin were lit"
		}
		return "its share of the bin's light has changed"
	}
	for len(seen) > 2 {
		worst, off := b.farthest(logs)
		if !(math.Abs(off) > watch.RatioOff) {
			return
		}
		wrong[seen[worst]] = doubt(off)
		b.suspect(suspicion{sensor: b.tracks[seen[worst]].sensor, during: dli.Gap{From: cell.from, Until: cell.until}, why: wrong[seen[worst]]})
		seen, logs = slices.Delete(seen, worst, worst+1), slices.Delete(logs, worst, worst+1)
	}
	low, high := 0, 1
	if logs[1] < logs[0] {
		low, high = 1, 0
	}
	if logs[high]-logs[low] > watch.RatioOff {
		b.judgeTwo(c, seen[low], seen[high], logs[low], logs[high], wrong)
	}
}

// farthest is which log ratio lies farthest from the median of the others, and how
// far.
func (b *bin) farthest(logs []float64) (worst int, off float64) {
	for k := range logs {
		others := append(append(b.others[:0], logs[:k]...), logs[k+1:]...)
		slices.Sort(others)
		b.others = others
		middle := (others[(len(others)-1)/2] + others[len(others)/2]) / 2
		if d := logs[k] - middle; math.Abs(d) > math.Abs(off) {
			worst, off = k, d
		}
	}
	return worst, off
}

// judgeTwo tells of two tracks that part: the lower is wrong if it was dark while
// the other was plainly lit, else either may be.
func (b *bin) judgeTwo(c, low, high int, logLow, logHigh float64, wrong []string) {
	cell := b.cells[c]
	during := dli.Gap{From: cell.from, Until: cell.until}
	long := float64(cell.until-cell.from) / dayNS
	if logLow < math.Log(outBelow*long) && logHigh > math.Log(plainlyLit*long) {
		wrong[low] = "it was dark while the bin's other sensor was lit"
		b.suspect(suspicion{sensor: b.tracks[low].sensor, during: during, why: wrong[low]})
		return
	}
	b.unsure[c] = math.Expm1(logHigh-logLow) / 2 // either may be right
	b.suspect(suspicion{
		sensor: b.tracks[low].sensor, during: during, kept: true,
		why: "it and " + b.tracks[high].sensor + " no longer agree, and of two neither can be called the wrong one",
	})
}
