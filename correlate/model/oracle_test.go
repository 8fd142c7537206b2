package model

import (
	"bufio"
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// An unbalanced made-up trial against R's own least squares (base R, any
// version from 4; testdata/oracles/least_squares.R): bins, two treatments with
// their interaction, a covariate and light.
func TestAgainstR(t *testing.T) {
	t.Parallel()
	rscript, err := exec.LookPath("Rscript")
	if err != nil {
		if os.Getenv("PARSTEAD_REQUIRE_TOOLS") == "1" {
			t.Fatal("Rscript is not installed")
		}
		t.Skip("Rscript is not installed")
	}
	rng := rand.New(rand.NewPCG(21, 4))
	const n = 71
	var bin, a, b []string
	start, light, y := make([]float64, n), make([]float64, n), make([]float64, n)
	var sheet strings.Builder
	sheet.WriteString("y,bin,A,B,start_g,light\n")
	for i := range n {
		bin = append(bin, []string{"low", "mid", "top"}[rng.IntN(3)])
		a = append(a, []string{"bark", "coir", "moss", "sand"}[min(3, rng.IntN(6))])
		b = append(b, []string{"no", "yes"}[rng.IntN(2)])
		start[i], light[i] = rng.ExpFloat64(), 12+2*rng.NormFloat64()
		y[i] = 4 + 0.3*light[i] + start[i] + float64(len(a[i])*len(b[i]))/5 + rng.NormFloat64()*light[i]/10
		fmt.Fprintf(&sheet, "%.17g,%s,%s,%s,%.17g,%.17g\n", y[i], bin[i], a[i], b[i], start[i], light[i])
	}
	file := filepath.Join(t.TempDir(), "trial.csv")
	if err := os.WriteFile(file, []byte(sheet.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	printed, err := exec.CommandContext(t.Context(), rscript, filepath.Join("..", "..", "testdata", "oracles", "least_squares.R"), file).Output()
	if err != nil {
		t.Fatal(err)
	}

	bf, af, bfac := factorOf("bin", bin...), factorOf("A", a...), factorOf("B", b...)
	f := fitted(t, Terms{
		Bin: &bf, Treatments: []Treatment{{af, PerPlant}, {bfac, PerPlant}}, Interactions: true,
		Covariates: []Variable{{"start_g", start}}, Light: &Variable{"light", light},
	}, y)
	got := figuresOf(t, f)

	lines := 0
	for scan := bufio.NewScanner(bytes.NewReader(printed)); scan.Scan(); lines++ {
		name, value, _ := strings.Cut(scan.Text(), " ")
		v, ok := got[name]
		if !ok {
			t.Errorf("nothing to set beside %s", name)
			continue
		}
		tolerance, scale := 1e-9, 0.0
		if strings.HasPrefix(name, "p_A") || strings.HasPrefix(name, "p_AxB_") {
			scale = 1 // its studentized range is exact to about 1e-8 absolute at best
			tolerance = 1e-7
		}
		if strings.HasPrefix(name, "difference") {
			scale = 1
		}
		near(t, name, v, number(t, value), tolerance, scale)
	}
	if lines < 120 {
		t.Errorf("%d values compared, want more than 120", lines)
	}
}

// figuresOf is all that a fit says, by the names that the script prints.
func figuresOf(t *testing.T, f *Fit) map[string]float64 {
	t.Helper()
	d := f.Design
	got := map[string]float64{"hat_7": f.Hat[6], "rstudent_7": f.Studentized()[6], "vif_light": must(f.Design.Inflation(len(f.Beta) - 1))}
	for _, test := range must(f.Partial()) {
		name := strings.ReplaceAll(test.Name(), " × ", "x")
		got["F_"+name], got["p_"+name] = test.Value, test.P
	}
	for _, family := range d.Families() {
		name := strings.ReplaceAll(family.Name(), " × ", "x")
		m := must(Compare(f, d, family))
		for i, e := range m.Adjusted {
			got["mean_"+name+"_"+d.Levels(m.Cells[i])], got["se_"+name+"_"+d.Levels(m.Cells[i])] = e.Value, e.SE
		}
		for _, p := range m.Pairs {
			pair := fmt.Sprintf("_%s_%d_%d", name, p.A, p.B)
			got["difference"+pair], got["se"+pair], got["p"+pair] = p.Value, p.SE, p.P
		}
	}
	coefficients := must(f.Coefficients())
	got["hc3_intercept"], got["hc3_light"] = coefficients[0].HC3.SE, coefficients[len(coefficients)-1].HC3.SE
	spread := BrownForsythe(f.Residuals, d.Combinations(d.Treatments()))
	got["spread"], got["p_spread"] = spread.Value, spread.P
	slopes := EqualSlopes(f)
	i := slices.IndexFunc(slopes, func(t SlopeTest) bool { return t.Name() == "light × A" })
	got["slopes_light_A"], got["p_slopes_light_A"] = slopes[i].Value, slopes[i].P
	return got
}
