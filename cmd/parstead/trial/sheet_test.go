package trial_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/xuri/excelize/v2"

	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
	"parstead/light"
)

// Edits of the sound trial's sheets.
func inLayout(old, new string) edit { return edit{"layout.csv", old, new} }
func inPlants(old, new string) edit { return edit{"plants.csv", old, new} }
func inSurvey(rows string) edit {
	return edit{"survey.csv", "", "time,bin,row,column,ppfd,lux\n" + rows}
}

func inMoves(rows string) edit { return edit{"moves.csv", "", "time,plant,bin,row,column\n" + rows} }

func inCounts(rows string) edit { return edit{"counts.csv", "", "time,plant,outcome,value\n" + rows} }

func inHarvest(heads, rows string) edit {
	return edit{"harvest.csv", "", "plant," + heads + "\n" + rows}
}

// sheetMistakes are in the sheets.
var sheetMistakes = []mistake{
	// the sheet as such
	{"empty", []edit{{"survey.csv", "", "\n"}}, "survey.csv:1:1: error:", "the sheet is empty"},
	{"UTF-16", []edit{{"survey.csv", "", "\xff\xfet\x00i\x00"}}, "survey.csv:1:1: error:", "UTF-16"},
	{"Latin-1", []edit{inPlants("A2,one", "A2,m\xe3e")}, "plants.csv:3:5: error:", "not UTF-8"},
	{"stray quote", []edit{inPlants("A2,one", `A2,o"ne`)}, "plants.csv:3:5: error:", "quotation mark"},
	{"open quote", []edit{inPlants("A2,one", `"A2,one`)}, "plants.csv:3:1: error:", "opens a cell that nothing closes"},
	{"title above", []edit{{"harvest.csv", "", "my harvest,\nplant,leaves,\nA1,3,4\n"}}, "harvest.csv:1:1: error:", "move the headings into the first line"},
	{"other separator", []edit{{"harvest.csv", "", "plant|leaves\nA1|3\n"}}, "harvest.csv:1:1: error:", "no column plant"},
	{"needed column, near", []edit{{"harvest.csv", "", "plnt,leaves\nA1,3\n"}}, "harvest.csv:1:1: error:", `call the column "plnt" plant`},
	{"column twice", []edit{inHarvest("leaves, Leaves", "A1,3,4\n")}, "harvest.csv:1:14: error:", "two columns are called"},
	{"unknown column", []edit{inHarvest("leafs", "A1,3\n")}, "harvest.csv:1:7: error:", "call it leaves"},
	{"no heading", []edit{inHarvest("leaves,", "A1,3,4\n")}, "harvest.csv:2:6: error:", "without a heading"},
	{"row too short", []edit{inPlants("A2,one,0.94", "A2,one"), {"layout.csv", "A2,upper,1,2,bark,no\n", "A4,lower,1,3,bark,\n"}, {"layout.csv", "A4,lower,1,2,bark,yes\n", ""}}, "plants.csv:3:1: error:", "has 2 cells, the heading 3"},
	{"decimal comma splits", []edit{inHarvest("biomass_g", "A1,12,5\n")}, "harvest.csv:2:4: error:", "write 12.5"},
	{"both kinds of file", []edit{{"layout.xlsx", "", "x"}}, "layout.xlsx: error:", "layout.csv is there too"},
	{"no workbook", []edit{{"moves.xlsx", "", "x"}}, "moves.xlsx:1:1: error:", "no workbook"},

	// numbers
	{"quoted decimal comma", []edit{inHarvest("biomass_g", "A1,\"12,5\"\n")}, "harvest.csv:2:4: error:", `"12,5" has a decimal comma; write 12.5`},
	{"no number", []edit{inHarvest("biomass_g", "A1,12 g\n")}, "harvest.csv:2:4: error:", "is not a number"},
	{"thousands", []edit{{"harvest.csv", "", "plant;biomass_g\nA1;1.212,5\n"}}, "harvest.csv:2:4: error:", "is not a number"},
	{"infinite", []edit{inHarvest("biomass_g", "A1,inf\n")}, "harvest.csv:2:4: error:", "is not a number"},
	{"too large", []edit{inHarvest("biomass_g", "A1,1e999\n")}, "harvest.csv:2:4: error:", "too large"},
	{"yes or no", []edit{inHarvest("rooted", "A1,maybe\n")}, "harvest.csv:2:4: error:", "write yes or no"},

	// plants and layout
	{"code blank", []edit{inPlants("A4,two,1.05\n", "A4,two,1.05\n,two,1.05\n")}, "plants.csv:6:1: error:", "code is blank"},
	{"code twice", []edit{inPlants("A4,two,1.05\n", "A4,two,1.05\nA4,two,1.05\n")}, "plants.csv:6:1: error:", "also in line 5"},
	{"code as exponent", []edit{inPlants("A4,two,1.05\n", "A4,two,1.05\n1E+05,two,1.05\n")}, "plants.csv:6:1: error:", "a number with an exponent: 1E+05"},
	{"code as month", []edit{inPlants("A4,two,1.05\n", "A4,two,1.05\n3. Mrz,two,1.05\n")}, "plants.csv:6:1: error:", "into a date: 3. Mrz"},
	{"code as day", []edit{inPlants("A4,two,1.05\n", "A4,two,1.05\n2026-03-01,two,1.05\n")}, "plants.csv:6:1: error:", "into a date"},
	{"columns disagree", []edit{inLayout("plant,bin,row,column,medium,guard\nA1,upper,1,1,coir,\n", "plant,bin,row,column,medium,start_g\nA1,upper,1,1,coir,1.26\n"), inLayout("A2,upper,1,2,bark,no", "A2,upper,1,2,bark,0.940"), inLayout("bark,yes", "bark,")}, "layout.csv:2:19: error:", "1.26\" here and \"1.25\" in plants.csv:2"},
	{"start is zero", []edit{inPlants("A2,one,0.94", "A2,one,0")}, "plants.csv:3:8: error:", "start_g of plant A2 is 0"},
	{"unknown bin", []edit{inLayout("A3,lower", "A3,lowr")}, "layout.csv:4:4: error:", `write "lower"`},
	{"row zero", []edit{inLayout("A3,lower,1", "A3,lower,0")}, "layout.csv:4:10: error:", "row 0 is off the grid"},
	{"half a row", []edit{inLayout("A3,lower,1", "A3,lower,1.5")}, "layout.csv:4:10: error:", "not a whole number"},
	{"odd one out in a bin", []edit{{"layout.csv", sound["layout.csv"], "plant,bin,row,column,medium\nA1,upper,1,1,coir\nA2,upper,1,2,bark\nA3,upper,1,3,bark\nA4,lower,1,2,coir\n"}, toml("set_per = \"plant\"", "set_per = \"bin\"")}, "layout.csv:2:14: error:", "the plant A3 has bark and A1 has coir"},
	{"no treatment column", []edit{inLayout("medium", "mdium")}, "layout.csv:1:1: error:", `call the column "mdium" medium`},
	{"unknown level", []edit{inLayout("1,2,bark,no", "1,2,brak,no"), inLayout("1,2,bark,yes", "1,2,bark,no")}, "layout.csv:3:14: error:", "write bark"},
	{"no level", []edit{inLayout("A3,lower,1,1,coir", "A3,lower,1,1,")}, "layout.csv:4:1: error:", "has no medium"},
	{"level of guards only", []edit{inLayout("1,2,bark,no", "1,2,coir,no")}, "trial.toml:45:20: error:", `no plant has the level "bark"`},
	{"two at one place", []edit{inLayout("A2,upper,1,2", "A2,upper,1,1")}, "layout.csv:3:1: error:", "A1 and A2 stand at one place"},
	{"treatment of reservoirs", []edit{toml(`set_per = "plant"`, `set_per = "reservoir"`), inLayout("1,2,bark,no", "1,2,coir,no"), inLayout("A3,lower,1,1,coir", "A3,lower,1,1,bark")}, "trial.toml:24:3: error:", "add reservoir"},
	{"split by a blank", []edit{toml("ends     = 2026-06-14\n", "ends     = 2026-06-14\nanalyse_by = \"species\"\n"), inPlants("A2,one", "A2,")}, "layout.csv:3:1: error:", "no species"},
	{"plant left over", []edit{inPlants("A4,two,1.05\n", "A4,two,1.05\nA5,two,1.05\n")}, "plants.csv:6:1: warning:", "no place"},
	{"nothing tells the light", []edit{toml("\"lux\"\nbin      = \"lower\"", "\"humidity\"\nbin      = \"lower\"")}, "trial.toml:24:3: warning:", "the light of 2 plants"},

	// survey
	{"no light column", []edit{{"survey.csv", "", "time,bin,row,column\n"}}, "survey.csv:1:1: error:", "none lux"},
	{"both columns", []edit{inSurvey("2026-03-03 12:00,upper,1,1,90,6000\n")}, "survey.csv:2:31: error:", "both ppfd and lux"},
	{"negative light", []edit{inSurvey("2026-03-03 12:00,upper,1,1,-90,\n")}, "survey.csv:2:28: error:", "can't be -90"},
	{"off the grid", []edit{inSurvey("2026-03-03 12:00,upper,4,1,90,\n")}, "survey.csv:2:24: error:", "from 1 to 3"},
	{"no first time", []edit{inSurvey(",upper,1,1,90,\n2026-03-03 12:00,upper,1,2,90,\n")}, "survey.csv:2:1: error:", "first row of the walk"},
	{"no last time", []edit{inSurvey("2026-03-03 12:00,upper,1,1,90,\n,upper,1,2,90,\n")}, "survey.csv:3:1: error:", "last row of the walk"},
	{"walk of days", []edit{inSurvey("2026-03-03 12:00,upper,1,1,90,\n,upper,1,2,90,\n2026-04-03 12:00,upper,1,3,90,\n")}, "survey.csv:3:1: error:", "first and the last row of every walk"},
	{"walk backwards", []edit{inSurvey("2026-03-03 12:00,upper,1,1,90,\n,upper,1,2,90,\n2026-03-03 11:00,upper,1,3,90,\n")}, "survey.csv:4:1: error:", "before it began"},
	{"time of day only", []edit{inSurvey("12:00,upper,1,1,90,\n")}, "survey.csv:2:1: error:", "is not a time"},
	{"a date of two readings", []edit{inSurvey("03/04/2026 12:00,upper,1,1,90,\n")}, "survey.csv:2:1: error:", `can be read as 2026-03-04 or as 2026-04-03; write it like 2026-07-21 14:05; in a spreadsheet program give the column the date format YYYY-MM-DD`},
	{"a day of two readings", []edit{inHarvest("date", "A1,5/6/2026\n")}, "harvest.csv:2:4: error:", `date "5/6/2026" can be read as 2026-05-06 or as 2026-06-05; write it like 2026-07-21; in a spreadsheet program`},
	{"a day with a time", []edit{inHarvest("date", "A1,2026-05-31 12:00\n")}, "harvest.csv:2:4: error:", "is no date of the calendar"},
	{"another year", []edit{inSurvey("2024-03-03 12:00,upper,1,1,90,\n")}, "survey.csv:2:1: error:", "more than a year outside"},
	{"capital letter", []edit{{"Survey.csv", "", "time,bin,row,column,ppfd\n"}}, "Survey.csv:1:1: warning:", "in small letters"},
	{"another program's ending", []edit{{"harvest.ods", "", "x"}}, "harvest.ods:1:1: warning:", "harvest.xlsx"},

	// harvest
	{"unknown plant", []edit{inHarvest("leaves", "Q,3\n")}, "harvest.csv:2:1: error:", `no plant has the code "Q"`},
	{"plant twice", []edit{inHarvest("leaves", "A1,3\nA1,4\n")}, "harvest.csv:3:1: error:", "twice"},
	{"outside the trial", []edit{inHarvest("date", "A1,2026-06-15\n")}, "harvest.csv:2:4: error:", "outside the trial"},
	{"unknown status", []edit{inHarvest("status", "A1,losst\n")}, "harvest.csv:2:4: error:", "harvested, lost or withdrawn"},
	{"unknown cause", []edit{inHarvest("status,cause", "A1,lost,frost\n")}, "harvest.csv:2:9: error:", "rot, pest, dried, accident, unknown"},
	{"cause without loss", []edit{inHarvest("cause", "A1,rot\n")}, "harvest.csv:2:4: error:", "was harvested, not lost"},
	{"left out for nothing", []edit{inHarvest("leave_out", "A1,yes\n")}, "harvest.csv:2:4: error:", "without a reason"},
	{"zero on a log scale", []edit{inHarvest("biomass_g", "A2,0\n")}, "harvest.csv:2:4: error:", "biomass_g of plant A2 is 0, which has no logarithm"},
	{"tare above gross", []edit{inHarvest("biomass_g_gross,biomass_g_tare", "A2,3,4\n")}, "harvest.csv:2:4: error:", "weighs 3 with the dish and the dish alone 4"},
	{"gross without tare", []edit{inHarvest("biomass_g_gross,biomass_g_tare", "A2,3,\n")}, "harvest.csv:2:4: error:", "no tare"},
	{"net and gross", []edit{inHarvest("biomass_g,biomass_g_gross,biomass_g_tare", "A2,3,4,1\n")}, "harvest.csv:2:4: error:", "both net and gross"},
	{"second without first", []edit{inHarvest("biomass_g,biomass_g_again", "A2,,4\n")}, "harvest.csv:2:5: error:", "no first"},
	{"part of a leaf", []edit{inHarvest("leaves", "A2,3.5\n")}, "harvest.csv:2:4: error:", "counts are 0, 1, 2"},
	{"weight of the lost", []edit{inHarvest("biomass_g,status", "A2,3.5,lost\n")}, "harvest.csv:2:4: warning:", "the 3.5 here is not used"},
	{"answer of the lost", []edit{inHarvest("rooted,status", "A2,Y,lost\n")}, "harvest.csv:2:4: warning:", "the Y here is not used"},
	{"misspelt status", []edit{inHarvest("rooted,status", "A2,Y,harvestd\n")}, "harvest.csv:2:6: error:", "can't be \"harvestd\""},

	// counts and moves
	{"unknown outcome", []edit{inCounts("2026-04-01 10:00,A1,leafs,3\n")}, "counts.csv:2:21: error:", "write leaves"},
	{"no time", []edit{inCounts(",A1,leaves,3\n")}, "counts.csv:2:1: error:", "blank"},
	{"count before the start", []edit{inCounts("2026-03-01 10:00,A1,leaves,3\n")}, "counts.csv:2:1: error:", "outside the trial"},
	{"move onto another", []edit{inMoves("2026-04-01 10:00,A1,upper,1,2\n")}, "moves.csv:2:1: error:", "A2 and A1 stand at one place"},
	{"moved after harvest", []edit{inMoves("2026-06-01 10:00,A1,upper,3,2\n"), inHarvest("date", "A1,2026-05-31\n")}, "moves.csv:2:1: error:", "after it was gone"},
	{"moved twice", []edit{inMoves("2026-04-01 10:00,A1,upper,3,2\n2026-04-01 10:00,A1,upper,3,3\n")}, "moves.csv:3:1: error:", "twice at one time"},

	// exposures and the rest
	{"exposure of zero", []edit{toml("kind = \"count\"\n", "kind = \"count\"\nexposure = \"stems\"\n"), inHarvest("leaves,stems", "A1,3,0\n")}, "harvest.csv:2:6: error:", "an exposure is above 0"},
	{"exposure nowhere", []edit{toml("kind = \"count\"\n", "kind = \"count\"\nexposure = \"stems\"\n"), inHarvest("leaves", "A1,3\n")}, "trial.toml:56:1: error:", `have a column "stems"`},
	{"tare without gross", []edit{inHarvest("biomass_g_gross,biomass_g_tare", "A2,,4\n")}, "harvest.csv:2:5: error:", "no gross"},
	{"weight of the withdrawn", []edit{inHarvest("biomass_g,status", "A2,3.5,withdrawn\n")}, "harvest.csv:2:4: warning:", "was withdrawn"},
	{"loss of the withdrawn", []edit{inHarvest("status,lost_on", "A2,withdrawn,2026-05-01\n")}, "harvest.csv:2:14: error:", "was withdrawn, not lost"},
	{"position left blank", []edit{inLayout("A3,lower,1,1", "A3,lower,,1")}, "layout.csv:4:10: error:", "row is blank"},
	{"lux where none counts", []edit{toml("lux_per_ppfd = 67.0\n", ""), toml("\"lux\"\nbin      = \"upper\"", "\"humidity\"\nbin      = \"upper\""), toml("\"lux\"\nbin      = \"lower\"", "\"ppfd\"\nbin      = \"lower\""), inSurvey("2026-03-03 12:00,upper,1,1,,6000\n2026-03-03 12:01,upper,1,2,,6000\n")}, "survey.csv:2:29: error:", "has no factor"},
	{"plant twice in the layout", []edit{inLayout("A4,lower", "A3,lower"), inPlants("A4,two,1.05\n", "")}, "layout.csv:5:1: error:", "is there twice: also in line 4"},
}

func TestSheetMistakes(t *testing.T) {
	t.Parallel()
	for _, m := range sheetMistakes {
		m.check(t)
	}
}

// Starting sizes with a decimal comma are handed on with a point.
func TestDecimalCommaOfStart(t *testing.T) {
	t.Parallel()
	read := load(t, edit{"plants.csv", sound["plants.csv"], "plant;species;start_g\nA1;1,5 l pot;1,25\nA2;x;0,94\nA3;x;1,10\nA4;x;1,05\n"},
		edit{"layout.csv", "plant,bin,row,column,medium,guard\nA1,upper,1,1,coir,", "plant,bin,row,column,medium,start_g\nA1,upper,1,1,coir,1.250"},
		edit{"layout.csv", "bark,no", "bark,"}, edit{"layout.csv", "bark,yes", "bark,"})
	if x, ok := read.Plants[0].Number("start_g"); x != 1.25 || !ok || read.Plants[0].Columns["species"] != "1,5 l pot" {
		t.Errorf("%+v", read.Plants[0])
	}
}

// A treatment's column that is blank throughout is there, and every plant is
// told that lacks its level.
func TestBlankTreatment(t *testing.T) {
	t.Parallel()
	_, problems := trial.Load(folder(t, edit{"layout.csv", sound["layout.csv"], "plant,bin,row,column,medium\nA1,upper,1,1,\nA2,upper,1,2,\nA3,lower,1,1,\nA4,lower,1,2,\n"}))
	want := []string{"layout.csv:2", "layout.csv:3", "layout.csv:4", "layout.csv:5"}
	lines := told(problems)
	if len(lines) != len(want) {
		t.Fatal(strings.Join(lines, "\n"))
	}
	for i, line := range lines {
		if !strings.HasPrefix(line, want[i]+":") {
			t.Errorf("%s, want %s", line, want[i])
		}
	}
}

// A stranger in the layout is told, and so is the plant that has no place;
// that results can't be split by the stranger follows from it.
func TestStrangers(t *testing.T) {
	t.Parallel()
	_, problems := trial.Load(folder(t, edit{"layout.csv", "A3,", "A03,"}, edit{"trial.toml", "ends     = 2026-06-14\n", "ends     = 2026-06-14\nanalyse_by = \"species\"\n"}))
	lines := told(problems)
	if len(lines) != 2 || !strings.Contains(lines[0], `"A3" has no place`) || !strings.Contains(lines[1], `plants.csv has no plant "A03"; write A3,`) {
		t.Error(strings.Join(lines, "\n"))
	}
	_, problems = trial.Load(folder(t, edit{"layout.csv", "A3,", "A33,"}))
	if lines := told(problems); len(lines) != 2 || !strings.Contains(lines[1], `plants.csv has no plant "A33"; correct the code`) {
		t.Error(strings.Join(lines, "\n"))
	}
}

// What a spreadsheet made of a date is read where it can mean one day only.
func TestRewrittenDates(t *testing.T) {
	t.Parallel()
	for _, date := range []string{"2026-05-31", "31.05.2026", "31.5.26", "5/31/2026", "31/05/2026", "5/31/26", "31-May-26", "2026-05-31 00:00:00"} {
		read := load(t, edit{"harvest.csv", "", "plant,leaves,date\nA1,3," + date + "\n"}, edit{"survey.csv", "", "time,bin,row,column,ppfd\n" + strings.TrimSuffix(date, " 00:00:00") + " 12:00,upper,1,1,90\n"})
		if p := read.Plants[0]; p.Date.String() != "2026-05-31" {
			t.Errorf("%s is read as %s", date, p.Date)
		}
		if at := read.Rack.Survey[0].At; at.UTC().Format(time.RFC3339) != "2026-05-31T11:00:00Z" { // Lisbon
			t.Errorf("%s is read as %s", date, at)
		}
	}
}

// The same sheet with each separator, line end, mark and case of heading.
func TestWaysToWriteASheet(t *testing.T) {
	t.Parallel()
	const text = "plant,biomass_g,leaves,remarks\nA1,12.5,3,\"small, but \"\"well\"\"\"\nA2,,4,\n"
	want := load(t, edit{"harvest.csv", "", text}).Plants
	for name, written := range map[string]string{
		"semicolon": "plant;biomass_g;leaves;remarks\nA1;12,5;3;small, but well\nA2;;4;\n",
		"tab":       "plant\tbiomass_g\tleaves\tremarks\nA1\t12,5\t3\tsmall\nA2\t\t4\t\n",
		"mark":      "\ufeff" + text,
		"CRLF":      strings.ReplaceAll(text, "\n", "\r\n"),
		"CR":        strings.ReplaceAll(text, "\n", "\r"),
		"headings":  strings.Replace(text, "plant,biomass_g,leaves", " Plant , BIOMASS_G,Leaves", 1),
		"blanks":    "plant,biomass_g,leaves\n\n A1 ,\u00a012.50, 3 \n,,\nA2,,4\n",
		"spare":     "plant,biomass_g,leaves,\nA1,12.5,3,\nA2,,4,,\n",
	} {
		got := load(t, edit{"harvest.csv", "", written}).Plants
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
}

// A workbook says what the .csv of it says: texts, numbers, dates, times and
// booleans.
func TestWorkbookIsSheet(t *testing.T) {
	t.Parallel()
	const harvest = "plant,biomass_g,leaves,rooted,date,status\nA1,12.5,3,TRUE,2026-06-10,harvested\nA2,0.1,4,FALSE,2026-06-11,\nA3,,,,,lost\n"
	const counts = "time,plant,outcome,value\n2026-04-01 10:00:00,A1,leaves,2\n2026-04-01 10:07:30,A2,leaves,3\n"
	want := load(t, edit{"harvest.csv", "", harvest}, edit{"counts.csv", "", counts})

	dir := folder(t)
	saveWorkbook(t, filepath.Join(dir, "harvest.xlsx"), [][]any{
		{"plant", "biomass_g", "leaves", "rooted", "date", "status"},
		{"A1", 12.5, 3, true, time.Date(2026, 6, 10, 0, 0, 0, 0, time.UTC), "harvested"},
		{"A2", 0.1, 4, false, time.Date(2026, 6, 11, 0, 0, 0, 0, time.UTC)},
		{"A3", nil, nil, nil, nil, "lost"},
	}, nil)
	saveWorkbook(t, filepath.Join(dir, "counts.xlsx"), [][]any{
		{"time", "plant", "outcome", "value"},
		{time.Date(2026, 4, 1, 10, 0, 0, 0, time.UTC), "A1", "leaves", 2},
		{"2026-04-01 10:07:30", "A2", "leaves", 3},
	}, nil)
	got, problems := trial.Load(dir)
	if !trial.Usable(problems) {
		t.Fatal(problems)
	}
	if d := cmp.Diff(want.Plants, got.Plants); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(want.Counts, got.Counts); d != "" {
		t.Error(d)
	}
}

func TestWorkbookMangledCodes(t *testing.T) {
	t.Parallel()
	dir := folder(t, edit{"layout.csv", "A4,lower,1,2,bark,yes\n", ""})
	if err := os.Remove(filepath.Join(dir, "plants.csv")); err != nil {
		t.Fatal(err)
	}
	scientific := "0.00E+00"
	saveWorkbook(t, filepath.Join(dir, "plants.xlsx"), [][]any{
		{"plant", "start_g"},
		{"A1", 1.25},
		{"A2", "0,94"},
		{"A3", 1.1},
		{time.Date(2026, 3, 3, 0, 0, 0, 0, time.UTC), 1},
		{100000, 1},
	}, map[string]string{"A6": scientific})
	_, problems := trial.Load(dir)
	want := []string{
		`plants.xlsx:3:2: error: start_g of plant A2 "0,94" has a decimal comma; write 0.94`,
		"plants.xlsx:5:1: error: a spreadsheet has turned the plant's code into a date: 2026-03-03; format the column as text, then type the code again",
		"plants.xlsx:6:1: error: a spreadsheet has turned the plant's code into a number with an exponent: 100000; format the column as text, then type the code again",
	}
	if d := cmp.Diff(want, told(problems)); d != "" {
		t.Error(d)
	}
}

func saveWorkbook(tb testing.TB, path string, rows [][]any, formats map[string]string) {
	tb.Helper()
	book := excelize.NewFile()
	defer func() { _ = book.Close() }()
	for i, row := range rows {
		for j, value := range row {
			name, err := excelize.CoordinatesToCellName(j+1, i+1)
			if err == nil && value != nil {
				err = book.SetCellValue("Sheet1", name, value)
			}
			if err != nil {
				tb.Fatal(err)
			}
		}
	}
	for name, format := range formats {
		style, err := book.NewStyle(&excelize.Style{CustomNumFmt: &format})
		if err == nil {
			err = book.SetCellStyle("Sheet1", name, name, style)
		}
		if err != nil {
			tb.Fatal(err)
		}
	}
	if err := book.SaveAs(path); err != nil {
		tb.Fatal(err)
	}
}

// Rows without a time lie evenly between the timed rows around them.
func TestWalk(t *testing.T) {
	t.Parallel()
	read := load(t, edit{"survey.csv", "", `time,bin,row,column,ppfd,lux,meter
2026-05-02 12:00,upper,1,1,90,,B
,upper,1,2,91,,B
,upper,1,3,,,B
,upper,1,4,92,,B
2026-05-02 12:04,upper,2,4,93,,B
2026-03-05 12:00:30,lower,1,1,,6000,
`})
	at := func(s string) time.Time {
		when, err := time.Parse(time.RFC3339, s)
		if err != nil {
			t.Fatal(err)
		}
		return when
	}
	place := func(bin string, row, column int) light.Position {
		return light.Position{Bin: bin, Row: row, Column: column}
	}
	row := func(line int) light.Line { return light.Line{File: "survey.csv", Line: line} }
	want := []light.SurveyReading{ // in order of time; the blank reading takes its time and no more
		{At: at("2026-03-05T12:00:30Z"), Position: place("lower", 1, 1), Measures: light.QuantityLux, Value: 6000, Row: row(7)},
		{At: at("2026-05-02T11:00:00Z"), Position: place("upper", 1, 1), Measures: light.QuantityPPFD, Value: 90, Meter: "B", Row: row(2)},
		{At: at("2026-05-02T11:01:00Z"), Position: place("upper", 1, 2), Measures: light.QuantityPPFD, Value: 91, Meter: "B", Row: row(3)},
		{At: at("2026-05-02T11:03:00Z"), Position: place("upper", 1, 4), Measures: light.QuantityPPFD, Value: 92, Meter: "B", Row: row(5)},
		{At: at("2026-05-02T11:04:00Z"), Position: place("upper", 2, 4), Measures: light.QuantityPPFD, Value: 93, Meter: "B", Row: row(6)},
	}
	if d := cmp.Diff(want, read.Rack.Survey); d != "" {
		t.Error(d)
	}
}

// Two plants that change places at one time never meet; light counts to the end
// of a plant's last day, and its position is free from that day on.
func TestStays(t *testing.T) {
	t.Parallel()
	read := load(t,
		edit{"moves.csv", "", "time,plant,bin,row,column\n2026-05-20 12:00,A3,upper,1,2\n2026-04-01 10:00,A1,upper,1,2\n2026-04-01 10:00,A2,upper,1,1\n"},
		edit{"harvest.csv", "", "plant,status,lost_on,date\nA1,lost,2026-05-20,\nA2,,,2026-06-10\n"})
	day := func(s string) light.Span {
		d, err := light.ParseDate(s)
		if err != nil {
			t.Fatal(err)
		}
		return read.Rack.Day(d)
	}
	swap := time.Date(2026, 4, 1, 9, 0, 0, 0, time.UTC)
	move := time.Date(2026, 5, 20, 11, 0, 0, 0, time.UTC)
	first, second := light.Position{Bin: "upper", Row: 1, Column: 1}, light.Position{Bin: "upper", Row: 1, Column: 2}
	whole := read.Rack.Trial()
	for i, want := range [][]light.Stay{
		{{Position: first, During: light.Span{From: whole.From, Until: swap}}, {Position: second, During: light.Span{From: swap, Until: day("2026-05-20").Until}}},
		{{Position: second, During: light.Span{From: whole.From, Until: swap}}, {Position: first, During: light.Span{From: swap, Until: day("2026-06-10").Until}}},
		{{Position: light.Position{Bin: "lower", Row: 1, Column: 1}, During: light.Span{From: whole.From, Until: move}}, {Position: second, During: light.Span{From: move, Until: whole.Until}}},
	} {
		if d := cmp.Diff(want, read.Plants[i].Stays); d != "" {
			t.Errorf("%s: %s", read.Plants[i].Code, d)
		}
		if i < 2 && read.Plants[i].Place.Column != i+1 {
			t.Errorf("%s: dealt place lost", read.Plants[i].Code)
		}
	}
	if m := read.Moves; len(m) != 3 || m[0].Plant != "A1" || m[2].Plant != "A3" {
		t.Errorf("%v", m)
	}
}

// A plant may be moved on the day of its harvest, and onto the place of one that was
// harvested that day.
func TestMoveOnTheLastDay(t *testing.T) {
	t.Parallel()
	read := load(t,
		edit{"moves.csv", "", "time,plant,bin,row,column\n2026-06-10 09:00,A1,upper,3,2\n2026-06-10 10:00,A3,upper,1,1\n2026-06-10 11:00,A1,upper,1,2\n"},
		edit{"harvest.csv", "", "plant,date,status\nA1,2026-06-10,\nA2,2026-06-10,lost\n"})
	if got := read.Plants[0].Stays; len(got) != 3 || got[2].Position.Column != 2 || !got[2].During.Until.Equal(read.Rack.Day(read.Plants[0].Date).Until) {
		t.Errorf("%v", got)
	}
}

func TestHarvest(t *testing.T) {
	t.Parallel()
	read := load(t,
		toml("kind = \"count\"\n", "kind = \"count\"\nexposure = \"stems\"\n"),
		edit{"harvest.csv", "", `Plant;date;status;lost_on;cause;leave_out;biomass_g_gross;biomass_g_tare;biomass_g_again;Rooted;stems;remarks
A1;2026-06-10;;;;no;12,5;0,25;12,2;Y;2,0;
A2;2026-06-12;withdrawn;;;;3,5;0,5;;0;1;
A3;;Lost;2026-05-20;Rot;;;;;;;
A4;;;;;mislabelled;3,5;0,5;;0;1;
`},
		edit{"counts.csv", "", `time,plant,outcome,value
2026-06-10 23:00,A1,leaves,7
2026-06-11 08:00,A1,leaves,9
2026-04-10 12:00,A1,leaves,5
2026-04-10 12:00,A3,leaves,5
2026-04-10 12:00,A4,leaves,6
`})
	june := func(d int) light.Date { return light.Date{Year: 2026, Month: 6, Day: d} }
	type fate struct {
		Has      bool
		Date     light.Date
		Status   analysis.Status
		Cause    string
		LeaveOut string
		Values   map[string]trial.Cell
	}
	want := []fate{
		{true, june(10), analysis.Harvested, "", "", map[string]trial.Cell{
			"biomass_g": {Value: 12.25, Again: 12.2, HasAgain: true}, "rooted": {Value: 1}, "leaves": {Value: 7, Counted: true},
		}},
		{true, june(12), analysis.Withdrawn, "", "", map[string]trial.Cell{}},
		{true, light.Date{Year: 2026, Month: 5, Day: 20}, analysis.Lost, "rot", "", map[string]trial.Cell{}},
		{true, june(14), analysis.Harvested, "", "mislabelled", map[string]trial.Cell{"biomass_g": {Value: 3}, "rooted": {}, "leaves": {Value: 6, Counted: true}}},
	}
	for i, p := range read.Plants {
		if d := cmp.Diff(want[i], fate{p.HasHarvest, p.Date, p.Status, p.Cause, p.LeaveOut, p.Values}); d != "" {
			t.Errorf("%s: %s", p.Code, d)
		}
	}
	if x, ok := read.Plants[0].Number("stems"); x != 2 || !ok {
		t.Errorf("stems %v %v", x, ok)
	}
	if len(read.Counts) != 5 {
		t.Errorf("%d counts", len(read.Counts))
	}
}

// Without harvest.csv, counts are all that is known.
func TestCountsAlone(t *testing.T) {
	t.Parallel()
	read := load(t, edit{"counts.csv", "", "time,plant,outcome,value\n2026-04-10 12:00,A4,Leaves,6\n2026-04-11T12:00:00Z,A4,rooted,yes\n"})
	want := map[string]trial.Cell{"leaves": {Value: 6, Counted: true}, "rooted": {Value: 1, Counted: true}}
	if d := cmp.Diff(want, read.Plants[3].Values); d != "" {
		t.Error(d)
	}
}

// A harvest.csv of losses makes the counts of all others missing: that is told,
// until the first plant is harvested.
func TestLossesOnly(t *testing.T) {
	t.Parallel()
	const counts = "time,plant,outcome,value\n2026-04-10 12:00,A4,leaves,6\n2026-04-10 12:00,A1,leaves,6\n"
	for harvest, want := range map[string]int{
		"plant,status\nA1,lost\n":          1,
		"plant,status\n":                   1,
		"plant,status\nA1,lost\nA4,\n":     0,
		"plant,status\nA1,lost\nA2,\n":     0, // it goes plant by plant
		"plant,status\nA1,lost\nA4,lost\n": 0, // no count of others
		"plant,status,leaves\nA1,lost,\n":  0, // the sheet of the harvest takes them
	} {
		read, problems := trial.Load(folder(t, edit{"harvest.csv", "", harvest}, edit{"counts.csv", "", counts}))
		lines := told(problems)
		if len(lines) != want || want == 1 && (!strings.Contains(lines[0], "harvest.csv: warning: no plant is written down as harvested") || !strings.Contains(lines[0], "give each plant that was not lost a line")) {
			t.Errorf("%q: %q", harvest, lines)
		}
		if _, taken := read.Plants[3].Values["leaves"]; taken != strings.Contains(harvest, "A4,\n") {
			t.Errorf("%q: the count of A4 is taken: %v", harvest, taken)
		}
	}
}

// Before plants are dealt, the plants are those that came.
func TestNoLayout(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	if err := os.Remove(filepath.Join(dir, "layout.csv")); err != nil {
		t.Fatal(err)
	}
	read, problems := trial.Load(dir)
	if lines := told(problems); len(lines) > 0 {
		t.Error(lines)
	}
	if read.Dealt || len(read.Plants) != 4 || read.Plants[1].Columns["start_g"] != "0.94" || read.Plants[1].Stays != nil {
		t.Errorf("%+v", read.Plants)
	}
}
