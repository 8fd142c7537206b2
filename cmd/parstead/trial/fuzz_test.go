package trial_test

import (
	"archive/zip"
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/trial"
)

// checkProblems holds every problem to a file, a line and a mend.
func checkProblems(t *testing.T, dir string, problems []trial.Problem) {
	t.Helper()
	for i, p := range problems {
		if p.Says == "" || p.Mend == "" || p.Level != trial.LevelError && p.Level != trial.LevelWarning {
			t.Errorf("%+v: incomplete", p)
		}
		if strings.ContainsAny(p.Error(), "\n\r") {
			t.Errorf("%q is not one line", p.Error())
		}
		if p.File == "" {
			continue
		}
		text, err := os.ReadFile(filepath.Join(dir, p.File))
		if err != nil {
			continue // the file is missing
		}
		if lines := bytes.Count(text, []byte("\n")) + bytes.Count(text, []byte("\r")) + 1; p.Line < 1 || p.Line > lines || p.Column < 1 {
			t.Errorf("%+v: the file has %d lines", p, lines)
		}
		if i > 0 && problems[i-1].File == p.File && problems[i-1].Line > p.Line {
			t.Errorf("%+v stands before %+v", problems[i-1], p)
		}
	}
}

func FuzzConfig(f *testing.F) {
	f.Add(sound["trial.toml"])
	planted, err := os.ReadFile(filepath.Join(planted, "trial.toml"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(string(planted))
	f.Add("[trial]\nname = 'x'\n[[sensor]]\ntopic = '{bin}/{row}/{column}'\nfrom = 2026-03-29T01:30:00\n[[sensor.x]]\n[trial.only]\n")
	f.Add("bin = [1, {name = 2}, []]\nlamp = 'x'\ntrial = [[1]]\n\"\" = 1\n'a.b[0]' = 2\n")
	f.Fuzz(func(t *testing.T, text string) {
		if strings.Contains(text, "/") && strings.Contains(text, "_file") {
			t.Skip("may name any file of the machine")
		}
		dir := folder(t)
		if err := os.WriteFile(filepath.Join(dir, "trial.toml"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		_, problems := trial.Load(dir)
		checkProblems(t, dir, problems)
	})
}

func FuzzSheets(f *testing.F) {
	f.Add("plants", sound["plants.csv"])
	f.Add("layout", sound["layout.csv"])
	f.Add("survey", "time;bin;row;column;ppfd\n2026-03-03 12:00;upper;1;1;90,5\n;upper;1;2;\"9\n1\"\n2026-03-03 12:04;upper;1;3;1e3\n")
	f.Add("counts", "time,plant,outcome,value\n2026-10-25 01:30,A1,leaves,3\n2026-10-25 01:10,A2,rooted,yes\n")
	f.Add("moves", "time\tplant\tbin\trow\tcolumn\n2026-04-01 10:00\tA1\tupper\t1\t2\n2026-04-01 10:00\tA2\tupper\t1\t1\n")
	f.Add("harvest", "\ufeffplant,date,status,lost_on,cause,leave_out,biomass_g_gross,biomass_g_tare,biomass_g_again,rooted\r\nA1,2026-06-10,lost,2026-05-01,rot,x,3,1,2,y\r\n")
	f.Add("harvest", "plant,\xff\nA1,2")
	f.Fuzz(func(t *testing.T, name, text string) {
		switch name {
		case "plants", "layout", "survey", "counts", "moves", "harvest":
		default:
			t.Skip("no sheet")
		}
		dir := folder(t)
		if err := os.WriteFile(filepath.Join(dir, name+".csv"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		_, problems := trial.Load(dir)
		checkProblems(t, dir, problems)
	})
}

// A time that is understood shows again what was written, where it was local.
func FuzzClock(f *testing.F) {
	for _, s := range []string{"2026-03-29 01:30", "2026-10-25 01:30:30", "2026-07-21T14:05:30Z", "2026-07-21T14:05:30.25+02:00", "2011-12-30 12:00"} {
		f.Add(s, "Europe/Lisbon")
		f.Add(s, "Pacific/Apia")
	}
	f.Fuzz(func(t *testing.T, written, name string) {
		z, err := time.LoadLocation(name)
		if err != nil {
			t.Skip("no zone")
		}
		clock := trial.Clock{Zone: z}
		at, err := clock.Parse(written)
		if err != nil {
			if strings.TrimSpace(err.Error()) == "" {
				t.Error("no word of the mistake")
			}
			return
		}
		if y := at.Year(); y < 1969 || y > 2201 {
			t.Errorf("%q: %v", written, at)
		}
		if local, err := time.Parse(time.DateTime, strings.TrimSpace(written)); err == nil {
			if got := at.In(z).Format(time.DateTime); got != local.Format(time.DateTime) {
				t.Errorf("%q in %v: shows %s", written, z, got)
			}
		}
	})
}

// The parts of a workbook are fuzzed inside a sound archive, whose checksums
// would else refuse nearly everything.
func FuzzWorkbook(f *testing.F) {
	path := filepath.Join(f.TempDir(), "seed.xlsx")
	saveWorkbook(f, path, [][]any{{"plant", "biomass_g", "date"}, {"A1", 12.5, time.Date(2026, 6, 10, 0, 0, 0, 0, time.UTC)}}, nil)
	archive, err := zip.OpenReader(path)
	if err != nil {
		f.Fatal(err)
	}
	parts := map[string]string{}
	for _, file := range archive.File {
		r, err := file.Open()
		if err != nil {
			f.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			f.Fatal(err)
		}
		parts[file.Name] = string(text)
	}
	if err := archive.Close(); err != nil {
		f.Fatal(err)
	}
	const sheet, styles, strs = "xl/worksheets/sheet1.xml", "xl/styles.xml", "xl/sharedStrings.xml"
	f.Add(parts[sheet], parts[styles], parts[strs])
	f.Add(`<worksheet><sheetData><row r="3"><c r="B3" t="b"><v>1</v></c><c t="d"><v>2026-06-10T00:00:00</v></c><c r="A9" s="77" t="s"><v>99</v></c></row><row><c/></row></sheetData></worksheet>`, "", "")
	f.Fuzz(func(t *testing.T, sheetXML, stylesXML, stringsXML string) {
		var book bytes.Buffer
		w := zip.NewWriter(&book)
		for name, text := range parts {
			switch name {
			case sheet:
				text = sheetXML
			case styles:
				text = stylesXML
			case strs:
				text = stringsXML
			}
			part, err := w.Create(name)
			if err == nil {
				_, err = io.WriteString(part, text)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		dir := folder(t)
		if err := os.WriteFile(filepath.Join(dir, "harvest.xlsx"), book.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		_, problems := trial.Load(dir)
		for _, p := range problems {
			if p.Says == "" || p.Mend == "" || p.File == "harvest.xlsx" && p.Line < 1 {
				t.Errorf("%+v: incomplete", p)
			}
		}
	})
}
