package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// Readings that are exported and taken into a new folder give the same light and
// climate, and export the same again.
func TestExportedReadingsComeBack(t *testing.T) {
	t.Parallel()
	dir, again := rackFolder(t, march, ownBroker), rackFolder(t, march, ownBroker)
	rows := airRows() + "2026-03-03T10:00:00Z,quantum,100\n2026-03-03T10:01:00.125Z,quantum,101.5\n2026-03-03T10:01:00.125Z,quantum,99\n" +
		"2026-03-03T10:02:00Z,quantum,1e-7\n2026-03-03T10:03:00Z,quantum,12345678.5\n"
	must(t, march, rows, "import", dir, "-")
	for _, folder := range []string{dir, again} {
		must(t, march, "", "note", folder, "lamp raised, \"5 cm\"", "--kind", "lamp_moved", "--at", "2026-03-03 12:00")
		must(t, march, "", "note", folder, `=HYPERLINK("http://elsewhere.example")`)
	}
	first, second := filepath.Join(t.TempDir(), "a", "files"), filepath.Join(t.TempDir(), "b")
	narrow(t, strings.ReplaceAll(must(t, march, "", "export", dir, first), first, "DIR"))
	must(t, march, "", "import", again, filepath.Join(first, "readings.csv"))
	must(t, march, "", "export", again, second)
	for _, file := range []string{"readings.csv", "dli.csv", "climate.csv"} {
		a, errA := os.ReadFile(filepath.Join(first, file))
		b, errB := os.ReadFile(filepath.Join(second, file))
		if errA != nil || errB != nil || len(a) < 200 || !bytes.Equal(a, b) {
			t.Errorf("%s: %v, %v, %d and %d bytes", file, errA, errB, len(a), len(b))
		}
	}
	log, err := os.ReadFile(filepath.Join(first, "log.csv"))
	if err != nil || !strings.Contains(string(log), `,"lamp raised, ""5 cm""",`) || !strings.Contains(string(log), "2026-03-03T12:00:00Z") || !strings.Contains(string(log), `,"'=HYPERLINK(""`) {
		t.Errorf("log.csv: %v\n%s", err, log)
	}
	readings, err := os.ReadFile(filepath.Join(first, "readings.csv"))
	if err != nil || !strings.Contains(string(readings), "\n2026-03-03T10:01:00.125Z,quantum,101.5\n2026-03-03T10:01:00.125Z,quantum,99\n") {
		t.Errorf("a time's parts of a second, or the order of two values, are lost (%v)", err)
	}
}

// A plant's row holds all that the analysis of the folder uses: by the table it
// comes to the same.
func TestExportedPlantsCorrelateAlike(t *testing.T) {
	t.Parallel()
	dir, _ := twoSeasons(t)
	files := filepath.Join(t.TempDir(), "files")
	must(t, winter, "", "export", dir, files)
	type outcome struct {
		Name    string
		Of      map[string]string
		N       int
		Effects []struct {
			Effect   string
			Value, P float64
		}
	}
	type found struct{ Outcomes []outcome }
	folder := decoded[found](t, "correlate", dir)
	table := decoded[found](t, "correlate", "--table", filepath.Join(files, "plants.csv"),
		"--outcome", "biomass_g:measure", "--log", "biomass_g", "--covariate", "ln_start_g", "--by", "species",
		"--bin-treatment", "light_level", "--sets-light", "light_level", "--treatment", "medium", "--treatment", "cultivar",
		"--bin", "bin", "--block", "block", "--light", "light_dli")
	compared := 0
	for _, f := range folder.Outcomes {
		if f.Name != "biomass_g" {
			continue
		}
		i := slices.IndexFunc(table.Outcomes, func(o outcome) bool { return o.Of["species"] == f.Of["species"] })
		if i < 0 || table.Outcomes[i].N != f.N {
			t.Fatalf("%v: not the same plants", f.Of)
		}
		for _, e := range f.Effects {
			for _, o := range table.Outcomes[i].Effects {
				if strings.TrimPrefix(o.Effect, "ln_") == e.Effect {
					compared++
					if math.Abs(o.Value-e.Value) > 1e-9*math.Abs(e.Value) || math.Abs(o.P-e.P) > 1e-9 {
						t.Errorf("%v, %s: %v from the folder, %v from the table", f.Of, e.Effect, e, o)
					}
				}
			}
		}
	}
	if compared < 14 {
		t.Errorf("only %d effects compared", compared)
	}
}

// Every column of every file is described, and no other.
func TestExportDescribesItself(t *testing.T) {
	t.Parallel()
	dir, files := rackFolder(t, march, ownBroker), filepath.Join(t.TempDir(), "files")
	must(t, march, airRows(), "import", dir, "-")
	must(t, march, "", "export", dir, files)
	text, err := os.ReadFile(filepath.Join(files, "description.json"))
	if err != nil {
		t.Fatal(err)
	}
	var about struct {
		Files []struct {
			File    string
			Rows    int
			Columns []struct{ Name, Means, Source string }
		}
		Sensors []struct{ Name, Measures, Unit string }
	}
	if err := json.Unmarshal(text, &about); err != nil || len(about.Files) != 7 || len(about.Sensors) != 3 {
		t.Fatalf("%v: %s", err, text)
	}
	for _, f := range about.Files {
		content, err := os.Open(filepath.Join(files, f.File))
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(content).ReadAll()
		_ = content.Close()
		if err != nil || len(rows) != f.Rows+1 || len(rows[0]) != len(f.Columns) {
			t.Fatalf("%s: %v, %d rows, %d columns described", f.File, err, len(rows), len(f.Columns))
		}
		for i, c := range f.Columns {
			if rows[0][i] != c.Name || c.Means == "" || c.Source == "" {
				t.Errorf("%s: column %q described as %+v", f.File, rows[0][i], c)
			}
		}
	}
	status, _, talk := command(t, march, "", "export", dir, files)
	if status != 1 || !strings.Contains(talk, "is not empty") {
		t.Errorf("over what is there: %d, %s", status, talk)
	}
	left, err := os.ReadDir(filepath.Dir(files))
	if err != nil || len(left) != 1 {
		t.Errorf("left beside the export: %v, %v", left, err)
	}
}
