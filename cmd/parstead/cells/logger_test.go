package cells

import (
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"
)

// A logger's file is read whatever separates its cells, and wherever it comes from.
func TestLoggerFile(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		text  string
		comma bool
		line  int // of the last row
	}{
		"commas":     {"time,sensor,value\n1,a,85.5\n", false, 2},
		"semicolons": {"\ufefftime;sensor;value\r\n\r\n1;a;85.5\r\n", true, 3},
		"tabs":       {"time\tsensor\tvalue\n1\t\"a\"\t85.5", true, 2},
		"quoted":     {"time,\"sensor\",value\n\"1\",a,85.5\n", false, 2},
	} {
		rows, err := OpenLogger("logger.csv", iotest.OneByteReader(strings.NewReader(c.text)), 0)
		if err != nil {
			t.Fatal(name, err)
		}
		var got [][]string
		line := 0
		for {
			row, err := rows.Read()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(name, err)
			}
			got = append(got, append([]string{}, row...))
			line, _ = rows.Place(0)
		}
		if d := cmp.Diff([][]string{{"time", "sensor", "value"}, {"1", "a", "85.5"}}, got); d != "" || line != c.line || rows.DecimalComma() != c.comma {
			t.Errorf("%s: %s line %d, decimal comma %t", name, d, line, rows.DecimalComma())
		}
	}
}

// What is wrong with a logger's file is told with file, line and column.
func TestBadLoggerFiles(t *testing.T) {
	t.Parallel()
	broken := errors.New("the stick was drawn")
	for _, c := range []struct {
		file io.Reader
		says string
	}{
		{strings.NewReader("time,sensor,value\n1,a,1\n1,a\"b,1\n"), "logger.csv, line 3, column 4: bare \" in non-quoted-field: a quote within a cell is written twice, and the cell in quotes"},
		{strings.NewReader("\xff\xfet\x00i\x00"), "logger.csv is no text in UTF-8 and no workbook: name a logger's file of separated values, saved as UTF-8, or an .xlsx"},
		{strings.NewReader("SQLite\x00"), "logger.csv is no text in UTF-8 and no workbook: name a logger's file of separated values, saved as UTF-8, or an .xlsx"},
		{iotest.ErrReader(broken), "read logger.csv: the stick was drawn"},
		{io.MultiReader(strings.NewReader("time,sensor,value\n"+strings.Repeat("1,a,1\n", 1000)), iotest.ErrReader(broken)), "read logger.csv: the stick was drawn"},
	} {
		rows, err := OpenLogger("logger.csv", c.file, 0)
		for err == nil {
			_, err = rows.Read()
		}
		if err.Error() != c.says {
			t.Errorf("%v, want %q", err, c.says)
		}
	}
}

// Lines above the headings are left out and counted; a line that names the separator
// is none of the file's.
func TestTitlesOfLoggerFiles(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		text string
		skip int
		line int
	}{
		"titles":                {"Logger 7, rack\n\"two; words\n\ntime;a\n1;85,5\n", 3, 5},
		"sep=":                  {"\ufeffsep=;\r\ntime;a\r\n1;85,5\r\n", 0, 3},
		"sep=, said to be left": {"sep=;\ntime;a\n1;85,5\n", 1, 3},
		"sep= and a title":      {"SEP=;\na, b, c\ntime;a\n1;85,5\n", 2, 4},
	} {
		rows, err := OpenLogger("logger.csv", strings.NewReader(c.text), c.skip)
		if err != nil {
			t.Fatal(name, err)
		}
		var got [][]string
		for {
			row, err := rows.Read()
			if err != nil {
				break
			}
			got = append(got, append([]string{}, row...))
		}
		line, _ := rows.Place(0)
		if d := cmp.Diff([][]string{{"time", "a"}, {"1", "85,5"}}, got); d != "" || line != c.line {
			t.Errorf("%s: %s line %d", name, d, line)
		}
	}
	rows, err := OpenLogger("logger.csv", strings.NewReader("title\ntime,a\n1,\"2\n"), 1)
	if err != nil {
		t.Fatal(err)
	}
	if _, err = rows.Read(); err == nil {
		_, err = rows.Read()
	}
	if err == nil || !strings.HasPrefix(err.Error(), "logger.csv, line 3") {
		t.Error(err)
	}
	if rows, err := OpenLogger("logger.csv", strings.NewReader("one line"), 7); err != nil {
		t.Error(err)
	} else if _, err := rows.Read(); !errors.Is(err, io.EOF) {
		t.Error(err)
	}
}

// A logger's workbook is read as its .csv would be, dates of cells as dates.
func TestLoggerBook(t *testing.T) {
	t.Parallel()
	book := written(t, "", `<row r="1"><c r="A1" t="inlineStr"><is><t>Logger 7</t></is></c></row>
		<row r="2"><c r="A2" t="inlineStr"><is><t>time</t></is></c><c r="B2" t="inlineStr"><is><t>a</t></is></c></row>
		<row r="4"><c r="A4" s="2"><v>46224.5</v></c><c r="B4"><v>85.5</v></c></row><row r="5"><c r="B5"><f>1+1</f></c></row>`)
	rows, err := OpenLogger("logger.xlsx", strings.NewReader(string(book)), 1)
	if err != nil {
		t.Fatal(err)
	}
	var got [][]string
	for range 2 {
		row, err := rows.Read()
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, append([]string{}, row...))
	}
	// 46023 is 1 January 2026 (ECMA-376 part 1, 18.17.4.1, counted from 1900), 201 days later 21 July.
	line, column := rows.Place(1)
	if d := cmp.Diff([][]string{{"time", "a"}, {"2026-07-21 12:00:00", "85.5"}}, got); d != "" || line != 4 || column != 2 || !rows.DecimalComma() {
		t.Errorf("%s line %d, column %d", d, line, column)
	}
	if _, err := rows.Read(); err == nil || !strings.Contains(err.Error(), "logger.xlsx, line 5, column 2: the formula has no stored value") {
		t.Error(err)
	}
	if _, err := OpenLogger("logger.xlsx", strings.NewReader("PK\x03\x04 and no more"), 0); err == nil || !strings.HasPrefix(err.Error(), "logger.xlsx, line 1: the file is no workbook") {
		t.Error(err)
	}
}
