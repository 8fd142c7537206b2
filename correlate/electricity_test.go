package correlate

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"parstead/correlate/analysis"
	"parstead/correlate/tables"
)

// currentOf is what bins' lamps drew, at 0.25 EUR a kWh, and the light that came of it
// on 1 m² each over ten days. Invented.
func currentOf(bins []string, of func(b int) (kwh, dli float64)) *Electricity {
	price := 0.25
	e := &Electricity{Currency: "EUR", PerKWh: &price, Hours: "invented", Checks: []Check{}}
	for b, name := range bins {
		kwh, dli := of(b)
		c := BinCurrent{Bin: name, KWh: analysis.Known(kwh), KWhLamps: analysis.Known(kwh), Cost: analysis.Known(kwh * price), Mol: analysis.Known(10 * dli), MeanDLI: analysis.Known(dli)}
		c.KWhPerMol = analysis.Known(kwh / (10 * dli))
		e.Bins = append(e.Bins, c)
	}
	return e
}

// fourBins is a trial of four bins with ten plants each, low, low, high, high, whose
// plants lie half a unit above and below their bin's mean.
func fourBins(means [4]float64, of func(y float64) float64) *Input {
	in := &Input{Bin: &Factor{Name: "bin"}}
	level := Factor{Name: "level", Levels: []string{"low", "high"}}
	var values []float64
	for b := range 4 {
		in.Bin.Levels = append(in.Bin.Levels, fmt.Sprint("bin", b))
		for k := range 10 {
			in.Plants = append(in.Plants, fmt.Sprint("p", b, k))
			in.Bin.Codes, level.Codes = append(in.Bin.Codes, b), append(level.Codes, b/2)
			values = append(values, of(means[b]+float64(k%2)-0.5))
		}
	}
	in.Treatments = []Treatment{{Factor: level, SetPer: PerBin, SetsLight: true}}
	in.Outcomes = []Outcome{{Name: "mass", Kind: Measure, Unit: "g", Values: values, Primary: true}}
	in.Electricity = currentOf(in.Bin.Levels, func(b int) (float64, float64) { return []float64{10, 10, 40, 40}[b], 5 })
	return in
}

func only(t *testing.T, in *Input) (ElectricityGain, *Result) {
	t.Helper()
	r := result(t, in, Options{})
	if r.Electricity == nil || len(r.Electricity.Gains) != 1 {
		t.Fatalf("electricity %+v", r.Electricity)
	}
	return r.Electricity.Gains[0], r
}

// t₂ is the 0.975 point of Student's t on two degrees of freedom (any table of it).
const t2 = 4.302653

// By hand: bins of 10.9 and 11.1 g against 15.9 and 16.1 g differ by 5 g; the residual
// mean square is 4 · 0.1² / 2, the difference's standard error its square root, and
// its interval 5 ± t₂ · 0.141421. A plant of a high bin drew 4 kWh, of a low one 1.
func TestElectricityPerUnitByHand(t *testing.T) {
	t.Parallel()
	plain := func(y float64) float64 { return y }
	g, r := only(t, fourBins([4]float64{10.9, 11.1, 15.9, 16.1}, plain))
	half := t2 * math.Sqrt(0.02)
	if g.More != "high" || g.Less != "low" || g.Verdict != Bounded || math.Abs(g.KWhPerPlant-3) > 1e-12 {
		t.Errorf("%+v", g)
	}
	approx(t, "kWh per g", g.KWhPerUnit, 0.6, 1e-12)
	approx(t, "at least", &g.KWhPerUnitCI95[0], 3/(5+half), 1e-6)
	approx(t, "at most", &g.KWhPerUnitCI95[1], 3/(5-half), 1e-6)
	approx(t, "EUR per g", g.CostPerUnit, 0.15, 1e-12)
	approx(t, "EUR at most", &g.CostCI95[1], 0.75/(5-half), 1e-6)
	low := r.Electricity.Levels[0]
	if low.Level != "low" || low.Plants != 20 || fmt.Sprint(low.Bins) != "[bin0 bin1]" {
		t.Errorf("%+v", low)
	}
	approx(t, "kWh of the low bins", low.KWh, 20, 1e-12)
	approx(t, "kWh a plant", low.KWhPerPlant, 1, 1e-12)
	approx(t, "kWh per mol", low.KWhPerMol, 0.2, 1e-12)
	if text := told(r.Outcomes[0]); !strings.Contains(text, "one more g of mass takes 0.600 kWh or 0.150 EUR (95 % interval 0.535 to 0.683 kWh)") {
		t.Error(text)
	}

	// 5 ± 2 · t₂ holds zero: bins of 10 and 12 g against 15 and 17 g.
	g, r = only(t, fourBins([4]float64{10, 12, 15, 17}, plain))
	approx(t, "at least", g.KWhAtLeast, 3/(5+t2*math.Sqrt2), 1e-6)
	if g.Verdict != Unbounded || g.KWhPerUnit != nil || g.KWhPerUnitCI95 != nil || g.CostPerUnit != nil {
		t.Errorf("%+v", g)
	}
	if text := told(r.Outcomes[0]); !strings.Contains(text, "is unbounded, since no gain was shown; high in place of low takes at least 0.271 kWh") {
		t.Error(text)
	}

	// The high bins gave less.
	g, _ = only(t, fourBins([4]float64{15.9, 16.1, 10.9, 11.1}, plain))
	if g.Verdict != Loss || g.KWhPerUnit != nil || g.KWhAtLeast != nil {
		t.Errorf("%+v", g)
	}
}

// A treatment that is none of current (the same lamps over both levels, a plant more
// in one bin, an hour's cut) bought nothing with what little its levels differ by.
func TestElectricityOfLevelsThatDrewAlike(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		high float64 // kWh, the low bins' being 10
		gain bool
	}{{10, false}, {10.4, false}, {9.7, false}, {10.6, true}, {9.4, true}} {
		in := fourBins([4]float64{10.9, 11.1, 15.9, 16.1}, func(y float64) float64 { return y })
		in.Electricity = currentOf(in.Bin.Levels, func(b int) (float64, float64) { return []float64{10, 10, c.high, c.high}[b], 5 })
		e := result(t, in, Options{}).Electricity
		said := len(e.Checks) == 1 && e.Checks[0].Of == "level" && strings.Contains(e.Checks[0].Says, "high and low drew alike")
		if (len(e.Gains) == 1) != c.gain || said == c.gain {
			t.Errorf("%v kWh: %+v, %+v", c.high, e.Gains, e.Checks)
		}
	}
}

// The current of plants that were lost is the others' too.
func TestElectricityOfLostPlants(t *testing.T) {
	t.Parallel()
	in := fourBins([4]float64{10.9, 11.1, 15.9, 16.1}, func(y float64) float64 { return y })
	whole, _ := only(t, in)
	in.Outcomes[0].Values[25], in.Outcomes[0].Values[26] = math.NaN(), math.NaN() // as far above as below
	less, _ := only(t, in)
	const words = "where some were lost, a unit took more"
	if strings.Contains(whole.Says, words) || !strings.Contains(less.Says, words) {
		t.Errorf("%q, %q", whole.Says, less.Says)
	}
}

// The later level drew less: the gain is turned round, on a log scale too. By hand:
// means of 2 and 3 on the log scale, e² (e − 1) more; each log mean's interval ends
// become e² (e^(1 ± t₂ √0.02) − 1).
func TestElectricityTurnsTowardsTheLevelThatDrewMore(t *testing.T) {
	t.Parallel()
	in := fourBins([4]float64{2.9, 3.1, 1.9, 2.1}, math.Exp)
	in.Outcomes[0].Scale = Log
	in.Electricity = currentOf(in.Bin.Levels, func(b int) (float64, float64) { return []float64{40, 40, 10, 10}[b], 5 })
	g, _ := only(t, in)
	of := func(ratio float64) float64 { return math.Exp(2) * math.Expm1(ratio) }
	half := t2 * math.Sqrt(0.02)
	if g.More != "low" || g.Less != "high" || g.Verdict != Bounded {
		t.Errorf("%+v", g)
	}
	approx(t, "gain", &g.GainPerPlant, of(1), 1e-9)
	approx(t, "kWh per g", g.KWhPerUnit, 3/of(1), 1e-9)
	approx(t, "at least", &g.KWhPerUnitCI95[0], 3/of(1+half), 1e-5)
	approx(t, "at most", &g.KWhPerUnitCI95[1], 3/of(1-half), 1e-5)
	if !strings.Contains(g.Says, "geometric mean") {
		t.Error(g.Says)
	}
}

// By hand: 2 g more with every mol m⁻² d⁻¹; a bin of ten plants drew 20 kWh for 5 mol
// m⁻² d⁻¹, which is 0.4 kWh a plant for each, so 0.2 kWh for a gram.
func TestElectricityByLight(t *testing.T) {
	t.Parallel()
	in := fourBins([4]float64{11, 11, 11, 11}, func(y float64) float64 { return y })
	in.Treatments = nil
	in.Light = &Light{Name: "light", Unit: "mol m⁻² d⁻¹"}
	for i := range in.Plants {
		l := 5 + []float64{-1, -1, 1, 1}[i%4] // across what fourBins adds
		in.Light.Values = append(in.Light.Values, l)
		in.Outcomes[0].Values[i] += 2 * (l - 5)
	}
	in.Electricity = currentOf(in.Bin.Levels, func(int) (float64, float64) { return 20, 5 })
	g, r := only(t, in)
	slope := r.Outcomes[0].Light
	if g.By != "light" || g.More != "" || g.Verdict != Bounded || slope.CI95[0] <= 0 {
		t.Fatalf("%+v", g)
	}
	approx(t, "kWh per g", g.KWhPerUnit, 0.4 / *slope.Slope.Slope, 1e-12)
	approx(t, "at most", &g.KWhPerUnitCI95[1], 0.4/slope.CI95[0], 1e-12)
	if math.Abs(*slope.Slope.Slope-2) > 0.2 {
		t.Errorf("slope %v", *slope.Slope.Slope)
	}

	in.Electricity.Windowed = true
	r = result(t, in, Options{})
	if e := r.Electricity; len(e.Gains) != 0 || len(e.Checks) != 1 || !strings.Contains(e.Checks[0].Says, "part of the trial") {
		t.Errorf("%+v", e)
	}
}

// What is not known is absent, with a reason where the reason is ours to know; the
// caller's own part is never written to.
func TestElectricityUnknown(t *testing.T) {
	t.Parallel()
	in := fourBins([4]float64{10.9, 11.1, 15.9, 16.1}, func(y float64) float64 { return y })
	in.Electricity.Bins[3] = BinCurrent{Bin: "bin3"}
	in.Electricity.PerKWh = nil
	in.Outcomes = append(in.Outcomes, Outcome{Name: "alive", Kind: YesNo, Values: make([]float64, 40)})
	in.Outcomes[1].Values[3] = 1
	r := result(t, in, Options{})
	e := r.Electricity
	if len(e.Gains) != 0 || e.Levels[1].KWh != nil || e.Levels[1].KWhPerMol != nil || e.Levels[0].KWh == nil || e.Levels[0].Cost != nil {
		t.Errorf("%+v", e)
	}
	if len(e.Checks) != 1 || !strings.Contains(e.Checks[0].Says, "odds") || len(in.Electricity.Checks) != 0 || in.Electricity.Levels != nil {
		t.Errorf("checks %+v", e.Checks)
	}
	var text bytes.Buffer
	if err := tables.WriteFull(&text, "", r); err != nil {
		t.Fatal(err)
	}
	if _, err := json.Marshal(r); err != nil || strings.Contains(text.String(), "NaN") {
		t.Errorf("%v in:\n%s", err, text.String())
	}

	// One bin a level: nothing is compared, and a check says so.
	in = fourBins([4]float64{11, 11, 16, 16}, func(y float64) float64 { return y })
	for i, b := range in.Bin.Codes {
		in.Bin.Codes[i] = b / 2 * 2
	}
	e = result(t, in, Options{}).Electricity
	if len(e.Gains) != 0 || len(e.Checks) != 1 || !strings.Contains(e.Checks[0].Says, "could not be compared") {
		t.Errorf("%+v", e)
	}
}
