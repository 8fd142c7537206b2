//go:build worlds

package worlds

import (
	"math"
	"sync"
)

// DayKind is what the grower would call the day.
type DayKind int

// The three kinds: they differ in how much light and in how fast it moves.
const (
	Clear DayKind = iota
	Broken
	Overcast
)

func (k DayKind) String() string { return [...]string{"clear", "broken", "overcast"}[k] }

// Weather is a season of skies over a site.
type Weather struct {
	Site
	Seed  uint64
	Kinds []DayKind

	mu   sync.Mutex
	days map[int][]float64
}

// NewWeather draws the days one after another: weather lingers, so tomorrow is
// more often like today (a Markov chain; common practice, no one source).
func NewWeather(site Site, days int, seed uint64) *Weather {
	g := Sub(seed, "weather")
	w := &Weather{Site: site, Seed: seed, days: map[int][]float64{}}
	next := [3][3]float64{{0.5, 0.35, 0.15}, {0.25, 0.45, 0.30}, {0.15, 0.35, 0.50}}
	kind := DayKind(g.IntN(3))
	for range days {
		w.Kinds = append(w.Kinds, kind)
		u := g.Float64()
		p := next[kind]
		switch {
		case u < p[0]:
			kind = Clear
		case u < p[0]+p[1]:
			kind = Broken
		default:
			kind = Overcast
		}
	}
	return w
}

// Kind is the kind of a day; outside the season the last one stays.
func (w *Weather) Kind(day int) DayKind { return w.Kinds[clampInt(day, 0, len(w.Kinds)-1)] }

// clearness gives for each minute the light beside a cloudless sky's.
func (w *Weather) clearness(day int) []float64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	if s, ok := w.days[day]; ok {
		return s
	}
	s := w.draw(day)
	w.days[day] = s
	return s
}

func (w *Weather) draw(day int) []float64 {
	g := Sub(w.Seed, "clouds", day)
	s := make([]float64, 1440)
	switch w.Kind(day) {
	case Clear:
		haze := span(g, 0.9, 1.03)
		for m := range s {
			s[m] = haze
		}
	case Overcast:
		// Thick cloud wanders over tens of minutes.
		base, x := span(g, 0.12, 0.38), 0.0
		for m := range s {
			x = 0.98*x + 0.2*0.25*g.NormFloat64()
			s[m] = clamp(base*math.Exp(x), 0.04, 0.6)
		}
	default:
		// Clouds of some minutes and gaps of some minutes; in a gap the
		// cloud's bright edge gives a little more than a clear sky.
		for m := 0; m < 1440; {
			gap := span(g, 0.95, 1.12)
			for n := 1 + int(g.ExpFloat64()*span(g, 3, 14)); n > 0 && m < 1440; n, m = n-1, m+1 {
				s[m] = gap
			}
			cloud := span(g, 0.18, 0.45)
			for n := 1 + int(g.ExpFloat64()*span(g, 2, 12)); n > 0 && m < 1440; n, m = n-1, m+1 {
				s[m] = cloud
			}
		}
	}
	return s
}

// Sky is the open sky at one minute, in µmol m⁻² s⁻¹.
type Sky struct {
	Elev, Az float64 // sun, radians
	Beam     float64 // on a plane facing the sun
	Diffuse  float64 // on level open ground
	Around   float64 // share of the diffuse light that comes from near the sun
}

// At splits the light of a minute into beam and diffuse. The share around the
// sun follows Hay and Davies 1980: as clear as the beam is strong.
func (w *Weather) At(day, minute int) Sky {
	el, az := w.SunAt(day, float64(minute)+0.5)
	k := Sky{Elev: el, Az: az}
	level := haurwitz(el) * w.clearness(day)[minute]
	if level == 0 {
		return k
	}
	top := w.beyond(day)
	share := erbs(level / (top * math.Sin(el)))
	if el < rad(4) {
		share = math.Max(share, 0.6) // near the horizon the beam is all but gone
	}
	k.Diffuse = level * share * parPerWatt
	k.Beam = level * (1 - share) / math.Sin(el) * parPerWatt
	k.Around = clamp(k.Beam/(top*parPerWatt), 0, 0.8)
	return k
}

// Level is all the light on open level ground.
func (k Sky) Level() float64 {
	if k.Elev <= 0 {
		return 0
	}
	return k.Beam*math.Sin(k.Elev) + k.Diffuse
}
