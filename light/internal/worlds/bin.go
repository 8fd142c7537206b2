//go:build worlds

package worlds

import (
	"math"
	"math/rand/v2"
)

// Bin is a rack in use: the map, its timer, and the lamp's level through the
// day. The level moves every place alike, so the map of ratios stays as it is.
type Bin struct {
	Rack
	Timer    Timer
	WarmBy   float64 // level at switch-on, beside the settled one, less one
	WarmSec  float64 // time constant of settling
	RoomC    float64 // temperature at which the lamp is "full"
	RoomAmp  float64 // half the swing of the day
	PerC     float64 // relative change of light per kelvin
	SlowFade float64 // relative loss of the lamp per day
	Extra    []Slow  // faults of the lamp: all the bin and the walk feel them
}

// NewBin draws a timer and a lamp's habits. An LED starts bright and sinks as
// its junction heats; a tube starts dim and rises as its mercury warms.
func NewBin(k Rack, seed uint64) *Bin {
	g := Sub(seed, "bin")
	b := &Bin{
		Rack: k, Timer: NewTimer(g), RoomC: span(g, 17, 24), RoomAmp: span(g, 0.5, 5),
		SlowFade: span(g, 0, 0.0003),
	}
	if k.Lamp == "tube" {
		b.WarmBy, b.WarmSec, b.PerC = span(g, -0.5, -0.25), span(g, 80, 300), span(g, -0.008, 0.006)
	} else {
		b.WarmBy, b.WarmSec, b.PerC = span(g, 0.01, 0.08), span(g, 300, 1200), span(g, -0.006, -0.001)
	}
	return b
}

// Level is the lamp's output beside its full one.
func (b *Bin) Level(w When) float64 {
	s, on := b.Timer.Since(w)
	if !on {
		return 0
	}
	warm := 1 + b.WarmBy*math.Exp(-s/b.WarmSec)
	level := warm * (1 + b.PerC*b.swing(w)) * (1 - b.SlowFade*w.Days())
	for _, f := range b.Extra {
		if f.Mul != nil {
			level *= f.Mul(w.Days())
		}
	}
	return math.Max(0, level)
}

// swing is the room's departure from its mean: warmest in mid afternoon.
func (b *Bin) swing(w When) float64 {
	return b.RoomAmp * math.Sin(2*math.Pi*(float64(w.Sec)/3600-9)/24)
}

// Size and the others make Bin a World.
func (b *Bin) Size() (int, int)         { return b.Rows, b.Columns }
func (b *Bin) SensorAt() [2]int         { return b.Sensor }
func (b *Bin) LampTimer() (Timer, bool) { return b.Timer, true }
func (b *Bin) LampKind() string         { return b.Lamp }
func (b *Bin) LuxPer() float64          { return b.Rack.LuxPer }

// SunLight is nil in a rack in a shed; a bin on a sill is a Daylight.
func (b *Bin) SunLight(r, c int, w When, ins Instrument) float64 { return 0 }

// LampLight is the map times the level. The plain head is by far the most
// asked, so its answer is taken from the map.
func (b *Bin) LampLight(r, c int, w When, ins Instrument) float64 {
	l := b.Level(w)
	if l == 0 {
		return 0
	}
	if ins.plain() {
		return b.True[r][c] * l
	}
	return b.See(r, c, ins) * l
}

// LightHours gives the lamp's hours on a day; to may lie past midnight.
func (b *Bin) LightHours(day int) (int, int) {
	lag := int(math.Round(b.Timer.DriftPerDay * float64(day) * 60))
	from := b.Timer.OnMin*60 + lag
	return from, from + b.Timer.Minutes()*60
}

// pickTime draws a moment inside the light hours, some way from their ends.
func pickTime(g *rand.Rand, w World, day int) When {
	from, to := w.LightHours(day)
	edge := (to - from) / 6
	return When{Day: day}.Plus(from + edge + g.IntN(max(1, to-from-2*edge)))
}
