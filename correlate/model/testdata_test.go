package model

import (
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

func readTable(t testing.TB, path ...string) table {
	t.Helper()
	file, err := os.Open(filepath.Join(append([]string{"..", "..", "testdata"}, path...)...))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	records, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	tab := table{}
	for j, name := range records[0] {
		for _, r := range records[1:] {
			tab[name] = append(tab[name], r[j])
		}
	}
	return tab
}

func (tab table) numbers(t testing.TB, name string) []float64 {
	t.Helper()
	cells, ok := tab[name]
	if !ok {
		t.Fatalf("no column %q", name)
	}
	x := make([]float64, len(cells))
	for i, c := range cells {
		x[i] = number(t, c)
	}
	return x
}

// factor sorts a column's cells into levels in bytewise order.
func (tab table) factor(t testing.TB, name string) Factor {
	t.Helper()
	cells, ok := tab[name]
	if !ok {
		t.Fatalf("no column %q", name)
	}
	levels := slices.Clone(cells)
	slices.Sort(levels)
	f := Factor{Name: name, Levels: slices.Compact(levels), Of: make([]int, len(cells))}
	for i, c := range cells {
		f.Of[i], _ = slices.BinarySearch(f.Levels, c)
	}
	return f
}

func readJSON(t testing.TB, into any, path ...string) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(append([]string{"..", "..", "testdata"}, path...)...))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		t.Fatal(err)
	}
}

func number(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
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
func near(t testing.TB, what string, got, want, tolerance, scale float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*max(math.Abs(want), scale)) {
		t.Errorf("%s: got %.17g, want %.17g (off by %.2g)", what, got, want, got/want-1)
	}
}
