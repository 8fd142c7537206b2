package watch

import (
	"fmt"
	"math"
	"slices"
	"time"

	"parstead/light"
)

// The thresholds that the light account shares, which judges past readings.
const (
	FlatReadings = 6                // equal ones in a row: the least that can be called stuck
	FlatEachSide = 30 * time.Minute // of a switching time that a stuck sensor did not see
	RatioOff     = 0.15             // natural log of a sensor's share in the bin, against its baseline
)

const (
	saturatedOf   = 5 // newest readings, of which
	saturatedWant = 3 // say that the sensor is at its ceiling
)

// silent names the sensors that are not heard, those of one bin or of the whole
// rack as one cause.
func (l *look) silent() []Condition {
	byBin := map[string][]*sensed{}
	all, quiet := map[string]int{}, 0
	for i := range l.sensors {
		s := &l.sensors[i]
		all[s.Position.Bin]++
		if s.quiet {
			quiet++
			byBin[s.Position.Bin] = append(byBin[s.Position.Bin], s)
		}
	}
	if quiet > 1 && quiet == len(l.sensors) {
		since := l.sensors[0].heard
		for _, s := range l.sensors {
			since = later(since, s.heard)
		}
		return []Condition{{
			Kind: Silent, Since: since, Says: fmt.Sprintf("None of the %d sensors is heard.", len(l.sensors)),
			Do: "Look at the power of the rack, then at the network and the broker.",
		}}
	}
	var found []Condition
	for bin, mute := range byBin {
		if len(mute) > 1 && len(mute) == all[bin] {
			since := mute[0].heard
			for _, s := range mute {
				since = later(since, s.heard)
			}
			found = append(found, Condition{
				Kind: Silent, Bin: bin, Since: since, Says: fmt.Sprintf("None of the %d sensors of bin %s is heard.", len(mute), bin),
				Do: "Look at their supply and at the network.",
			})
			continue
		}
		for _, s := range mute {
			found = append(found, Condition{
				Kind: Silent, Bin: bin, Sensor: s.Name, Since: s.heard,
				Says: fmt.Sprintf("Sensor %s is not heard.", s.Name), Do: "Look at its supply, its cable and the network.",
			})
		}
	}
	return append(found, l.seldom()...)
}

// fewReadings say nothing of how far apart a sensor's readings are.
const fewReadings = 10

// seldom is how far apart the sensor's readings are, where most are further apart than
// its max gap; else 0.
func (s *sensed) seldom() time.Duration {
	if len(s.points) < fewReadings {
		return 0
	}
	steps := make([]time.Duration, len(s.points)-1)
	for i := range steps {
		steps[i] = time.Duration(s.points[i+1].ns - s.points[i].ns)
	}
	slices.Sort(steps)
	if apart := steps[len(steps)/2]; apart > s.MaxGap {
		return apart.Round(time.Second)
	}
	return 0
}

// seldom tells of sensors that are heard, yet too seldom for what trial.toml says of
// them: nothing is known between their readings, as if they were silent.
func (l *look) seldom() []Condition {
	var found []Condition
	for _, s := range l.sensors {
		if s.apart == 0 || s.quiet {
			continue
		}
		every := light.Plain(s.apart)
		found = append(found, Condition{
			Kind: Silent, Bin: s.Position.Bin, Sensor: s.Name, Since: later(l.rack.Trial().From, s.During.From),
			Says: fmt.Sprintf("Sensor %s reads every %s, further apart than the %s that are bridged: most of what it measures counts as missing.", s.Name, every, light.Plain(s.MaxGap)),
			Do:   fmt.Sprintf("Write every = %q under its [[sensor]] in trial.toml: all that it read then counts, from the start.", every),
		})
	}
	return found
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// stuck finds light sensors that can't be believed now, and marks them so that
// lamps are not judged by them.
func (l *look) stuck() []Condition {
	var found []Condition
	for i := range l.sensors {
		s := &l.sensors[i]
		if !s.Measures.IsLight() || s.quiet {
			continue
		}
		if since, ok := s.saturated(); ok {
			s.stuck = true
			found = append(found, Condition{
				Kind: Saturated, Bin: s.Position.Bin, Sensor: s.Name, Since: since,
				Says: fmt.Sprintf("Sensor %s is at its ceiling.", s.Name),
			})
			continue
		}
		if since, ok := l.flat(s); ok {
			s.stuck = true
			found = append(found, Condition{
				Kind: Flat, Bin: s.Position.Bin, Sensor: s.Name, Since: since,
				Says: fmt.Sprintf("Sensor %s has sent the same value through a change of light.", s.Name),
			})
		}
	}
	return append(found, l.ratios()...)
}

func (s *sensed) saturated() (since time.Time, ok bool) {
	n := 0
	for _, p := range slices.Backward(s.raw) {
		if light.Saturated(p.value) || s.Measures.AtCeiling(p.value) || s.Value(p.value) > s.High {
			n++
			since = p.at()
		}
	}
	return since, n >= saturatedWant
}

// flat finds a run of exactly equal readings until now that reaches past a
// switching time by half an hour on both sides. Equal darkness is believed
// unless another sensor of the bin saw light meanwhile.
func (l *look) flat(s *sensed) (since time.Time, ok bool) {
	n := len(s.points)
	i := n - 1
	for i > 0 && s.points[i-1].value == s.points[n-1].value {
		i--
	}
	if i < 0 || n-i < FlatReadings {
		return time.Time{}, false
	}
	run := light.Span{From: s.points[i].at(), Until: s.points[n-1].at()}
	if !s.isLit(s.points[n-1].value) && !l.othersSawLight(s, run) {
		return time.Time{}, false
	}
	return run.From, crossesEdge(run, l.due(s.Position.Bin))
}

func crossesEdge(run light.Span, timer []light.Span) bool {
	in := light.Span{From: run.From.Add(FlatEachSide), Until: run.Until.Add(-FlatEachSide)}
	return in.From.Before(in.Until) && slices.ContainsFunc(timer, func(t light.Span) bool {
		return in.Holds(t.From) || in.Holds(t.Until)
	})
}

func (l *look) othersSawLight(s *sensed, run light.Span) bool {
	for i := range l.sensors {
		o := &l.sensors[i]
		if o == s || o.Name == s.Name || o.Position.Bin != s.Position.Bin || !o.Measures.IsLight() {
			continue
		}
		n := 0
		for _, p := range inside(o.points, []light.Span{run}) {
			if o.isLit(p.value) {
				n++
			}
		}
		if time.Duration(n)*o.Every >= FlatEachSide {
			return true
		}
	}
	return false
}

// ratios finds a sensor whose share of its bin's light has changed. Of two
// sensors neither can be called the wrong one.
func (l *look) ratios() []Condition {
	var found []Condition
	for _, bin := range l.rack.Bins {
		if l.sunny[bin.Name] { // their ratio changes with the hour
			continue
		}
		expected := inner(l.due(bin.Name), grace)
		var sensors []*sensed
		var logs []float64
		var since []time.Time
		for i := range l.sensors {
			s := &l.sensors[i]
			if s.Position.Bin != bin.Name || !s.Measures.IsLight() || s.quiet || s.stuck {
				continue
			}
			recent, from := s.plateau(expected)
			if r := math.Log(recent / s.baseline); !math.IsNaN(r) && !math.IsInf(r, 0) {
				sensors, logs, since = append(sensors, s), append(logs, r), append(since, from)
			}
		}
		if len(sensors) < 2 {
			continue
		}
		worst, off := 0, 0.0
		for i := range sensors {
			others := slices.Concat(logs[:i], logs[i+1:])
			if d := math.Abs(logs[i] - median(others)); d > off {
				worst, off = i, d
			}
		}
		if off <= RatioOff {
			continue
		}
		says := fmt.Sprintf("Sensor %s reads %+.0f %% against the other sensors of bin %s.", sensors[worst].Name, 100*math.Expm1(logs[worst]-median(slices.Concat(logs[:worst], logs[worst+1:]))), bin.Name)
		if len(sensors) == 2 {
			says = fmt.Sprintf("Sensors %s and %s no longer agree, by %.0f %%.", sensors[0].Name, sensors[1].Name, 100*math.Expm1(off))
		} else {
			sensors[worst].stuck = true
		}
		found = append(found, Condition{
			Kind: Ratio, Bin: bin.Name, Sensor: sensors[worst].Name, Since: since[worst], Says: says,
		})
	}
	return found
}
