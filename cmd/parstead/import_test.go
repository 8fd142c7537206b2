package main

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"parstead/store"
)

func TestImport(t *testing.T) {
	t.Parallel()
	dir := rackFolder(t, march, ownBroker)
	file := filepath.Join(t.TempDir(), "logger.csv")
	rows := "time,sensor,value\n2026-03-03T10:00:00Z,quantum,100\n2026-03-03 10:01,quantum,101.5\n" +
		"2026-03-03T10:02:00.25Z,quantum,65535\n2026-03-03T10:03:00Z,quantum,\n2027-03-03T10:03:00Z,quantum,1\n"
	if err := os.WriteFile(file, []byte(rows), 0o600); err != nil {
		t.Fatal(err)
	}
	out := must(t, march, "", "import", dir, file)
	want := "logger.csv: 5 readings, 3 stored, 2 refused (1 impossible time, 1 no number); of those stored, 1 set aside (1 saturated)\n"
	if out != want {
		t.Errorf("got  %swant %s", out, want)
	}
	var sum struct {
		Rows, Stored int
		Rejected     map[string]int
		SetAside     map[string]int `json:"set_aside"`
	}
	if err := json.Unmarshal([]byte(must(t, march, rows, "import", dir, "-", "--json")), &sum); err != nil {
		t.Fatal(err)
	}
	if sum.Rows != 5 || sum.Stored != 0 || sum.Rejected["duplicate"] != 3 {
		t.Errorf("a second time: %+v", sum)
	}
}

// What can't be read leaves no trace, not even a database.
func TestImportOfMistakes(t *testing.T) {
	t.Parallel()
	good := "time,sensor,value\n2026-03-03T10:00:00Z,quantum,100\n"
	for _, c := range []struct{ name, rows, says string }{
		{"unknown sensor", good + "2026-03-03T10:01:00Z,quantom,100\n", `standard input, line 3, column 22: no sensor is named "quantom"`},
		{"no time", good + "yesterday,quantum,100\n", `line 3, column 1: "yesterday" is not a time`},
		{"no number", good + "2026-03-03T10:01:00Z,quantum,bright\n", `"bright" is not a number`},
		{"decimal comma", good + "2026-03-03T10:01:00Z,quantum,1,5\n", "decimal comma"},
		{"no header", "2026-03-03T10:01:00Z,quantum,1\n", `the column "time" is missing`},
		{"empty", "", "is empty"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			dir := rackFolder(t, march, ownBroker)
			status, out, talk := command(t, march, c.rows, "import", dir, "-")
			if status != 1 || out != "" || !strings.Contains(talk, c.says) || strings.Count(talk, "\n") != 1 {
				t.Errorf("exit status %d, stdout %q, stderr %q", status, out, talk)
			}
			if _, err := os.Stat(filepath.Join(dir, store.FileName)); err == nil {
				t.Error("there is a database")
			}
		})
	}
	dir := rackFolder(t, march, ownBroker)
	if status, _, talk := command(t, march, "", "import", dir, dir); status != 1 || !strings.Contains(talk, "is a folder") {
		t.Errorf("a folder: %d, %s", status, talk)
	}
	if status, _, talk := command(t, march, "", "import", dir, filepath.Join(dir, "nothing.csv")); status != 1 || !strings.Contains(talk, "nothing.csv") {
		t.Errorf("no file: %d, %s", status, talk)
	}
	if status, _, _ := command(t, march, "", "import", dir); status != 2 {
		t.Errorf("without a file: exit status %d", status)
	}
}

// A logger's wide file with titles, decimal commas and dates with points: looked at
// first, then imported, as a text and as a workbook.
func TestImportOfALoggersFile(t *testing.T) {
	t.Parallel()
	dir := rackFolder(t, march, ownBroker)
	work := t.TempDir()
	text := "Logger 7;rack\nDate;Clock;CH1 (µmol);damp;battery\n03.03.2026;10:00;100,5;61;3,1\n03.03.2026;10:01;101,5;;3,1\n03.03.2026;10:02;65535;62,5;\n"
	file := filepath.Join(work, "logger.csv")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	how := []string{"--skip", "1", "--time", "Date", "--time", "Clock", "--column", "CH1 (µmol)=quantum"}
	status, out, talk := command(t, march, "", append([]string{"import", dir, file, "--dry-run"}, how...)...)
	want := `logger.csv as it is understood; nothing was written. Times in UTC.

2026-03-03 10:00:00 +00:00  quantum  100.5  100.5 µmol m⁻² s⁻¹
2026-03-03 10:00:00 +00:00  damp     61     61.0 % RH
2026-03-03 10:01:00 +00:00  quantum  101.5  101.5 µmol m⁻² s⁻¹
2026-03-03 10:02:00 +00:00  quantum  65535  65535.0 µmol m⁻² s⁻¹
2026-03-03 10:02:00 +00:00  damp     62.5   62.5 % RH

quantum: 3 readings, 2026-03-03 10:00:00 +00:00 to 2026-03-03 10:02:00 +00:00
damp: 2 readings, 2026-03-03 10:00:00 +00:00 to 2026-03-03 10:02:00 +00:00
5 readings, 0 to be refused; of the others 1 to be set aside (1 saturated). What is
stored already is told when they are imported.
`
	if status != 0 || out != want || talk != "logger.csv: columns not read: battery\n" {
		t.Errorf("%d, %s\n%s", status, talk, out)
	}
	if _, err := os.Stat(filepath.Join(dir, store.FileName)); err == nil {
		t.Error("a dry run wrote a database")
	}
	_, out, _ = command(t, march, "", append([]string{"import", dir, file}, how...)...)
	if want := "logger.csv: 5 readings, 5 stored, 0 refused; of those stored, 1 set aside (1 saturated)\n"; out != want {
		t.Errorf("got  %swant %s", out, want)
	}
	book := excelize.NewFile()
	for cell, value := range map[string]any{
		"A1": "Logger 7", "A2": "time", "B2": "quantum", "A3": time.Date(2026, 3, 3, 10, 0, 0, 0, time.UTC), "B3": 100.5, "A4": "03.03.2026 10:03", "B4": "7,5",
	} {
		if err := book.SetCellValue("Sheet1", cell, value); err != nil {
			t.Fatal(err)
		}
	}
	file = filepath.Join(work, "logger.xlsx")
	if err := errors.Join(book.SaveAs(file), book.Close()); err != nil {
		t.Fatal(err)
	}
	out = must(t, march, "", "import", dir, file, "--skip", "1")
	if want := "logger.xlsx: 2 readings, 1 stored, 1 refused (1 duplicate); of those stored, 0 set aside\n"; out != want {
		t.Errorf("got  %swant %s", out, want)
	}
	for _, wrong := range [][]string{{"--skip", "-1"}, {"--column", "quantum"}, {"--column", "a=quantum", "--column", "a=damp"}, {"--time-format", "soon"}} {
		if status, _, talk := command(t, march, "", append([]string{"import", dir, file}, wrong...)...); status != 2 || strings.Count(talk, "\n") != 1 {
			t.Errorf("%v: %d, %s", wrong, status, talk)
		}
	}
}
