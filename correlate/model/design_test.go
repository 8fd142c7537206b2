package model

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

func factorOf(name string, cells ...string) Factor {
	levels := slices.Compact(slices.Sorted(slices.Values(cells)))
	f := Factor{Name: name, Levels: levels, Of: make([]int, len(cells))}
	for i, c := range cells {
		f.Of[i] = slices.Index(levels, c)
	}
	return f
}

func design(t *testing.T, n int, terms Terms) *Design {
	t.Helper()
	d, err := NewDesign(n, terms)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// The columns stand in the order that the results are given in, each with the
// identity of its coefficient.
func TestColumnsInOrder(t *testing.T) {
	t.Parallel()
	a := factorOf("A", "x", "y", "x", "y", "x", "y", "x", "y")
	b := factorOf("B", "p", "p", "q", "q", "p", "p", "q", "q")
	bin := factorOf("bin", "1", "1", "1", "1", "2", "2", "2", "2")
	start := Variable{"start_g", []float64{1, 2, 3, 4, 5, 6, 7, 8}}
	light := Variable{"dli", []float64{2, 1, 4, 3, 6, 5, 8, 7}}
	d := design(t, 8, Terms{
		Bin: &bin, Treatments: []Treatment{{a, PerPlant}, {b, PerPlant}}, Interactions: true,
		Covariates: []Variable{start}, Light: &light,
	})
	var got []string
	for _, c := range d.Columns {
		got = append(got, fmt.Sprintf("%s|%s|%s", c.Name(), c.Level, c.Against))
	}
	want := []string{"intercept||", "bin|2|1", "A|y|x", "B|q|p", "A × B|y, q|x, p", "start_g||", "light||"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	// Adjusted mean of B = q: bins and A weighted equally, numbers at their mean.
	at := d.Weights(At{slices.IndexFunc(d.Factors, func(f Factor) bool { return f.Name == "B" }), 1})
	if want := []float64{1, 0.5, 0.5, 1, 0.5, 4.5, 4.5}; !slices.Equal(at, want) {
		t.Errorf("weights %v, want %v", at, want)
	}
}

func TestBlockThatIsAUnionOfBinsDropsOut(t *testing.T) {
	t.Parallel()
	block := factorOf("block", "1", "1", "1", "1", "2", "2", "2", "2")
	bin := factorOf("bin", "a", "a", "b", "b", "c", "c", "d", "d")
	d := design(t, 8, Terms{Block: &block, Bin: &bin})
	if len(d.Columns) != 4 || d.Columns[1].Name() != "bin" {
		t.Errorf("columns %v, want intercept and three bins", d.Columns)
	}
	across := factorOf("bin", "a", "b", "a", "b", "a", "b", "a", "b")
	d = design(t, 8, Terms{Block: &block, Bin: &across})
	if len(d.Columns) != 3 || d.Columns[1].Name() != "block" {
		t.Errorf("columns %v, want intercept, block and bin", d.Columns)
	}
}

// A treatment that bins hold has no column; its interaction with a plant
// treatment has, and bins then count equally within its levels: here one bin of
// level p and two of level q.
func TestBinsHoldTheirTreatments(t *testing.T) {
	t.Parallel()
	bin := factorOf("bin", "a", "a", "b", "b", "c", "c")
	feed := factorOf("feed", "p", "p", "q", "q", "q", "q")
	medium := factorOf("medium", "x", "y", "x", "y", "x", "y")
	terms := Terms{Bin: &bin, Treatments: []Treatment{{feed, PerBin}, {medium, PerPlant}}, Interactions: true}
	d := design(t, 6, terms)
	var names []string
	for _, c := range d.Columns {
		names = append(names, c.String())
	}
	if want := "intercept, bin b, bin c, medium y, feed × medium q, y"; strings.Join(names, ", ") != want {
		t.Fatalf("columns %s, want %s", strings.Join(names, ", "), want)
	}
	mediumAt := d.Treatments()[1]
	if got, want := d.Weights(At{mediumAt, 1}), []float64{1, 0.25, 0.25, 1, 0.5}; !slices.Equal(got, want) {
		t.Errorf("medium y: weights %v, want %v", got, want)
	}
	if got, want := d.Weights(At{d.Bin(), 0}), []float64{1, 0, 0, 0.5, 0}; !slices.Equal(got, want) {
		t.Errorf("bin a: weights %v, want %v", got, want)
	}
	if got, want := d.Weights(At{d.Treatments()[0], 1}, At{mediumAt, 1}), []float64{1, 0.5, 0.5, 1, 1}; !slices.Equal(got, want) {
		t.Errorf("feed q, medium y: weights %v, want %v", got, want)
	}
	// The adjusted mean must not hang on which level is the reference.
	y := []float64{1, 5, 2, 9, 4, 4.5}
	value := func(terms Terms, level string) float64 {
		f, err := design(t, 6, terms).fit(y)
		if err != nil {
			t.Fatal(err)
		}
		m := f.Design.Treatments()[1]
		return f.Linear(f.Design.Weights(At{m, slices.Index(f.Design.Factors[m].Levels, level)})).Value
	}
	turned := terms
	turned.Treatments = slices.Clone(terms.Treatments)
	turned.Treatments[1].Factor = Factor{Name: "medium", Levels: []string{"y", "x"}, Of: []int{1, 0, 1, 0, 1, 0}}
	for _, level := range []string{"x", "y"} {
		near(t, "adjusted mean of "+level, value(turned, level), value(terms, level), 1e-13, 1)
	}
	terms.Interactions = false
	if got, want := design(t, 6, terms).Weights(At{mediumAt, 1})[1], 1.0/3; got != want {
		t.Errorf("without interactions bin b weighs %g, want %g", got, want)
	}
	families := d.Families()
	if len(families) != 2 || families[1].Name() != "feed × medium" || families[1].Within != 1 {
		t.Fatalf("families %+v", families)
	}
}

func TestWhatDataCanGetWrong(t *testing.T) {
	t.Parallel()
	medium := factorOf("medium", "x", "y", "x", "y", "x", "y")
	bin := factorOf("bin", "a", "a", "b", "b", "c", "c")
	y := []float64{1, 2, 4, 3, 5, 9}
	for _, c := range []struct {
		name  string
		terms Terms
		y     []float64
		is    error
		says  string
	}{
		{"constant outcome", Terms{Treatments: []Treatment{{medium, PerPlant}}}, []float64{0.1, 0.1, 0.1, 0.1, 0.1, 0.1}, ErrNoSpread, "nothing to explain"},
		{"zero outcome", Terms{Treatments: []Treatment{{medium, PerPlant}}}, make([]float64, 6), ErrNoSpread, ""},
		{"one plant a cell", Terms{Treatments: []Treatment{{factorOf("m", "a", "b", "c", "d", "e", "f"), PerPlant}}}, y, ErrTooFew, "6 rows for 6"},
		{"one level", Terms{Treatments: []Treatment{{factorOf("m", "a", "a", "a", "a", "a", "a"), PerPlant}}}, y, nil, `only the level "a"`},
		{"set per bin without bins", Terms{Treatments: []Treatment{{medium, PerBin}}}, y, nil, "name the bins too"},
		{"set per bin but not", Terms{Bin: &bin, Treatments: []Treatment{{medium, PerBin}}}, y, nil, "differs within a bin (a)"},
		{"set per bin, said per plant", Terms{Bin: &bin, Treatments: []Treatment{{factorOf("feed", "p", "p", "q", "q", "q", "q"), PerPlant}}}, y, nil, `"feed q" cannot be told apart from "bin b", "bin c"`},
		{"constant covariate", Terms{Covariates: []Variable{{"start_g", []float64{0.3, 0.3, 0.3, 0.3, 0.3, 0.3}}}}, y, nil, `"start_g" is the same in every row`},
		{"light the same throughout a bin", Terms{Bin: &bin, Light: &Variable{"dli", []float64{7.1, 7.1, 8, 8, 9.3, 9.3}}}, y, nil, `"light" cannot be told apart from "bin b", "bin c"`},
		{"a covariate in two units", Terms{Covariates: []Variable{{"g", []float64{1, 2, 4, 3, 6, 5}}, {"mg", []float64{1000, 2000, 4000, 3000, 6000, 5000}}}}, y, nil, `"mg" cannot be told apart from "g"`},
		{"outcome 1e300", Terms{Treatments: []Treatment{{medium, PerPlant}}}, []float64{1, 2, 1e300, 3, 4, 5}, nil, "row 3 of those used: the outcome is 1e+300"},
		{"outcome NaN", Terms{Treatments: []Treatment{{medium, PerPlant}}}, []float64{1, 2, math.NaN(), 3, 4, 5}, nil, "row 3 of those used: the outcome is NaN"},
		{"covariate infinite", Terms{Covariates: []Variable{{"start_g", []float64{1, 2, 3, 4, 5, math.Inf(1)}}}}, y, nil, "row 6 of those used: start_g is +Inf"},
		{"empty cell", Terms{Treatments: []Treatment{{factorOf("A", "x", "x", "x", "y", "y", "y"), PerPlant}, {factorOf("B", "p", "q", "q", "p", "p", "p"), PerPlant}}, Interactions: true}, y, nil, `"A × B y, q"`},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			d, err := NewDesign(len(c.y), c.terms)
			if err == nil {
				_, err = d.Fit(c.y)
			}
			if err == nil || c.is != nil && !errors.Is(err, c.is) || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v, want %v: …%s…", err, c.is, c.says)
			}
		})
	}
	if _, err := NewDesign(0, Terms{}); err == nil {
		t.Error("no rows: no error")
	}
}

// A column of plant names given for a treatment is told apart from a treatment.
func TestTooManyColumns(t *testing.T) {
	t.Parallel()
	names := Factor{Name: "plant", Of: make([]int, 5000)}
	for i := range names.Of {
		names.Levels = append(names.Levels, fmt.Sprint("p", i))
		names.Of[i] = i
	}
	_, err := NewDesign(5000, Terms{Treatments: []Treatment{{names, PerPlant}}})
	if err == nil || !strings.Contains(err.Error(), `"plant", with 5000 levels`) {
		t.Errorf("got %v", err)
	}
}

// A level that no row has any more is no level: the next becomes the reference.
func TestUnusedLevelsAreGone(t *testing.T) {
	t.Parallel()
	f := Factor{Name: "m", Levels: []string{"none", "a", "none too", "b"}, Of: []int{1, 3, 1, 3}}
	d := design(t, 4, Terms{Treatments: []Treatment{{f, PerPlant}}})
	if c := d.Columns[1]; len(d.Columns) != 2 || c.Level != "b" || c.Against != "a" {
		t.Errorf("columns %+v", d.Columns)
	}
}

// Numbers at the ends of the permitted range give finite results.
func TestExtremeNumbersStayFinite(t *testing.T) {
	t.Parallel()
	medium := factorOf("medium", "x", "y", "x", "y", "x", "y", "x", "y")
	base := []float64{1, 2, 4, 3, 5, 9, 2, 7}
	x := []float64{3, 1, 4, 1, 5, 9, 2, 6}
	for _, scaleY := range []float64{1e-60, 1, 1e69} {
		for _, scaleX := range []float64{1e-60, 1, 1e69} {
			y, cov := make([]float64, 8), make([]float64, 8)
			for i := range y {
				y[i], cov[i] = base[i]*scaleY, x[i]*scaleX
			}
			f := fitted(t, Terms{Treatments: []Treatment{{medium, PerPlant}}, Covariates: []Variable{{"c", cov}}}, y)
			unit := fitted(t, Terms{Treatments: []Treatment{{medium, PerPlant}}, Covariates: []Variable{{"c", x}}}, base)
			for j, c := range must(f.Coefficients()) {
				want := must(unit.Coefficients())[j]
				near(t, "p", c.P(), want.P(), 1e-9, 0)
				near(t, "robust p", c.HC3.P(), want.HC3.P(), 1e-9, 0)
			}
			for j, test := range must(f.Partial()) {
				near(t, "F", test.Value, must(unit.Partial())[j].Value, 1e-10, 0)
			}
			near(t, "vif", must(f.Design.Inflation(2)), must(unit.Design.Inflation(2)), 1e-12, 0)
			near(t, "equal slopes", EqualSlopes(f)[0].Value, EqualSlopes(unit)[0].Value, 1e-9, 0)
		}
	}
}
