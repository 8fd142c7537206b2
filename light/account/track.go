package account

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"sync"

	"parstead/light"
	"parstead/light/dli"
)

// track is a light sensor while it stays at one place with one error.
type track struct {
	sensor        string
	measures      light.Quantity
	depthCM       float64
	position      light.Position
	relativeError float64
	weight        float64 // 1 over its square
	ownError      float64 // of relativeError, what this sensor shares with no other
	sharedError   float64 // and what all of its kind under one lamp have in common: the lamp's factor
	every         int64   // ns between its readings over the frame, on average
	apart         int64   // ns between them, in the middle, where most are too far apart to be bridged; else 0
	heard         int64   // Unix ns of its last reading of the frame; 0 for none
	maxGap        int64
	from, until   int64 // Unix ns; outermost of the stretches
	stretches     []dli.Stretch

	lights []dli.Light // per cell of the frame
	gaps   []dli.Gap
	stuck  []dli.Gap     // runs of equal readings over the frame, set aside
	above  []placesAbove // per cell, if wanted
	frame  *loaded       // its curve over the frame, while it is kept

	saturated, outside dli.Refused // readings of the frame
}

// chipError is what is assumed of a lux sensor's own error beside the lamp's factor: a
// quantum sensor's, whose scale has nothing to do with the lamp.
var chipError = light.QuantityPPFD.RelativeError()

// leastError keeps weights finite: a sensor said to be without error is trusted
// as one of 0.1 %.
const leastError = 0.001

// findTracks lists the bin's light sensors, without the stretches that the log
// or the caller sets aside.
func (b *bin) findTracks(log []light.Event, asides []Aside) error {
	var factors []dli.Factor
	for _, s := range b.rack.Sensors {
		if s.Position.Bin != b.Name || !s.Measures.IsLight() {
			continue
		}
		if s.Measures.NeedsLampFactor() && factors == nil {
			var err error
			if factors, err = b.factors(); err != nil {
				return err
			}
		}
		stretches, err := dli.Stretches(s, factors)
		if err != nil {
			return err
		}
		if s.DepthCM > 0 && b.WaterCM == 0 {
			return fmt.Errorf("sensor %s lies %v cm under water in bin %s, which has none: give the bin water_cm", s.Name, s.DepthCM, b.Name)
		}
		for i := range stretches {
			stretches[i].PerUnit *= b.underWater(s.DepthCM, b.WaterCM)
		}
		for _, e := range log {
			named := e.Sensor == s.Name || e.Sensor == "" && e.Bin == b.Name
			if e.Kind == light.Ignore && named && e.During != (light.Span{}) {
				stretches = dli.Without(stretches, e.During)
			}
		}
		for _, aside := range asides {
			if aside.Sensor == s.Name {
				stretches = dli.Without(stretches, aside.During)
			}
		}
		b.addTrack(s, stretches)
	}
	return nil
}

// addTrack joins the stretches to the track that the sensor continues, or begins
// another.
func (b *bin) addTrack(s light.Sensor, stretches []dli.Stretch) {
	i := slices.IndexFunc(b.tracks, func(t *track) bool {
		return t.sensor == s.Name && t.position == s.Position && t.relativeError == s.RelativeError && t.depthCM == s.DepthCM
	})
	if i < 0 {
		e := max(s.RelativeError, leastError)
		b.tracks = append(b.tracks, &track{
			sensor: s.Name, measures: s.Measures, depthCM: s.DepthCM, position: s.Position, relativeError: s.RelativeError, weight: 1 / (e * e),
			from: math.MaxInt64, until: math.MinInt64,
		})
		i = len(b.tracks) - 1
		t := b.tracks[i]
		if t.ownError = e; s.Measures.NeedsLampFactor() && e > chipError {
			t.ownError, t.sharedError = chipError, math.Sqrt(square(e)-square(chipError))
		}
	}
	t := b.tracks[i]
	t.maxGap = max(t.maxGap, int64(s.MaxGap))
	t.from = min(t.from, dli.Nanoseconds(s.During.From, math.MinInt64))
	t.until = max(t.until, dli.Nanoseconds(s.During.Until, math.MaxInt64))
	t.stretches = append(t.stretches, stretches...)
	slices.SortFunc(t.stretches, func(a, b dli.Stretch) int { return cmp.Compare(a.From, b.From) })
}

// buffers are series whose memory is used again: those for whole frames, and
// those for a few days, of which very many may be held at once.
var (
	buffers    = sync.Pool{New: func() any { return new(light.Series) }}
	dayBuffers = sync.Pool{New: func() any { return new(light.Series) }}
)

// large tells whether the bin has so many tracks that they are read in parallel.
func (b *bin) large() bool { return len(b.tracks) > mostTracks }

// compute integrates the bin's tracks over the frame and works out what each place
// received. Few tracks follow one another, and as long as they are not many
// readings the curves of those with many gaps stay at hand for filling.
func (b *bin) compute(ctx context.Context, levels []float64) error {
	if b.large() {
		err := parallel(len(b.tracks), func(i int) error { return b.integrate(ctx, b.tracks[i], levels, 0) })
		if err != nil {
			return err
		}
		if err := b.compare(ctx, levels); err != nil {
			return err
		}
		return b.combine(ctx)
	}
	room := mostKept
	for _, t := range b.tracks {
		if err := b.integrate(ctx, t, levels, room); err != nil {
			return err
		}
		if t.frame != nil {
			room -= len(t.frame.curve.Times)
		}
	}
	err := b.compare(ctx, levels)
	if err == nil {
		err = b.combine(ctx)
	}
	for _, t := range b.tracks {
		if t.frame != nil {
			buffers.Put(t.frame.series)
			t.frame = nil
		}
	}
	return err
}

// integrate computes a track's light over the cells of the frame, and keeps its
// curve if it has many gaps and no more readings than there is room for.
func (b *bin) integrate(ctx context.Context, t *track, levels []float64, room int) error {
	bounds := make([]int64, 0, len(b.cells)+1)
	bounds = append(bounds, b.cells[0].from)
	for _, c := range b.cells {
		bounds = append(bounds, c.until)
	}
	series := buffers.Get().(*light.Series)
	curve, lights, runs, err := b.read(ctx, t, series, bounds)
	if err != nil {
		return err
	}
	t.stuck = runs
	t.lights, t.gaps = lights, curve.Gaps
	if t.every = 0; len(curve.Times) > 0 {
		covered := int64(0)
		for _, l := range lights {
			covered += l.Covered
		}
		t.every = covered / int64(len(curve.Times))
	}
	t.saturated, t.outside = curve.Saturated, curve.Outside
	t.listen(&curve)
	b.countAbove(t, &curve, levels)
	if len(curve.Gaps) <= keptCurves || len(curve.Times) > room { // a few gaps' days are soon read again
		buffers.Put(series)
		return nil
	}
	t.frame = &loaded{from: bounds[0], until: bounds[len(bounds)-1], curve: curve, series: series}
	return nil
}

// fewReadings say nothing of how far apart a sensor's readings are.
const fewReadings = 10

// listen notes when the track was last heard, and whether its readings come too
// seldom for what trial.toml says of them.
func (t *track) listen(curve *dli.Curve) {
	n := len(curve.Times)
	t.heard, t.apart = 0, 0
	if n == 0 {
		return
	}
	t.heard = curve.Times[n-1]
	if n < fewReadings || 2*len(curve.Gaps) < n {
		return
	}
	steps := make([]int64, n-1)
	for i := range steps {
		steps[i] = curve.Times[i+1] - curve.Times[i]
	}
	slices.Sort(steps)
	t.apart = steps[len(steps)/2]
}

// read integrates the track's readings over the bounds, without the runs in which
// it was stuck. The curve lives in the series' memory.
func (b *bin) read(ctx context.Context, t *track, series *light.Series, bounds []int64) (dli.Curve, []dli.Light, []dli.Gap, error) {
	series.Reset()
	from, until := max(bounds[0]-t.maxGap, t.from), min(bounds[len(bounds)-1]+t.maxGap+1, t.until)
	if from >= until {
		curve, lights := dli.Integrate(series, t.stretches, bounds, nil)
		return curve, lights, nil, nil
	}
	if err := b.src.Series(ctx, t.sensor, light.Span{From: unix(from), Until: unix(until)}, series); err != nil {
		return dli.Curve{}, nil, nil, fmt.Errorf("read sensor %s: %w", t.sensor, err)
	}
	runs, err := b.stuckRuns(ctx, t, series, from, until)
	if err != nil {
		return dli.Curve{}, nil, nil, err
	}
	topped, refused := t.topped(series, bounds)
	curve, lights := dli.Integrate(series, without(t.stretches, append(topped, runs...)), bounds, nil)
	curve.Saturated.Join(refused)
	return curve, lights, runs, nil
}

// topped finds the runs of readings at a lux chip's ceiling, which are no measurement,
// and counts those within the bounds.
func (t *track) topped(s *light.Series, bounds []int64) (runs []dli.Gap, refused dli.Refused) {
	if !t.measures.NeedsLampFactor() {
		return nil, refused
	}
	for i := 0; i < len(s.Values); i++ {
		first := i
		for i < len(s.Values) && t.measures.AtCeiling(s.Values[i]) {
			i++
		}
		if i-first < light.CeilingHeld {
			continue
		}
		runs = append(runs, dli.Gap{From: s.Times[first], Until: s.Times[i-1] + 1})
		for _, at := range s.Times[first:i] {
			if at >= bounds[0] && at < bounds[len(bounds)-1] {
				refused.Add(at)
			}
		}
	}
	return runs, refused
}
