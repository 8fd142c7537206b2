package cells

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"
)

// A sheet that holds more than a sheet may hold is refused by the cell where it
// does, within seconds, and one at the bound is read. A workbook's last cell is
// that of common spreadsheets, no source.
func TestBoundsOfWorkbooks(t *testing.T) {
	t.Parallel()
	const head = `<row r="1"><c r="A1" t="s"><v>0</v></c></row>`
	cell := func(place string, line int) string {
		return fmt.Sprintf(`%s<row r="%d"><c r="%s%[2]d"><v>1</v></c></row>`, head, line, place)
	}
	wide := func(rows int, place string) string { // a cell in a column of each row
		var b strings.Builder
		for i := range rows {
			fmt.Fprintf(&b, `<row r="%d"><c r="%s%[1]d"><v>1</v></c></row>`, i+1, place)
		}
		return b.String()
	}
	for name, c := range map[string]struct {
		sheet        string
		line, column int // of the fault; 0 for none
		says         string
	}{
		"the last cell of a spreadsheet": {cell("XFD", 1048576), 1048576, 16384, "a cell stands in line 1048576"},
		"the last column":                {cell("XFD", 2), 2, 16384, "a cell stands in column 16384"},
		"the last row":                   {cell("A", 1048576), 1048576, 1, "a cell stands in line 1048576"},
		"beside the bounds":              {cell("ALM", MostRows), MostRows, 1001, "a cell stands in column 1001"},
		"at the bounds":                  {cell("ALL", MostRows), 0, 0, ""},
		"blank far out":                  {head + `<row r="1048576"><c r="XFD1048576" s="1"/></row>`, 0, 0, ""},
		"wide and long":                  {wide(1001, "ALL"), 1001, 1000, "more than 1000000 cells"},
		"a cell too long":                {head + `<row r="2"><c r="A2" t="inlineStr"><is><t>` + strings.Repeat("ä", mostOfCell+1) + `</t></is></c></row>`, 2, 1, "more than 32767 signs"},
		"a text that is missing":         {head + `<row r="2"><c r="B2" t="s"><v>7</v></c></row>`, 2, 2, "text is missing"},
		"a part too large":               {strings.Repeat(" ", MostBytes+1), 1, 1, "unpacks to more than 32 MB"},
		"elements without end":           {strings.Repeat("<x>", 100), 1, 1, "more than 64 deep"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			begun := time.Now()
			got, err := Read("plants.xlsx", written(t, "", c.sheet))
			if took := time.Since(begun); took > 30*time.Second {
				t.Errorf("it took %s", took)
			}
			fault, ok := errors.AsType[*Fault](err)
			switch {
			case c.says == "" && (err != nil || got.Rows[0][0].Text != "plant"):
				t.Errorf("%v, %v", got, err)
			case c.says != "" && (!ok || fault.Line != c.line || fault.Column != c.column || !strings.Contains(fault.Says, c.says) || fault.Mend == ""):
				t.Errorf("%v", err)
			}
		})
	}
}

// A workbook that is sound to read may still take a library too much to change.
func TestBoundsOfAChange(t *testing.T) {
	t.Parallel()
	var sheet strings.Builder
	for i := range 100 {
		fmt.Fprintf(&sheet, `<row r="%d"><c r="A%[1]d"><v>1</v></c><c r="XFD%[1]d" s="1"/></row>`, i+1)
	}
	data := written(t, "", sheet.String())
	if _, err := Read("plants.xlsx", data); err != nil {
		t.Error(err)
	}
	_, err := Change("plants.xlsx", data)
	if _, ok := errors.AsType[*Fault](err); !ok || !strings.Contains(err.Error(), "more than 1000000 cells") {
		t.Error(err)
	}
}

func TestBoundsOfTexts(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		text         string
		line, column int
		says         string
	}{
		"rows":       {"plant\n" + strings.Repeat("A\n", MostRows), MostRows + 1, 1, "a cell stands in line 200001"},
		"at rows":    {"plant\n" + strings.Repeat("A\n", MostRows-1), 0, 0, ""},
		"columns":    {"plant,b\nä" + strings.Repeat(",", MostColumns) + "\n", 2, MostColumns + 2, "a cell stands in column 1001"},
		"at columns": {"plant" + strings.Repeat(",x", MostColumns-1) + "\n", 0, 0, ""},
		"cells":      {strings.Repeat("plant"+strings.Repeat(",x", MostColumns-1)+"\n", 1001), 1001, 1, "more than 1000000 cells"},
		"a quote":    {"plant,b\nA,\"" + strings.Repeat("x\n", 20000) + "\"\n", 2, 3, "more than 32767 signs"},
		"bytes":      {"plant\n" + strings.Repeat(" ", MostBytes), 1, 1, "the file has 32 MB; 32 are read"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := Read("plants.csv", []byte(c.text))
			fault, ok := errors.AsType[*Fault](err)
			if c.says == "" && err != nil || c.says != "" && (!ok || fault.Line != c.line || fault.Column != c.column || !strings.Contains(fault.Says, c.says)) {
				t.Errorf("%v", err)
			}
		})
	}
}

// endless is a file that never ends.
type endless struct{ read int }

func (e *endless) Read(b []byte) (int, error) {
	for i := range b {
		b[i] = 'x'
	}
	e.read += len(b)
	return len(b), nil
}

// However long a logger's file is, one row of it is bounded: a file without line
// breaks, or a quotation mark that nothing closes, is not taken into memory.
func TestARowIsBounded(t *testing.T) {
	t.Parallel()
	for _, start := range []string{"", "at,value\n1,\""} {
		file := &endless{}
		r, err := OpenLogger("log.csv", io.MultiReader(strings.NewReader(start), file), 0)
		for err == nil {
			_, err = r.Read()
		}
		if !errors.Is(err, ErrLongRow) || !strings.Contains(err.Error(), "log.csv") || file.read > 2*mostOfRow {
			t.Errorf("after %d bytes: %v", file.read, err)
		}
	}
	many, err := OpenLogger("log.csv", strings.NewReader(strings.Repeat("1,22.5\n", 3<<20/7)), 0)
	rows := 0
	for err == nil {
		_, err = many.Read()
		rows++
	}
	if !errors.Is(err, io.EOF) || rows != 3<<20/7+1 {
		t.Errorf("%d rows, %v", rows, err)
	}
}
