package cells

import (
	"bytes"
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/xuri/excelize/v2"
)

// A cell is told as a .csv would have it, with what the spreadsheet made of it;
// number formats 0 and 11 are those of ECMA-376 part 1, 18.8.30.
func TestCells(t *testing.T) {
	t.Parallel()
	book := excelize.NewFile()
	fail := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	for cell, v := range map[string]any{
		"A1": " P01 ", "B1": 0.1, "C1": true, "A2": time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), "B2": 1e5, "A4": "last",
	} {
		fail(book.SetCellValue("Sheet1", cell, v))
	}
	exponent, err := book.NewStyle(&excelize.Style{NumFmt: 11})
	fail(err)
	fail(book.SetCellStyle("Sheet1", "B2", "B2", exponent))
	fail(book.SetCellFormula("Sheet1", "C4", "1+0.25")) // written without its value
	var file bytes.Buffer
	fail(book.Write(&file))

	got, err := readBook(file.Bytes())
	want := [][]Cell{
		{{Text: "P01"}, {Text: "0.1"}, {Text: "TRUE"}},
		{{Text: "2026-03-01", Turn: Date}, {Text: "100000", Turn: Exponent}},
		nil,
		{{Text: "last"}, {}, {Unknown: true}},
	}
	if d := cmp.Diff(want, got, cmpopts.IgnoreFields(Cell{}, "Line", "Column")); err != nil || d != "" {
		t.Error(err, d)
	}
	if _, err := readBook([]byte("plant,start_g\n")); !errors.Is(err, ErrNoWorkbook) {
		t.Error(err)
	}
}
