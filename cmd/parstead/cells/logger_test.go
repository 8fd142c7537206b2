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
		rows, err := NewLoggerFile("logger.csv", iotest.OneByteReader(strings.NewReader(c.text)))
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
		{strings.NewReader("\xff\xfet\x00i\x00"), "logger.csv is no text in UTF-8: name a logger's file of separated values, saved as UTF-8"},
		{strings.NewReader("SQLite\x00"), "logger.csv is no text in UTF-8: name a logger's file of separated values, saved as UTF-8"},
		{iotest.ErrReader(broken), "read logger.csv: the stick was drawn"},
		{io.MultiReader(strings.NewReader("time,sensor,value\n"+strings.Repeat("1,a,1\n", 1000)), iotest.ErrReader(broken)), "read logger.csv: the stick was drawn"},
	} {
		rows, err := NewLoggerFile("logger.csv", c.file)
		for err == nil {
			_, err = rows.Read()
		}
		if err.Error() != c.says {
			t.Errorf("%v, want %q", err, c.says)
		}
	}
}
