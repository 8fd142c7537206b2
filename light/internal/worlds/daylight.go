//go:build worlds

package worlds

import (
	"fmt"
	"math"
	"sync"
)

// Daylight is a bin that the sun reaches, with lamps or without.
type Daylight struct {
	Rows, Columns int
	PitchCM       [2]float64
	Sensor        [2]int
	Kind          string // "sill" or "glasshouse"
	Weather       *Weather
	Lamps         *Bin // nil: daylight alone
	Cloth         Blind
	Notes         []string

	open   opening
	seed   uint64
	mu     sync.Mutex
	tables map[int]*dayTable
}

// step is how often the sun's way to each place is traced, in minutes. In that
// time a shadow moves about 1 cm at half a metre, so between is interpolated.
const step = 5

// dayTable holds what a day needs, so that DLI is not traced anew each minute.
type dayTable struct {
	sky   [1440]Sky
	sun   [1440]Vec
	drawn [1440]bool
	beam  [2][][]float64 // blind up or down; node; place
	soft  [2][][2]float64
}

// DaylightPlan says what to build.
type DaylightPlan struct {
	Kind          string // "sill" or "glasshouse"
	Rows, Columns int
	LatDeg        float64 // 0: drawn from 35 to 60
	StartDOY      int     // 0: drawn
	Days          int
	WithLamps     bool
}

// NewDaylight builds a season. Its pitch and sensor come from a rack of lamps,
// which then hangs there or not.
func NewDaylight(p DaylightPlan, seed uint64) (*Daylight, error) {
	g := Sub(seed, "daylight/"+p.Kind, p.Rows, p.Columns)
	lamps := []string{"bars", "tubes", "panel", "published"}[g.IntN(4)]
	k, err := NewRack(lamps, p.Rows, p.Columns, seed)
	if err != nil {
		return nil, err
	}
	if p.LatDeg == 0 {
		p.LatDeg = span(g, 35, 60)
	}
	if p.StartDOY == 0 {
		p.StartDOY = between(g, 1, 365)
	}
	site := Site{p.LatDeg, span(g, -30, 90), p.StartDOY}
	d := &Daylight{
		Rows: p.Rows, Columns: p.Columns, PitchCM: k.PitchCM, Sensor: k.Sensor, Kind: p.Kind,
		Weather: NewWeather(site, max(1, p.Days), seed), seed: seed, tables: map[int]*dayTable{},
	}
	f := newFrame(p.Rows, p.Columns, k.PitchCM)
	lampM := 0.0
	if p.WithLamps {
		d.Lamps = NewBin(k, seed)
		on := between(g, 4*60, 450)
		d.Lamps.Timer = Timer{OnMin: on, OffMin: on + between(g, 12*60, 16*60)}
		lampM = k.LampCM / 100
	}
	switch p.Kind {
	case "sill":
		s := newSill(g, f)
		if either(g, 0.4) {
			from := between(g, 9*60, 12*60)
			s.Cloth = Blind{span(g, 0.3, 1), span(g, 0.15, 0.5), from, from + between(g, 90, 300), span(g, 0.3, 1)}
			d.Cloth = s.Cloth
		}
		d.open = s
		d.say("window faces %.0f°, %.0f×%.0f cm, %d+%d bars, house %.0f°, blind %.0f %%, growth %.1f mm/d",
			s.FacingDeg, s.Wide*100, s.High*100, len(s.BarsX), len(s.BarsZ), s.House.TopDeg, s.Cloth.Share*100, s.Grow*1000)
	case "glasshouse":
		o := newRoof(g, f, lampM)
		d.open = o
		d.say("roof %.1f m up, bars each %.0f cm, house %.0f°", o.High, o.Gap*100, o.House.TopDeg)
	default:
		return nil, fmt.Errorf("worlds: no daylight kind %q", p.Kind)
	}
	d.say("latitude %.0f°, from day of year %d, lamps %v", p.LatDeg, p.StartDOY, p.WithLamps)
	return d, nil
}

func (d *Daylight) say(format string, a ...any) { d.Notes = append(d.Notes, fmt.Sprintf(format, a...)) }

// BlindDrawn tells whether the grower has the blind down at a minute.
func (d *Daylight) BlindDrawn(day, minute int) bool {
	if d.Cloth.Share == 0 || minute < d.Cloth.FromMin || minute >= d.Cloth.Til ||
		d.Weather.Kind(day) == Overcast {
		return false
	}
	return Sub(d.seed, "blind", day).Float64() < d.Cloth.Habit
}

func (d *Daylight) table(day int) *dayTable {
	d.mu.Lock()
	defer d.mu.Unlock()
	if t, ok := d.tables[day]; ok {
		return t
	}
	if len(d.tables) > 12 { // a season of tables would be large
		clear(d.tables)
	}
	t := d.trace(day)
	d.tables[day] = t
	return t
}

func (d *Daylight) trace(day int) *dayTable {
	t := &dayTable{}
	any := false
	for m := range 1440 {
		t.sky[m] = d.Weather.At(day, m)
		t.sun[m] = d.open.facing(t.sky[m].Elev, t.sky[m].Az)
	}
	if d.BlindDrawn(day, d.Cloth.FromMin) {
		any = true
		for m := d.Cloth.FromMin; m < min(1440, d.Cloth.Til); m++ {
			t.drawn[m] = true
		}
	}
	for b := range 2 {
		if b == 1 && !any {
			break
		}
		t.beam[b] = make([][]float64, 1440/step+1)
		for n := range t.beam[b] {
			el, az := d.Weather.SunAt(day, float64(n*step)+0.5)
			if el < -0.02 {
				continue
			}
			sun := d.open.facing(el, az)
			row := make([]float64, d.Rows*d.Columns)
			for i := range row {
				row[i] = d.open.beam(i/d.Columns, i%d.Columns, sun, day, b == 1)
			}
			t.beam[b][n] = row
		}
		t.soft[b] = make([][2]float64, d.Rows*d.Columns)
		for i := range t.soft[b] {
			e, o := d.open.sky(i/d.Columns, i%d.Columns, day, b == 1)
			t.soft[b][i] = [2]float64{e, o}
		}
	}
	return t
}

func (t *dayTable) beamAt(b, minute, i int) float64 {
	n := minute / step
	f := float64(minute%step) / step
	v := 0.0
	if row := t.beam[b][n]; row != nil {
		v += (1 - f) * row[i]
	}
	if row := t.beam[b][n+1]; row != nil {
		v += f * row[i]
	}
	return v
}

// SunLight is the daylight at a place. The light round the sun comes through
// the same openings as the beam; the rest is even in a clear sky and banded in
// an overcast one, and mixed between.
func (d *Daylight) SunLight(r, c int, w When, ins Instrument) float64 {
	t := d.table(w.Day)
	m := clampInt(w.Sec/60, 0, 1439)
	k := t.sky[m]
	if k.Elev <= 0 || k.Diffuse == 0 {
		return 0
	}
	b, i := 0, r*d.Columns+c
	if t.drawn[m] {
		b = 1
	}
	direct := t.beamAt(b, m, i)
	soft := t.soft[b][i][0]*k.Around + t.soft[b][i][1]*(1-k.Around)
	sun := k.Beam*direct + k.Diffuse*k.Around*direct/math.Max(0.1, math.Sin(k.Elev))
	rest := k.Diffuse * (1 - k.Around) * soft
	if !ins.plain() {
		s := t.sun[m]
		sun *= ins.respond(s.Dot(ins.normal())) / math.Max(0.05, s.Z)
		rest *= d.open.lean(ins)
	}
	return (sun + rest) * ins.sunWeight()
}

// PPFD is all the light at a place at any minute of a day.
func (d *Daylight) PPFD(r, c, day, minute int) float64 { return Light(d, r, c, When{day, minute * 60}) }

// LampLight is the lamps' part, if there are lamps.
func (d *Daylight) LampLight(r, c int, w When, ins Instrument) float64 {
	if d.Lamps == nil {
		return 0
	}
	return d.Lamps.LampLight(r, c, w, ins)
}

// Size and the others make Daylight a World.
func (d *Daylight) Size() (int, int) { return d.Rows, d.Columns }
func (d *Daylight) SensorAt() [2]int { return d.Sensor }
func (d *Daylight) LuxPer() float64  { return sunLux }
func (d *Daylight) LampKind() string {
	if d.Lamps == nil {
		return ""
	}
	return d.Lamps.Lamp
}

func (d *Daylight) LampTimer() (Timer, bool) {
	if d.Lamps == nil {
		return Timer{}, false
	}
	return d.Lamps.Timer, true
}

// LightHours runs from the first to the last minute with the sun 5° up, or the
// lamps' hours if those are longer.
func (d *Daylight) LightHours(day int) (int, int) {
	from, to := 1440, 0
	for m := range 1440 {
		if el, _ := d.Weather.SunAt(day, float64(m)); el > rad(5) {
			from, to = min(from, m), max(to, m)
		}
	}
	if d.Lamps != nil {
		from, to = min(from, d.Lamps.Timer.OnMin), max(to, d.Lamps.Timer.OffMin)
	}
	if to <= from { // the deep winter of a high latitude
		from, to = 11*60, 13*60
	}
	return from * 60, to * 60
}

// Truth is what the estimator should say of one day.
type Truth struct {
	Day   int
	Kind  DayKind
	DLI   [][]float64
	Ratio [][]float64 // DLI beside the sensor's place
}

// TruthOf gives a day's truth; Season gives the mean over days, which is not
// the mean of ratios: bright days weigh more, as they do for the plants.
func (d *Daylight) TruthOf(day int) Truth {
	m := DLI(d, day)
	return Truth{day, d.Weather.Kind(day), m, ratios(m, d.Sensor)}
}

// Season adds up days from..to-1 into one ratio map.
func (d *Daylight) Season(from, to int) [][]float64 {
	sum := make([][]float64, d.Rows)
	for r := range sum {
		sum[r] = make([]float64, d.Columns)
	}
	for day := from; day < to; day++ {
		for r, row := range DLI(d, day) {
			for c, v := range row {
				sum[r][c] += v
			}
		}
	}
	return ratios(sum, d.Sensor)
}
