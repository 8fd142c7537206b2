package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

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
	want := "logger.csv: 5 rows, 3 stored, 2 refused (1 impossible time, 1 no number); of those stored, 1 set aside (1 saturated)\n"
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
		{"no header", "2026-03-03T10:01:00Z,quantum,1\n", "time, sensor and value"},
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
