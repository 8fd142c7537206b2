package account

import (
	"math"
	"slices"
	"time"

	"parstead/light"
	"parstead/light/watch"
)

// drifting tells of sensors that have changed slowly, or by a step, under the lamps
// as they were at the end of the days asked for, where no suspicion tells of them.
func (b *bin) drifting() (sentences []string) {
	if b.sun.Sun || len(b.tracks) == 0 {
		return nil
	}
	regime := b.cells[len(b.cells)-1].regime
	var dates []int // of the frame
	for d, date := range b.frame.dates {
		if b.inRegime(date, regime) {
			dates = append(dates, d)
		}
	}
	var all []watch.Course
	for _, t := range b.tracks {
		if t.until <= b.cells[len(b.cells)-1].from || slices.ContainsFunc(b.suspects, func(s suspicion) bool { return s.sensor == t.sensor }) {
			continue
		}
		c := watch.Course{Sensor: t.sensor, Bin: b.Name}
		for _, d := range dates {
			c.Logs = append(c.Logs, math.Log(b.brightness(t, d)))
		}
		all = append(all, c)
	}
	if len(all) == 0 {
		return nil
	}
	for _, found := range watch.Drifts(all, func(d int) time.Time { return unix(b.frame.bounds[dates[d]]) }) {
		since := light.DateOf(found.Since.In(b.rack.Zone))
		sentences = append(sentences, found.Says+" It began to show on "+since.String()+".")
	}
	return sentences
}

// brightness is what a track saw on a day of the frame, on a mean of the timer's hours,
// mol m⁻² s⁻¹; NaN where readings don't cover the day, or show no lamp.
func (b *bin) brightness(t *track, d int) float64 {
	mol, covered := 0.0, int64(0)
	for c := b.first[d]; c < b.first[d+1]; c++ {
		mol += float64(t.lights[c].Mol)
		covered += t.lights[c].Covered
	}
	lit := time.Duration(0)
	from, until := b.frame.bounds[d], b.frame.bounds[d+1]
	for _, s := range b.lit(from, until) {
		lit += s.Length()
	}
	ppfd := mol / lit.Seconds()
	if lit == 0 || float64(covered) < fullDay*float64(until-from) || !(ppfd*light.MicromolesPerMole > darkest) {
		return math.NaN()
	}
	return ppfd
}
