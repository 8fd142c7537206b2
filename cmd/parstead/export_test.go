package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"parstead/cmd/parstead/racktest"
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
// schemaOf is one of the schemas that the Data Package standard publishes.
func schemaOf(t *testing.T, name string) *jsonschema.Schema {
	t.Helper()
	file, err := os.Open(filepath.Join("../../testdata/datapackage", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close() //nolint:errcheck // it was only read
	doc, err := jsonschema.UnmarshalJSON(file)
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource(name, doc); err != nil {
		t.Fatal(err)
	}
	schema, err := c.Compile(name)
	if err != nil {
		t.Fatal(err)
	}
	return schema
}

// described is what a test reads of datapackage.json.
type described struct {
	Profile   string
	Resources []struct {
		Profile, Name, Path string
		Bytes               int64
		Rows                int
		Schema              struct {
			Fields        []struct{ Name, Type, Format, Description, Source string }
			MissingValues []string
		}
	}
	Parstead struct {
		Sensors []struct{ Name, Measures, Unit string }
	}
}

// An export's description is valid by the schemas that the standard publishes, and
// every file is as it is described: each cell is of its column's type (Table Schema,
// version 1, Types and Formats), each file as long as it says.
func TestExportDescribesItself(t *testing.T) {
	t.Parallel()
	dir, files := rackFolder(t, march, ownBroker), filepath.Join(t.TempDir(), "files")
	must(t, march, airRows()+"2026-03-03T10:00:00.25Z,quantum,100\n", "import", dir, "-")
	must(t, march, "", "note", dir, "lamp raised", "--kind", "lamp_moved")
	if err := os.Mkdir(filepath.Join(dir, "photos"), 0o700); err != nil {
		t.Fatal(err)
	}
	racktest.WriteFiles(t, filepath.Join(dir, "photos"), map[string]string{"P1-2026-03-04-1.jpg": "invented", "notes.txt": "mine"})
	spring, _ := twoSeasons(t)
	for _, trial := range []string{dir, spring} {
		files := filepath.Join(files, filepath.Base(trial))
		must(t, winter, "", "export", trial, files)
		text, err := os.ReadFile(filepath.Join(files, "datapackage.json"))
		if err != nil {
			t.Fatal(err)
		}
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		if err := schemaOf(t, "data-package").Validate(doc); err != nil {
			t.Error(err)
		}
		var about described
		if err := json.Unmarshal(text, &about); err != nil || about.Profile != "data-package" || len(about.Parstead.Sensors) < 2 {
			t.Fatalf("%v: %s", err, text)
		}
		tabular, tables := schemaOf(t, "tabular-data-resource"), 0
		names := map[string]bool{}
		for i, r := range about.Resources {
			info, err := os.Stat(filepath.Join(files, r.Path))
			if err != nil || info.Size() != r.Bytes || names[r.Name] {
				t.Errorf("%s: %v, %d bytes", r.Path, err, r.Bytes)
			}
			names[r.Name] = true
			if r.Profile != "tabular-data-resource" {
				continue
			}
			tables++
			if err := tabular.Validate(doc.(map[string]any)["resources"].([]any)[i]); err != nil {
				t.Errorf("%s: %v", r.Path, err)
			}
			content, err := os.Open(filepath.Join(files, r.Path))
			if err != nil {
				t.Fatal(err)
			}
			rows, err := csv.NewReader(content).ReadAll()
			_ = content.Close()
			if err != nil || len(rows) != r.Rows+1 || len(rows[0]) != len(r.Schema.Fields) {
				t.Fatalf("%s: %v, %d rows, %d fields described", r.Path, err, len(rows), len(r.Schema.Fields))
			}
			for i, f := range r.Schema.Fields {
				if rows[0][i] != f.Name || f.Description == "" || f.Source == "" {
					t.Errorf("%s: column %q described as %+v", r.Path, rows[0][i], f)
				}
				for _, row := range rows[1:] {
					if row[i] != "" && !ofType(row[i], f.Type) {
						t.Fatalf("%s: %q in column %s is no %s", r.Path, row[i], f.Name, f.Type)
					}
				}
			}
		}
		if tables != 7 || !names["sheets/trial.toml"] || names["photos/p1-2026-03-04-1.jpg"] != (trial == dir) || names["photos/notes.txt"] {
			t.Errorf("%d tables, %v", tables, names)
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

// ofType tells whether a cell is of a type of the Table Schema standard.
func ofType(cell, kind string) bool {
	var err error
	switch kind {
	case "string":
	case "number":
		_, err = strconv.ParseFloat(cell, 64)
	case "integer":
		_, err = strconv.Atoi(cell)
	case "date":
		_, err = time.Parse(time.DateOnly, cell)
	case "datetime":
		_, err = time.Parse(time.RFC3339Nano, cell)
	case "boolean":
		return cell == "yes" || cell == "no"
	default:
		return false
	}
	return err == nil
}

// Part of a season is exported by its days; dli and climate print the same rows.
func TestExportOfSomeDays(t *testing.T) {
	t.Parallel()
	dir, files := rackFolder(t, march, ownBroker), filepath.Join(t.TempDir(), "files")
	rows := airRows() + "2026-03-01T10:00:00Z,quantum,1\n2026-03-02T00:00:00Z,quantum,2\n2026-03-02T23:59:59Z,quantum,3\n2026-03-03T00:00:00Z,quantum,4\n"
	must(t, march, rows, "import", dir, "-")
	must(t, march, "", "export", dir, files, "--from", "2026-03-02", "--to", "2026-03-02")
	of := func(file string) string {
		text, err := os.ReadFile(filepath.Join(files, file))
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	readings := of("readings.csv")
	if strings.Count(readings, ",quantum,") != 2 || !strings.Contains(readings, "2026-03-02T00:00:00Z,quantum,2\n2026-03-02T23:59:59Z,quantum,3\n") {
		t.Errorf("%s", readings)
	}
	day := []string{"--csv", "--from", "2026-03-02", "--to", "2026-03-02"}
	if out := must(t, march, "", append([]string{"dli", dir}, day...)...); out != of("dli.csv") || strings.Count(out, "\n2026-03-02,upper,") != 4 {
		t.Errorf("%s", out)
	}
	if out := must(t, march, "", append([]string{"climate", dir}, day...)...); out != of("climate.csv") || strings.Count(out, "\n2026-03-02,upper,") != 1 {
		t.Errorf("%s", out)
	}
	if out := must(t, march, "", append([]string{"dli", dir, "--per", "bin"}, day...)...); !strings.HasPrefix(out, "date,bin,mean,min,max,cv,") || strings.Count(out, "\n") != 2 {
		t.Errorf("%s", out)
	}
	if status, _, talk := command(t, march, "", "dli", dir, "--csv", "--json"); status != 2 || strings.Count(talk, "\n") != 1 {
		t.Errorf("both: %d, %s", status, talk)
	}
}

// A trial that is put together again of its export, in an empty folder, correlates to
// the same numbers, and exports the same again.
func TestATrialOutOfItsExport(t *testing.T) {
	t.Parallel()
	spring, _ := twoSeasons(t)
	first, again, second := filepath.Join(t.TempDir(), "a"), filepath.Join(t.TempDir(), "again"), filepath.Join(t.TempDir(), "b")
	must(t, winter, "", "export", spring, first)
	if err := os.CopyFS(again, os.DirFS(filepath.Join(first, "sheets"))); err != nil {
		t.Fatal(err)
	}
	if out := must(t, winter, "", "import", again, filepath.Join(first, "log.csv"), "--dry-run"); !strings.Contains(out, "the log of an export, ") {
		t.Errorf("%s", out)
	}
	must(t, winter, "", "import", again, filepath.Join(first, "log.csv"))
	must(t, winter, "", "import", again, filepath.Join(first, "readings.csv"))
	if out := must(t, winter, "", "import", again, filepath.Join(first, "log.csv")); out != "log.csv: 0 entries written into the log\n" {
		t.Errorf("a second time: %s", out)
	}
	must(t, winter, "", "export", again, second)
	for _, file := range []string{"readings.csv", "log.csv", "dli.csv", "climate.csv", "plants.csv", "survey_residuals.csv"} {
		a, errA := os.ReadFile(filepath.Join(first, file))
		b, errB := os.ReadFile(filepath.Join(second, file))
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Errorf("%s: %v, %v, %d and %d bytes", file, errA, errB, len(a), len(b))
		}
	}
	was := must(t, winter, "", "correlate", spring, "--json")
	is := must(t, winter, "", "correlate", again, "--json")
	if len(was) < 1000 || was != is {
		at := 0
		for at < min(len(was), len(is)) && was[at] == is[at] {
			at++
		}
		from := max(at-80, 0)
		t.Errorf("correlates to something else: %s\nand %s", was[from:min(at+80, len(was))], is[from:min(at+80, len(is))])
	}
	must(t, winter, "", "note", again, "one more")
	if status, _, talk := command(t, winter, "", "import", again, filepath.Join(first, "log.csv")); status != 1 || !strings.Contains(talk, "a log is imported into a folder that has none") {
		t.Errorf("over a log: %d, %s", status, talk)
	}
}
