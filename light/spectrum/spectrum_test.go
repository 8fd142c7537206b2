package spectrum_test

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"parstead/light/spectrum"
)

const testdata = "../../testdata/light/"

// computed are factors that an independent script computed from the same tables.
func computed(tb testing.TB) map[string]float64 {
	tb.Helper()
	raw, err := os.ReadFile(testdata + "lux_per_ppfd_computed.json")
	if err != nil {
		tb.Fatal(err)
	}
	var file struct {
		Factors map[string]float64 `json:"lux_per_ppfd"`
	}
	if err := json.Unmarshal(raw, &file); err != nil {
		tb.Fatal(err)
	}
	return file.Factors
}

func records(tb testing.TB, name string) [][]string {
	tb.Helper()
	raw, err := os.ReadFile(testdata + name)
	if err != nil {
		tb.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(string(raw))).ReadAll()
	if err != nil {
		tb.Fatal(err)
	}
	return rows[1:]
}

// sunlight is ASTM G173-03: column 1 global, column 2 direct.
func sunlight(tb testing.TB, column int) spectrum.Spectrum {
	tb.Helper()
	var s spectrum.Spectrum
	for _, row := range records(tb, "astm_g173_380_780nm.csv") {
		s.NM = append(s.NM, number(tb, row[0]))
		s.Power = append(s.Power, number(tb, row[column]))
	}
	return s
}

// line is light of a single wavelength: a triangle two hundredths of a nm wide.
func line(nm float64) spectrum.Spectrum {
	s := spectrum.Spectrum{NM: []float64{380}, Power: []float64{0}}
	for x := 390.0; x < nm-5; x += 10 {
		s.NM, s.Power = append(s.NM, x), append(s.Power, 0)
	}
	s.NM, s.Power = append(s.NM, nm-0.01, nm, nm+0.01), append(s.Power, 0, 1, 0)
	for x := math.Ceil(nm/10)*10 + 10; x <= 780; x += 10 {
		s.NM, s.Power = append(s.NM, x), append(s.Power, 0)
	}
	return s
}

func number(tb testing.TB, s string) float64 {
	tb.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		tb.Fatal(err)
	}
	return x
}

// factorOf gives our factor for a light source as the reference files name it.
func factorOf(tb testing.TB, name string) float64 {
	tb.Helper()
	var s spectrum.Spectrum
	switch {
	case name == "ASTM G173 global":
		s = sunlight(tb, 1)
	case name == "ASTM G173 direct":
		s = sunlight(tb, 2)
	case strings.HasPrefix(name, "monochromatic "):
		s = line(number(tb, strings.Fields(name)[1]))
	default:
		f, err := spectrum.Illuminant(name)
		if err != nil {
			tb.Fatal(err)
		}
		return float64(f)
	}
	f, err := s.Factor()
	if err != nil {
		tb.Fatalf("%s: %v", name, err)
	}
	return float64(f)
}

func TestFactorAgainstIndependentComputation(t *testing.T) {
	t.Parallel()
	for name, want := range computed(t) {
		tolerance := 1e-12
		switch {
		case strings.HasPrefix(name, "ASTM"):
			tolerance = 3e-4 // tabulated by half nm; the script drops every second value
		case strings.HasPrefix(name, "mono"):
			tolerance = 1e-4 // our line has a width
		}
		if got := factorOf(t, name); math.Abs(got/want-1) > tolerance {
			t.Errorf("%s: %v lux per µmol m⁻² s⁻¹, want %v (%.2g off)", name, got, want, got/want-1)
		}
	}
}

// The printed factors (mostly Thimijan & Heins 1983, HortScience 18:818–822) are
// of real lamps; the CIE's spectra are of typical ones. Each row states how far
// apart they lie; ours must lie exactly there, to the rounding of the row.
func TestFactorAgainstPublishedFactors(t *testing.T) {
	t.Parallel()
	for _, row := range records(t, "lux_per_ppfd_published.csv") {
		printed, difference := number(t, row[1]), number(t, strings.TrimSuffix(row[4], "%"))/100
		if got := factorOf(t, row[3])/printed - 1; math.Abs(got-difference) > 0.0006 {
			t.Errorf("%s: %+.4f from the printed %v, want %+.4f", row[0], got, printed, difference)
		}
	}
}

// One watt of 555 nm is 683 lm and 4.6395 µmol s⁻¹ (λ/hcN_A).
func TestFactorOfOneWavelength(t *testing.T) {
	t.Parallel()
	want := 683 / (555e-9 / (6.62607015e-34 * 299792458 * 6.02214076e23) * 1e6)
	if got := factorOf(t, "monochromatic 555 nm"); math.Abs(got/want-1) > 1e-4 {
		t.Errorf("got %v, want %v", got, want)
	}
}

// A factor is a ratio: the unit of power cancels, and a mixture of two lamps
// lies between them, weighted by their photons.
func TestFactorScalesAndMixes(t *testing.T) {
	t.Parallel()
	s := sunlight(t, 1)
	twice := spectrum.Spectrum{NM: s.NM, Power: make([]float64, len(s.Power))}
	for i, p := range s.Power {
		twice.Power[i] = 2e3 * p
	}
	a, _ := s.Factor()
	b, _ := twice.Factor()
	if math.Abs(float64(a/b)-1) > 1e-14 {
		t.Errorf("the same light in other units: %v and %v", a, b)
	}
	// 80 % red of 660 nm and 20 % blue of 450 nm by photons: 7.42 lux per µmol
	// (computed from V(λ), see worked_examples.json).
	mix := 0.8*factorOf(t, "monochromatic 660 nm") + 0.2*factorOf(t, "monochromatic 450 nm")
	if math.Abs(mix-7.4216) > 2e-3 {
		t.Errorf("red and blue: %v", mix)
	}
}

func TestIlluminantNames(t *testing.T) {
	t.Parallel()
	for _, name := range spectrum.Illuminants() {
		if _, err := spectrum.Illuminant(strings.ToLower(name)); err != nil {
			t.Error(err)
		}
	}
	_, err := spectrum.Illuminant("FL99")
	if err == nil || !strings.Contains(err.Error(), "FL2") || !strings.Contains(err.Error(), "LED-B3") {
		t.Errorf("the error should list what is known: %v", err)
	}
}

// No light is brighter to the eye than green at 555 nm, 683 lm/W (SI, the candela), of
// which a photon flux of 1 µmol m⁻² s⁻¹ carries 0.2155 W m⁻²: 147 lux; at a slightly
// shorter wavelength photons carry more.
func TestBounds(t *testing.T) {
	t.Parallel()
	least, most := spectrum.Bounds()
	if most < 147.2 || most > 148.5 || least > 0.2 || least <= 0 {
		t.Errorf("from %v to %v", least, most)
	}
}
