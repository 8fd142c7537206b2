package model

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
)

// table is a CSV file by column.
type table map[string][]string

func readTable(tb testing.TB, path ...string) table {
	tb.Helper()
	b, err := os.ReadFile(filepath.Join(append([]string{"..", "..", "testdata"}, path...)...))
	if err != nil {
		tb.Fatal(err)
	}
	records, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil {
		tb.Fatal(err)
	}
	tab := table{}
	for j, name := range records[0] {
		for _, r := range records[1:] {
			tab[name] = append(tab[name], r[j])
		}
	}
	return tab
}

func (tab table) numbers(tb testing.TB, name string) []float64 {
	tb.Helper()
	cells, ok := tab[name]
	if !ok {
		tb.Fatalf("no column %q", name)
	}
	x := make([]float64, len(cells))
	for i, c := range cells {
		x[i] = number(tb, c)
	}
	return x
}

// factor sorts a column's cells into levels in bytewise order.
func (tab table) factor(tb testing.TB, name string) Factor {
	tb.Helper()
	cells, ok := tab[name]
	if !ok {
		tb.Fatalf("no column %q", name)
	}
	levels := slices.Clone(cells)
	slices.Sort(levels)
	f := Factor{Name: name, Levels: slices.Compact(levels), Of: make([]int, len(cells))}
	for i, c := range cells {
		f.Of[i], _ = slices.BinarySearch(f.Levels, c)
	}
	return f
}

func readJSON(tb testing.TB, into any, path ...string) {
	tb.Helper()
	b, err := os.ReadFile(filepath.Join(append([]string{"..", "..", "testdata"}, path...)...))
	if err != nil {
		tb.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		tb.Fatal(err)
	}
}

func number(tb testing.TB, s string) float64 {
	tb.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		tb.Fatal(err)
	}
	return v
}

// digits is the number of decimal digits in which got agrees with want.
func digits(got, want float64) float64 {
	if got == want {
		return 16
	}
	if want == 0 {
		return -math.Log10(math.Abs(got))
	}
	return -math.Log10(math.Abs(got-want) / math.Abs(want))
}

// near demands agreement to a relative tolerance, or an absolute one of the
// same size times scale for numbers about zero.
func near(tb testing.TB, what string, got, want, tolerance, scale float64) {
	tb.Helper()
	if !(math.Abs(got-want) <= tolerance*max(math.Abs(want), scale)) {
		tb.Errorf("%s: got %.17g, want %.17g (off by %.2g)", what, got, want, got/want-1)
	}
}

// must is the value of a call that cannot fail here.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// leastSquares is the fit of a stratum of quantities.
func leastSquares(s *Stratum) *Fit { return s.Model.(*Fit) }

func slopeOf(f *Fit, kind Kind, name string) (Estimate, bool) {
	return Slope(f, f.Design, Term{Kind: kind, A: name})
}

// plants is the plants' stratum of a response.
func plants(t *testing.T, terms Terms, y Response) *Stratum {
	t.Helper()
	strata, err := FitStrata(len(terms.Treatments[0].Of), terms, nil, y)
	if err != nil {
		t.Fatal(err)
	}
	return strata[0]
}
