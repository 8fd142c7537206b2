//go:build worlds

package worlds

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Rack is one bin and its truth.
type Rack struct {
	Rows, Columns int
	PitchCM       [2]float64  // between rows, between columns
	True          [][]float64 // µmol m⁻² s⁻¹ at each place, lamp full and settled
	Sensor        [2]int      // row, column of the fixed sensor
	SensorKind    string      // "centre", "corner" or "odd"
	Family        string
	LampCM        float64 // height of the lamp over the plants
	Lamp          string  // "led" or "tube": how it warms up
	LuxPer        float64 // lux that one µmol m⁻² s⁻¹ of this lamp shows
	Seed          uint64
	Notes         []string // hidden from an estimator, for the reader of a verdict

	scene *Scene
}

// frame is the bare geometry that the families hang their lamps over.
type frame struct {
	rows, cols int
	py, px     float64 // pitch in metres
	mid        Vec     // the bin's middle, on the plane
	wx, wy     float64 // width of the whole bin, half a pitch beyond the places
}

func newFrame(rows, cols int, pitch [2]float64) frame {
	py, px := pitch[0]/100, pitch[1]/100
	return frame{
		rows, cols, py, px,
		Vec{float64(cols-1) * px / 2, float64(rows-1) * py / 2, 0},
		float64(cols) * px, float64(rows) * py,
	}
}

func (f frame) place(r, c int) Vec { return Vec{float64(c) * f.px, float64(r) * f.py, 0} }

// rig is what a family hands back: optics and a few words about them.
type rig struct {
	scene  *Scene
	height float64
	lamp   string
	luxPer float64
	notes  []string
}

func (g *rig) say(format string, a ...any) { g.notes = append(g.notes, fmt.Sprintf(format, a...)) }

// family is one kind of optics.
type family struct {
	name string
	make func(g *rand.Rand, f frame) *rig
}

// Families lists the names NewRack knows.
func Families() []string {
	var out []string
	for _, f := range families {
		out = append(out, f.name)
	}
	return out
}

// Sizes are the bins of the trade, one-row bins included.
var Sizes = [][2]int{{3, 4}, {4, 4}, {4, 6}, {6, 8}, {7, 8}, {8, 12}, {1, 4}, {1, 6}, {1, 8}, {1, 12}}

// NewRack builds one bin. Draws whose spread is outside 8 to 35 % are mostly
// thrown away: a grower re-hangs a lamp that is plainly wrong, and a small bin
// under a large lamp is too even to be worth a walk. Some stay on purpose.
func NewRack(name string, rows, cols int, seed uint64) (Rack, error) {
	for _, f := range families {
		if f.name == name {
			return buildRack(f, rows, cols, seed), nil
		}
	}
	return Rack{}, fmt.Errorf("worlds: no family %q", name)
}

func buildRack(f family, rows, cols int, seed uint64) Rack {
	g := Sub(seed, "rack/"+f.name, rows, cols)
	k := Rack{Rows: rows, Columns: cols, Family: f.name, Seed: seed}
	for try := range 30 {
		k.PitchCM = [2]float64{math.Round(span(g, 4, 8)*2) / 2, math.Round(span(g, 4, 8)*2) / 2}
		fr := newFrame(rows, cols, k.PitchCM)
		r := f.make(g, fr)
		k.scene, k.LampCM, k.Lamp, k.LuxPer, k.Notes = r.scene, r.height*100, r.lamp, r.luxPer, r.notes
		k.True = k.Map(Instrument{})
		cv := k.CV()
		if (cv >= 0.08 && cv <= 0.35) || (cv > 0.03 && cv < 0.5 && either(g, 0.06)) || (try == 29) {
			break
		}
	}
	k.level(logSpan(g, 60, 350))
	k.placeSensor(g)
	return k
}

// level dims the lamp to a mean that a propagator would use.
func (k *Rack) level(mean float64) {
	sum := 0.0
	for _, row := range k.True {
		for _, v := range row {
			sum += v
		}
	}
	f := mean / (sum / float64(k.Rows*k.Columns))
	k.scene.dim(f)
	for _, row := range k.True {
		for c := range row {
			row[c] *= f
		}
	}
}

func (k *Rack) placeSensor(g *rand.Rand) {
	switch g.IntN(3) {
	case 0:
		k.Sensor, k.SensorKind = [2]int{(k.Rows - 1) / 2, (k.Columns - 1) / 2}, "centre"
	case 1:
		k.Sensor, k.SensorKind = [2]int{(k.Rows - 1) * g.IntN(2), (k.Columns - 1) * g.IntN(2)}, "corner"
	default:
		k.Sensor, k.SensorKind = [2]int{g.IntN(k.Rows), g.IntN(k.Columns)}, "odd"
	}
}

// See is what a head at a place shows with the lamp full and settled.
func (k Rack) See(r, c int, ins Instrument) float64 {
	return k.scene.Seen(newFrame(k.Rows, k.Columns, k.PitchCM).place(r, c), ins)
}

// Map is See for every place.
func (k Rack) Map(ins Instrument) [][]float64 {
	out := make([][]float64, k.Rows)
	for r := range out {
		out[r] = make([]float64, k.Columns)
		for c := range out[r] {
			out[r][c] = k.See(r, c, ins)
		}
	}
	return out
}

// Ratios is what the estimator must find: each place beside the sensor's place.
func (k Rack) Ratios() [][]float64 { return ratios(k.True, k.Sensor) }

func ratios(m [][]float64, s [2]int) [][]float64 {
	out := make([][]float64, len(m))
	for r := range m {
		out[r] = make([]float64, len(m[r]))
		for c := range m[r] {
			out[r][c] = m[r][c] / m[s[0]][s[1]]
		}
	}
	return out
}

// CV is the spread within the bin: standard deviation over mean.
func (k Rack) CV() float64 { return spread(k.True) }

func spread(m [][]float64) float64 {
	n, s, q := 0.0, 0.0, 0.0
	for _, row := range m {
		for _, v := range row {
			n, s, q = n+1, s+v, q+v*v
		}
	}
	mean := s / n
	return math.Sqrt(math.Max(0, q/n-mean*mean)) / mean
}
