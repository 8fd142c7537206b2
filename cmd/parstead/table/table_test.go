package table

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/xuri/excelize/v2"
)

func text(t *testing.T, content string, columns ...string) (*Table, error) {
	t.Helper()
	return readText(strings.NewReader(content), "t.csv", columns)
}

func TestNumbers(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	for name, c := range map[string]struct {
		content string
		want    []float64
	}{
		"comma":                   {"g,x\na,1.5\nb,\nc,1e+01\n", []float64{1.5, nan, 10}},
		"semicolon, comma":        {"g;x\na;1,5\nb;\nc;-2\n", []float64{1.5, nan, -2}},
		"tab, comma":              {"g\tx\na\t1,5\n", []float64{1.5}},
		"byte order mark, CRLF":   {"\ufeffg,x\r\na,1\r\n", []float64{1}},
		"heading's case, blanks":  {" G , X \na, 7 \n", []float64{7}},
		"rows of separators only": {"g,x\n,\na,3\n,\n", []float64{3}},
		"quoted heading":          {"\"g;1\",x,g\na,2,b\n", []float64{2}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			table, err := text(t, c.content, "g", "x")
			if strings.HasPrefix(c.content, "\"") {
				table, err = text(t, c.content, "x")
			}
			if err != nil {
				t.Fatal(err)
			}
			got, err := table.Numbers("x")
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(c.want, got, cmpopts.EquateNaNs()); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestFaultsNameTheirPlace(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ content, want string }{
		"text":              {"x\n1\nbig\n", `t.csv, line 3, column "x": "big" is not a number`},
		"words for numbers": {"x\nNaN\n", `t.csv, line 2, column "x": "NaN" is not a number`},
		"decimal comma":     {"g,x\na,\"1,5\"\n", `t.csv, line 2, column "x": "1,5" has a decimal comma`},
		"too large":         {"x\n1e999\n", `"1e999" is too large`},
		"ragged":            {"g,x\na\n", `t.csv, line 2: the row has more or fewer cells`},
		"stray quote":       {"g,x\na\"b,1\n", `t.csv, line 2: a double quote`},
		"no such column":    {"a,b\n1,2\n", `t.csv has no column "x": it has "a", "b"`},
		"twice":             {"x,X\n1,2\n", `t.csv has two columns named "X"`},
		"empty":             {"", `t.csv is empty`},
		"no rows":           {"x\n", `no rows`},
		"UTF-16":            {"\xff\xfex\x00", `UTF-16`},
		"Latin-1":           {"x\nbl\xe4\n", `t.csv, line 2, column "x": the cell is not UTF-8`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			table, err := text(t, c.content, "x")
			if err == nil {
				_, err = table.Numbers("x")
			}
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want %s", err, c.want)
			}
		})
	}
}

func TestYesNo(t *testing.T) {
	t.Parallel()
	table, err := text(t, "x\nYes\nN\nTRUE\n0\n1e+00\n\"\"\nmaybe\n", "x")
	if err != nil {
		t.Fatal(err)
	}
	_, err = table.YesNo("x")
	if want := `line 8, column "x": "maybe" is neither yes nor no`; err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("got %v, want %s", err, want)
	}
	table.cells[0] = table.cells[0][:5]
	got, err := table.YesNo("x")
	if diff := cmp.Diff([]float64{1, 0, 1, 0, 1}, got); err != nil || diff != "" {
		t.Error(err, diff)
	}
}

func TestSheet(t *testing.T) {
	t.Parallel()
	book := excelize.NewFile()
	for cell, v := range map[string]any{"A1": "g", "B1": "x", "A2": "a", "B2": 0.1, "A3": "b", "A4": "0.2", "B4": 1234567.25} {
		if err := book.SetCellValue("Sheet1", cell, v); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(t.TempDir(), "t.xlsx")
	if err := book.SaveAs(path); err != nil {
		t.Fatal(err)
	}
	table, err := Read(path, []string{"g", "x"})
	if err != nil {
		t.Fatal(err)
	}
	x, err := table.Numbers("x")
	if diff := cmp.Diff([]float64{0.1, math.NaN(), 1234567.25}, x, cmpopts.EquateNaNs()); err != nil || diff != "" {
		t.Error(err, diff)
	}
	if diff := cmp.Diff([]string{"a", "b", "0.2"}, table.Text("g")); diff != "" {
		t.Error(diff)
	}
}

func TestReadMissingFile(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if _, err := Read(filepath.Join(dir, "none.csv"), nil); err == nil || !strings.Contains(err.Error(), "is not there: name a table") {
		t.Errorf("got %v", err)
	}
	if _, err := Read(dir, nil); err == nil || !strings.Contains(err.Error(), "is a folder: name the table in it") {
		t.Errorf("got %v", err)
	}
}

func FuzzText(f *testing.F) {
	for _, s := range []string{"x\n1\n", "g;x\na;1,5\n", "\"x\n", "x,x\n1", "\ufeffx\r\n\r\n7", "x\n1e+01\n-"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, content string) {
		table, err := readText(strings.NewReader(content), "t.csv", []string{"x"})
		if err != nil {
			return
		}
		values, err := table.Numbers("x")
		if err != nil {
			return
		}
		if len(values) != table.Len() {
			t.Fatalf("%d values in %d rows", len(values), table.Len())
		}
		for i, v := range values {
			if blank := table.Text("x")[i] == ""; math.IsInf(v, 0) || math.IsNaN(v) != blank {
				t.Fatalf("row %d is %v", i, v)
			}
		}
	})
}

// A date where a number was typed is no number, and a formula without its value
// is no blank.
func TestSheetMangled(t *testing.T) {
	t.Parallel()
	book := excelize.NewFile()
	for cell, v := range map[string]any{"A1": "x", "B1": "y", "A2": time.Date(2026, 5, 3, 0, 0, 0, 0, time.UTC), "B2": 1} {
		if err := book.SetCellValue("Sheet1", cell, v); err != nil {
			t.Fatal(err)
		}
	}
	if err := book.SetCellFormula("Sheet1", "B3", "1+1"); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "t.xlsx")
	if err := book.SaveAs(path); err != nil {
		t.Fatal(err)
	}
	table, err := Read(path, []string{"x"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := table.Numbers("x"); err == nil || !strings.Contains(err.Error(), `line 2, column "x": "2026-05-03" is not a number`) {
		t.Error(err)
	}
	if _, err := Read(path, []string{"y"}); err == nil || !strings.Contains(err.Error(), `line 3, column "y": the cell is a formula whose value`) {
		t.Error(err)
	}
}

// What is no text is told as such, and an open quote where it opens.
func TestNoTable(t *testing.T) {
	t.Parallel()
	for content, want := range map[string]string{
		"\x7fELF\x00\x00a,b\n":        "is no text",
		"x,y\n1,2\n\"3,4\n5,6\n7,8\n": "line 3: a double quote opens a cell that nothing closes",
	} {
		if _, err := text(t, content, "x"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", content, err)
		}
	}
}
