package demo

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"parstead/light"
)

// probe is one sensor as it truly is.
type probe struct {
	light.Sensor
	Topic, Pointer, TimePointer string

	bin      *bin
	cell     int
	gain     float64 // raw light per unit of truth
	resolves float64 // step of the raw value
	stream   uint64  // of its noise
}

// post is one message of a device at a tick: a bare number, or an object with
// light and air in it and its own time.
type post struct {
	topic      string
	light, air int // indices of probes; -1 for none
	retain     bool
	nested     bool
}

// Message is what a device publishes.
type Message struct {
	Topic   string
	Payload []byte
	Retain  bool
}

const (
	luxGainSD     = 0.14  // between cheap chips, before they are compared
	quantumGainSD = 0.03  // of the quantum sensor's calibration
	comparedSD    = 0.035 // left after an hour beside the quantum sensor
	luxError      = 0.05  // what the grower states for a compared chip
	lightNoise    = 0.004
	airNoise      = 0.08   // °C
	airOffsetSD   = 0.2    // °C
	lostMessage   = 0.0015 // share of messages that the radio loses
)

// wiring says how the light sensor of each bin speaks.
var wiring = map[string]string{
	"upper-left": "bare", "upper-right": "bare", "middle-right": "bare",
	"middle-left": "nested", "lower-right": "nested",
	"lower-left": "property",
	pond:         "quantum",
}

func (w *World) describeAir() {
	w.Rack.Limits.Celsius = &[2]float64{16, 30}
	w.Rack.BaseCelsius, w.Rack.HasBase = 10, true
	w.Rack.OffTarget = 0.1 // what a trial takes that doesn't say
}

// buildSensors sets a light and an air sensor into each bin and a float switch
// into each reservoir.
func (w *World) buildSensors() {
	rng := w.stream(streamSensors)
	quantum := 1 + quantumGainSD*rng.NormFloat64()
	for i := range w.places {
		b := &w.places[i]
		at := light.Position{Bin: b.Name, Row: (b.Rows+1)/2 + rng.IntN(2)*(1-b.Rows%2), Column: b.Columns/2 + rng.IntN(2)}
		chip := math.Exp(luxGainSD * rng.NormFloat64())
		compared := math.Exp(comparedSD * rng.NormFloat64())
		offset := airOffsetSD * rng.NormFloat64()
		if w.Exact {
			quantum, compared = 1, 1
		}

		eye := probe{bin: b, cell: b.Index(at), resolves: 1}
		eye.Position, eye.Measures = at, light.QuantityLux
		eye.Name, eye.Topic = "lux "+b.Name, "rack/"+b.Name+"/lux"
		eye.Scale = round(quantum/chip*compared, 0.001)
		eye.RelativeError = luxError
		eye.gain = luxPerPPFD * chip
		if w.Exact {
			eye.gain = luxPerPPFD / eye.Scale
		}
		air := probe{bin: b, gain: offset, resolves: 0.01}
		air.Position, air.Measures = light.Position{Bin: b.Name}, light.QuantityTemperature
		air.Name, air.Topic = "air "+b.Name, "rack/"+b.Name+"/air"
		w.wire(eye, air, quantum)
	}
	for i, reservoir := range reservoirs {
		b := &w.places[2*i] // the float hangs in the tank under the shelf's first bin
		float := probe{bin: b, resolves: 1}
		float.Position, float.Measures = light.Position{Bin: b.Name}, light.QuantityWet
		float.Name, float.Topic = "float "+reservoir, "rack/reservoir-"+strings.ToLower(reservoir)+"/wet"
		w.posts = append(w.posts, post{topic: float.Topic, light: -1, air: w.add(float)})
	}
}

// wire lets a bin's sensors speak as the bin's wiring has it. quantum is the quantum
// sensor's gain.
func (w *World) wire(eye, air probe, quantum float64) {
	bin := eye.bin.Name
	switch wiring[bin] {
	case "nested":
		eye.Topic, eye.Pointer, eye.TimePointer = "rack/"+bin+"/node", "/light/lux", "/at"
		air.Topic, air.Pointer, air.TimePointer = eye.Topic, "/air/celsius", "/at"
		w.posts = append(w.posts, post{topic: eye.Topic, nested: true, light: w.add(eye), air: w.add(air)})
		return
	case "property":
		eye.Topic, air.Topic = "rack/"+bin+"/light/illuminance", "rack/"+bin+"/climate/temperature"
	case "quantum":
		eye.Measures = light.QuantityPPFD
		eye.Name, eye.Topic = "quantum "+bin, "rack/"+bin+"/ppfd"
		eye.Scale, eye.gain, eye.resolves = 1, quantum, 0.1
		eye.RelativeError = eye.Measures.RelativeError()
	}
	w.posts = append(w.posts,
		post{topic: eye.Topic, light: w.add(eye), air: -1, retain: wiring[bin] == "property"},
		post{topic: air.Topic, light: -1, air: w.add(air)})
}

// add completes a sensor, takes it into the rack and gives its index.
func (w *World) add(p probe) int {
	p.Every, p.MaxGap = Every, 10*Every
	p.Low, p.High = p.Measures.Valid()
	p.stream = uint64(len(w.probes) + 1)
	if p.Scale == 0 {
		p.Scale = 1
	}
	w.probes = append(w.probes, p)
	w.Rack.Sensors = append(w.Rack.Sensors, p.Sensor)
	return len(w.probes) - 1
}

// raw is the number that the sensor puts out at t.
func (w *World) raw(p *probe, t time.Time) float64 {
	switch p.Measures {
	case light.QuantityTemperature:
		return round(w.celsius(p.bin, t)+p.gain+airNoise*noise(w.Seed, p.stream, t), p.resolves)
	case light.QuantityWet:
		if w.flooded(p.bin.Reservoir, t) {
			return 1
		}
		return 0
	default:
		if w.season.stuckBin == p.bin.Name && w.season.stuck.Holds(t) {
			t = w.season.stuck.From
		}
		v := w.inAir(p.bin, p.cell, t) * p.gain
		return math.Max(0, round(v*(1+lightNoise*noise(w.Seed, p.stream, t)), p.resolves))
	}
}

// celsius is the air at the plants: a room that cools from summer to winter,
// warmest in the afternoon, with the lamp's heat on top.
func (w *World) celsius(b *bin, t time.Time) float64 {
	days := t.Sub(w.start).Hours() / 24
	local := t.In(w.Rack.Zone)
	hour := float64(local.Hour()) + float64(local.Minute())/60
	c := 23.2 - 3.6*days/float64(w.Days) + 0.9*math.Sin((hour-10)/12*math.Pi)
	if b.burning(t) {
		c += 2.2 * b.field[0][0] / 130
	}
	if day := w.dayNumber(t); day == w.season.hot && hour >= 11 && hour < 19 {
		c = hotCelsius - 1.2 + 1.2*math.Sin((hour-11)/8*math.Pi)
	}
	return c
}

func (w *World) flooded(reservoir string, t time.Time) bool {
	if w.season.missedIn == reservoir && w.season.missed.Holds(t) {
		return false
	}
	if w.season.cut.Holds(t) && !w.season.cut.From.IsZero() {
		return false
	}
	date := light.DateOf(t.In(w.Rack.Zone))
	for _, clock := range floodTimes {
		// The tank takes a while to fill and to drain.
		from := clock.On(date, w.Rack.Zone).Add(time.Minute)
		if (light.Span{From: from, Until: from.Add(floodLasts + 5*time.Minute)}).Holds(t) {
			return true
		}
	}
	return false
}

// speaks tells whether a message of the device got out at t.
func (w *World) speaks(p *post, t time.Time) bool {
	if cut := w.season.cut; !cut.From.IsZero() && cut.Holds(t) {
		return false
	}
	id := p.light
	if id < 0 {
		id = p.air
	}
	return uniform(w.Seed, w.probes[id].stream<<8|0xff, t) >= lostMessage
}

// Messages appends what the devices publish at the tick t. The bytes are fresh.
func (w *World) Messages(t time.Time, dst []Message) []Message {
	for i := range w.posts {
		p := &w.posts[i]
		if w.speaks(p, t) {
			dst = append(dst, w.message(p, t))
		}
	}
	if t.Equal(w.season.repeated) {
		for i := range w.posts {
			for back := time.Hour; w.posts[i].nested && back > 0; back -= Every {
				if at := t.Add(-back); w.speaks(&w.posts[i], at) {
					dst = append(dst, w.message(&w.posts[i], at))
				}
			}
		}
	}
	return dst
}

func (w *World) message(p *post, t time.Time) Message {
	m := Message{Topic: p.topic, Retain: p.retain}
	switch {
	case p.nested:
		m.Payload = fmt.Appendf(nil, `{"at":%q,"light":{"lux":%s},"air":{"celsius":%s}}`,
			t.UTC().Format(time.RFC3339), number(w.raw(&w.probes[p.light], t)), number(w.raw(&w.probes[p.air], t)))
	case p.light >= 0:
		m.Payload = []byte(number(w.raw(&w.probes[p.light], t)))
	default:
		m.Payload = []byte(number(w.raw(&w.probes[p.air], t)))
	}
	return m
}

// Readings gives what the season's sensors said, as the daemon would have stored
// it, one reading each interval (0: Every), with the grower's notes. While the
// daemon's clock lags it refuses readings that carry a time of their own, for
// they seem to come from the future.
func (w *World) Readings(interval time.Duration) *light.Memory {
	if interval == 0 {
		interval = Every
	}
	m := &light.Memory{Readings: map[string]*light.Series{}, Log: w.Notes()}
	trial := w.Rack.Trial()
	for i := range w.posts {
		p := &w.posts[i]
		for _, id := range []int{p.light, p.air} {
			if id < 0 {
				continue
			}
			own := light.Mark(0)
			if p.nested {
				own = light.OwnTime
			}
			s := &light.Series{}
			for t := trial.From; t.Before(trial.Until); t = t.Add(interval) {
				if w.speaks(p, t) && (!p.nested || !w.season.clockLags(t)) {
					s.Add(t, w.raw(&w.probes[id], t), own)
				}
				if p.retain && t.Equal(w.season.repeated) {
					s.Add(t, w.raw(&w.probes[id], w.staleSince()), light.Stale)
				}
			}
			m.Readings[w.probes[id].Name] = s
		}
	}
	return m
}

// staleSince is when the retained value was true that is delivered again at the
// repeat: the evening before, its lamp off.
func (w *World) staleSince() time.Time { return w.season.repeated.Add(-13 * time.Hour) }

func round(v, step float64) float64 {
	if step >= 1 {
		return math.Round(v/step) * step
	}
	per := math.Round(1 / step)
	return math.Round(v*per) / per
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// uniform is a number in [0, 1) fixed by its arguments, so that any reading can
// be made without those before it (a 64-bit finaliser of xor and multiply).
func uniform(seed, stream uint64, t time.Time) float64 {
	x := seed*0x9e3779b97f4a7c15 ^ stream*0xd1b54a32d192ed03 ^ uint64(t.Unix())*0x8cb92ba72f3d8dd7
	for range 2 {
		x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
		x = (x ^ x>>27) * 0x94d049bb133111eb
		x ^= x >> 31
	}
	return float64(x>>11) / (1 << 53)
}

// noise is a standard normal number fixed by its arguments (Box and Muller).
func noise(seed, stream uint64, t time.Time) float64 {
	u := 1 - uniform(seed, stream<<8|1, t)
	return math.Sqrt(-2*math.Log(u)) * math.Cos(2*math.Pi*uniform(seed, stream<<8|2, t))
}
