package correlate

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// trial is a made-up trial: media per plant, light levels per bin, positions
// with light of their own, an effect of each where asked for.
type trial struct {
	bins, rows, columns  int
	media                int
	medium, light, level float64 // effects on the log scale: of each step of medium, per unit of light, of the high level
	binSD, sd            float64
}

func (c trial) input(rng *rand.Rand) *Input {
	n := c.bins * c.rows * c.columns
	in := &Input{Row: make([]int, n), Column: make([]int, n), Status: make([]Status, n), Cause: make([]string, n)}
	bin := &Factor{Name: "bin", Codes: make([]int, n)}
	medium := Factor{Name: "medium", Codes: make([]int, n)}
	level := Factor{Name: "level", Levels: []string{"low", "high"}, Codes: make([]int, n)}
	for m := range c.media {
		medium.Levels = append(medium.Levels, fmt.Sprint("m", m))
	}
	mass, leaves, rot := make([]float64, n), make([]float64, n), make([]float64, n)
	light, start := make([]float64, n), make([]float64, n)
	i := 0
	for b := range c.bins {
		bin.Levels = append(bin.Levels, fmt.Sprint("bin", b))
		own := c.binSD * rng.NormFloat64()
		for r := range c.rows {
			for col := range c.columns {
				in.Plants = append(in.Plants, fmt.Sprint("p", i))
				in.Row[i], in.Column[i] = r+1, col+1
				bin.Codes[i], level.Codes[i] = b, b%2
				medium.Codes[i] = (r*c.columns + col + b) % c.media
				light[i] = 4 + 2*float64(b%2) + 0.4*rng.NormFloat64()
				start[i] = math.Exp(0.2 * rng.NormFloat64())
				eta := c.medium*float64(medium.Codes[i]) + c.light*light[i] + c.level*float64(b%2) + own
				mass[i] = math.Exp(1 + eta + 0.6*math.Log(start[i]) + c.sd*rng.NormFloat64())
				leaves[i] = poisson(rng, math.Exp(1.5+eta))
				if rng.Float64() < 0.1+0.1*float64(medium.Codes[i]) {
					rot[i] = 1
				}
				if rng.IntN(25) == 0 {
					in.Status[i], in.Cause[i] = Lost, "rot"
					mass[i], leaves[i], rot[i] = math.NaN(), math.NaN(), math.NaN()
				}
				i++
			}
		}
	}
	in.Bin = bin
	in.Treatments = []Treatment{{Factor: medium, SetPer: PerPlant}, {Factor: level, SetPer: PerBin, SetsLight: true}}
	in.Light = &Light{Name: "light", Unit: "mol m⁻² d⁻¹", Values: light}
	in.Electricity = currentOf(bin.Levels, func(b int) (kwh, dli float64) { return 10 * float64(1+b%2), 4 + 2*float64(b%2) })
	in.Outcomes = []Outcome{
		{Name: "mass_g", Kind: Measure, Unit: "g", Scale: Log, Values: mass, Start: &Column{Name: "start_g", Values: start}, Primary: true, Planned: true, Matters: &Difference{Value: 0.1, Share: true}},
		{Name: "height", Kind: Measure, Unit: "cm", Scale: Natural, Values: mass, Matters: &Difference{Value: 0.5, Share: false}},
		{Name: "leaves", Kind: Count, Values: leaves, Planned: true, Matters: &Difference{Value: 0.2, Share: true}},
		{Name: "rotten", Kind: YesNo, Values: rot},
	}
	return in
}

// poisson draws by multiplying uniforms; for small means only.
func poisson(rng *rand.Rand, mean float64) float64 {
	limit, p, k := math.Exp(-mean), rng.Float64(), 0.0
	for p > limit {
		p *= rng.Float64()
		k++
	}
	return k
}
