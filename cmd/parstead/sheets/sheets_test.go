package sheets_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"parstead/cmd/parstead/sheets"
	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
	"parstead/light"
)

// config is a trial with every kind of outcome. Invented.
const config = `[trial]
name     = "fern & <moss> trial"
timezone = "Europe/Lisbon"
starts   = 2026-03-02
ends     = 2026-06-14
[[lamp]]
name = "bar"
lux_per_ppfd = 67
on  = "07:00"
off = "21:00"
[[bin]]
name = "wide"
rows = 3
columns = 23
pitch_cm = [6, 6]
lamp = "bar"
[[bin]]
name = "small"
rows = 4
columns = 5
pitch_cm = [6, 6]
lamp = "bar"
[[treatment]]
name = "medium"
levels = ["zeolite", "pumice"]
set_per = "plant"
[[outcome]]
name = "mass_g"
kind = "measure"
unit = "g"
basis = "fresh"
primary = true
[[outcome]]
name = "leaves"
kind = "count"
[[outcome]]
name = "sori"
kind = "count"
exposure = "fronds"
only = { species = "fern" }
[[outcome]]
name = "rooted"
kind = "yes_no"
`

var printed = light.Date{Year: 2026, Month: 6, Day: 1}

// folder writes the trial: a fern in every second position of both bins, moss in
// the others, a guard in each bin's first.
func folder(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	layout := "plant,bin,row,column,medium,guard,species\n"
	n := 0
	for _, b := range []light.Bin{{Name: "wide", Rows: 3, Columns: 23}, {Name: "small", Rows: 4, Columns: 5}} {
		for i, p := range b.Positions() {
			if i == 7 {
				continue // stays free
			}
			n++
			guard, medium := "", []string{"zeolite", "pumice"}[n%3%2]
			if i == 0 {
				guard, medium = "yes", ""
			}
			layout += fmt.Sprintf("F%03d,%s,%d,%d,%s,%s,%s\n", n, p.Bin, p.Row, p.Column, medium, guard, []string{"fern", "moss"}[n%2])
		}
	}
	write(t, dir, "trial.toml", config)
	write(t, dir, "layout.csv", layout)
	return dir
}

func write(t *testing.T, dir, name, text string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

func open(t *testing.T, dir string) *trial.Trial {
	t.Helper()
	tr, err := trial.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

func page(t *testing.T, s *sheets.Sheet) string {
	t.Helper()
	var out bytes.Buffer
	if err := s.WriteHTML(&out); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// filled reads the sheet's CSV back, has fill write into each row by heading, and
// writes it into the folder.
func filled(t *testing.T, s *sheets.Sheet, dir, name string, fill func(i int, row map[string]string)) {
	t.Helper()
	var text, out bytes.Buffer
	if err := s.WriteCSV(&text); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&text).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range rows[1:] {
		cells := map[string]string{}
		for j, heading := range rows[0] {
			cells[heading] = row[j]
		}
		fill(i, cells)
		for j, heading := range rows[0] {
			row[j] = cells[heading]
		}
	}
	if err := csv.NewWriter(&out).WriteAll(rows); err != nil {
		t.Fatal(err)
	}
	write(t, dir, name, out.String())
}

// The walk comes by every position once, never jumps, and is a survey once values
// and each bin's first and last time stand in it.
func TestSurveyFilledInIsASurvey(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	s := sheets.Survey(open(t, dir), light.QuantityLux, printed)
	at := func(i int) light.Position {
		var p light.Position
		row := s.Rows[i]
		if _, err := fmt.Sscan(row[2]+" "+row[3], &p.Row, &p.Column); err != nil {
			t.Fatal(err)
		}
		p.Bin = row[1]
		return p
	}
	seen := map[light.Position]bool{}
	jumps := 0
	for i := range s.Rows {
		seen[at(i)] = true
		if i == 0 || at(i).Bin != at(i-1).Bin {
			continue
		}
		if d := abs(at(i).Row-at(i-1).Row) + abs(at(i).Column-at(i-1).Column); d != 1 {
			jumps++
		}
	}
	if len(seen) != 3*23+4*5 || len(s.Rows) != len(seen) || jumps > 2 { // between the wide bin's three strips
		t.Errorf("%d lines, %d positions, %d jumps", len(s.Rows), len(seen), jumps)
	}
	edge := func(i int) bool {
		return i == 0 || i == len(s.Rows)-1 || at(i).Bin != at(i-1).Bin || at(i).Bin != at(i+1).Bin
	}
	filled(t, s, dir, "survey.csv", func(i int, row map[string]string) {
		if edge(i) {
			row["time"] = fmt.Sprintf("2026-05-04 10:%02d", i/2)
		}
		if i != 40 { // one position was not read
			row["lux"], row["meter"] = fmt.Sprint(5000+i), "handheld"
		}
	})
	read := open(t, dir).Rack.Survey
	if len(read) != len(s.Rows)-1 {
		t.Fatalf("%d readings came of %d lines", len(read), len(s.Rows))
	}
	for k, r := range read {
		i := k
		if i >= 40 {
			i++
		}
		if r.Position != at(i) || r.Value != float64(5000+i) || r.Measures != light.QuantityLux {
			t.Fatalf("reading %d is %v, %v lux", k, r.Position, r.Value)
		}
	}
	if html := page(t, s); strings.Count(html, "<table") != 4 || strings.Count(html, `class="stop"`) != len(s.Rows) || !strings.Contains(html, "Don't look into lamps") && !strings.Contains(html, "Don&#39;t look into lamps") {
		t.Error("the page lacks a strip, a position or the caution")
	}
}

func abs(n int) int { return max(n, -n) }

// A filled in list is read as counts.csv, and asks no plant for what it is not due.
func TestCountFilledInIsCounts(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	s, err := sheets.Count(open(t, dir), sheets.Scoring{Seed: 5, At: "2026-05-04 10:00", Printed: printed})
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]float64{}
	filled(t, s, dir, "counts.csv", func(i int, row map[string]string) {
		if i%10 == 9 {
			return // was not counted
		}
		row["value"] = fmt.Sprint(i)
		want[row["plant"]+" "+row["outcome"]] = float64(i)
	})
	tr := open(t, dir)
	got := map[string]float64{}
	for _, c := range tr.Counts {
		got[c.Plant+" "+c.Outcome] = c.Value
		if p, _ := tr.Plant(c.Plant); p.Guard || c.Outcome == "sori" && p.Columns["species"] != "fern" {
			t.Errorf("%s of plant %s is not due", c.Outcome, c.Plant)
		}
		if text := c.At.In(tr.Rack.Zone).Format("2006-01-02 15:04"); text != "2026-05-04 10:00" {
			t.Errorf("counted at %s", text)
		}
	}
	if diff := cmp.Diff(want, got); diff != "" || len(got) < 100 {
		t.Errorf("%d counts: %s", len(got), diff)
	}
	html := page(t, s)
	if s.Head[len(s.Head)-1] != "remarks" || !strings.Contains(html, "<b>began <span></span>ended <span></span></b>") {
		t.Errorf("columns %v, or began and ended apart", s.Head)
	}
	if !strings.Contains(html, "sori") || strings.Contains(html, "mass_g") || strings.Contains(html, "rooted") {
		t.Error("the list counts something else than what is counted")
	}
	for _, wrong := range []sheets.Scoring{{Outcomes: []string{"petals"}}, {At: "noon"}, {At: "2027-05-04 10:00"}} {
		if _, err := sheets.Count(tr, wrong); err == nil {
			t.Errorf("%+v passes", wrong)
		}
	}
}

// A filled in list is read as harvest.csv; an outcome that was counted in the
// season keeps its last count.
func TestHarvestFilledInIsAHarvest(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	write(t, dir, "counts.csv", "time,plant,outcome,value\n2026-05-04 10:00,F002,leaves,7\n")
	s, err := sheets.Harvest(open(t, dir), sheets.Scoring{Seed: 5, Tare: true, Again: true, Printed: printed})
	if err != nil {
		t.Fatal(err)
	}
	if want := "plant,date,status,lost_on,cause,mass_g_gross,mass_g_tare,mass_g_again,sori,fronds,rooted,remarks"; strings.Join(s.Head, ",") != want {
		t.Errorf("columns %v", s.Head)
	}
	if len(s.Remarks) != 2 || !strings.Contains(s.Remarks[0], "leaves") {
		t.Errorf("remarks %q", s.Remarks)
	}
	type found struct {
		mass, again, rooted float64
		status              analysis.Status
		cause               string
		leaves              bool
	}
	want := map[string]found{}
	filled(t, s, dir, "harvest.csv", func(i int, row map[string]string) {
		if row["plant"] != "F002" && i%20 == 3 {
			row["status"], row["lost_on"], row["cause"] = "lost", "2026-04-01", trial.Causes[i/20%len(trial.Causes)]
			want[row["plant"]] = found{status: analysis.Lost, cause: row["cause"]}
			return
		}
		row["date"], row["mass_g_gross"], row["mass_g_tare"], row["mass_g_again"], row["rooted"] = "2026-06-12", fmt.Sprint(i+3), "2", "9", "yes"
		if row["plant"] < "F050" {
			row["fronds"] = "4"
		}
		want[row["plant"]] = found{float64(i + 1), 9, 1, analysis.Harvested, "", row["plant"] == "F002"}
	})
	tr := open(t, dir)
	got := map[string]found{}
	for _, p := range tr.Plants {
		if !p.HasHarvest {
			continue
		}
		_, leaves := p.Values["leaves"]
		got[p.Code] = found{p.Values["mass_g"].Value, p.Values["mass_g"].Again, p.Values["rooted"].Value, p.Status, p.Cause, leaves}
	}
	if diff := cmp.Diff(want, got, cmp.AllowUnexported(found{})); diff != "" || len(got) != len(s.Rows) {
		t.Errorf("%d plants: %s", len(got), diff)
	}
	if _, err := sheets.Harvest(tr, sheets.Scoring{Printed: printed}); err == nil {
		t.Error("there is nothing left to harvest, and still a list")
	}
}

// Whoever scores meets no treatment: neither in a word nor by the order.
func TestListsAreBlind(t *testing.T) {
	t.Parallel()
	tr := open(t, folder(t))
	order := func(s *sheets.Sheet) (codes []string) {
		for _, row := range s.Rows {
			code := row[slices.Index(s.Head, "plant")]
			if !slices.Contains(codes, code) {
				codes = append(codes, code)
			}
		}
		return codes
	}
	both := func(o sheets.Scoring) []*sheets.Sheet {
		count, err := sheets.Count(tr, o)
		if err != nil {
			t.Fatal(err)
		}
		harvest, err := sheets.Harvest(tr, o)
		if err != nil {
			t.Fatal(err)
		}
		return []*sheets.Sheet{count, harvest}
	}
	seven, again, eight := both(sheets.Scoring{Seed: 7}), both(sheets.Scoring{Seed: 7, NoPlaces: true}), both(sheets.Scoring{Seed: 8})
	for i := range seven {
		if !slices.Equal(order(seven[i]), order(again[i])) || slices.Equal(order(seven[i]), order(eight[i])) || slices.IsSorted(order(seven[i])) {
			t.Error("the order does not follow the seed")
		}
		if n := len(order(seven[i])); n != len(tr.Plants)-2 {
			t.Errorf("%d plants of %d and two guards", n, len(tr.Plants))
		}
		html := page(t, seven[i])
		for _, secret := range []string{"zeolite", "pumice", "medium", "<moss>"} {
			if strings.Contains(html, secret) || strings.Contains(fmt.Sprint(seven[i].Head, seven[i].Rows), secret) {
				t.Errorf("%q is on the list", secret)
			}
		}
		for _, word := range []string{"fern &amp; &lt;moss&gt; trial", "seed 7", "small 2,", "Gloves", "plug", "counter(page)", "table-header-group"} {
			if !strings.Contains(html, word) {
				t.Errorf("%q is not on the page", word)
			}
		}
		if strings.Contains(page(t, again[i]), "small 2,") {
			t.Error("places are there that were to be left out")
		}
	}
}

// Labels lie on their paper, none over another, one a plant; treatments only where
// they are asked for.
func TestLabels(t *testing.T) {
	t.Parallel()
	tr := open(t, folder(t))
	papers := map[string][2]float64{"A4": {210, 297}, "letter": {215.9, 279.4}} // ISO 216; ANSI/ASME Y14.1
	for _, stock := range sheets.Stocks {
		paper := papers[stock.Paper]
		width := float64(stock.Across)*stock.Width + float64(stock.Across-1)*stock.GapX
		height := float64(stock.Down) * stock.Height
		if width > paper[0] || height > paper[1] || stock.PaperX != paper[0] || stock.PaperY != paper[1] {
			t.Errorf("%s: %.1f × %.1f mm on paper of %v", stock.Name, width, height, paper)
		}
		bare, err := sheets.Labels(tr, stock.Name, false, printed)
		if err != nil {
			t.Fatal(err)
		}
		html := page(t, bare)
		each := stock.Across * stock.Down
		if n := strings.Count(html, `class="sheet"`); n != (len(tr.Plants)+each-1)/each {
			t.Errorf("%s: %d sheets for %d plants", stock.Name, n, len(tr.Plants))
		}
		corners := map[string]int{}
		for part := range strings.SplitSeq(html, `style="left: `) {
			if i := strings.Index(part, `"><b`); i > 0 {
				corners[part[:i]]++
			}
		}
		if len(corners) != min(each, len(tr.Plants)) {
			t.Errorf("%s: %d corners", stock.Name, len(corners))
		}
		for style := range corners {
			clearOfTheRim(t, stock, style)
		}
		if strings.Contains(html, "zeolite") || !slices.Equal(bare.Head, []string{"plant", "bin", "row", "column"}) {
			t.Errorf("%s: a label tells its treatment", stock.Name)
		}
		for _, p := range tr.Plants {
			if !strings.Contains(html, ">"+p.Code+"</b>") {
				t.Errorf("%s: no label for %s", stock.Name, p.Code)
			}
		}
	}
	open, err := sheets.Labels(tr, "a4-21", true, printed)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(page(t, open), "medium zeolite") || open.Head[4] != "medium" {
		t.Error("treatments were asked for and are not there")
	}
	// A long name is cut off; the place above it stays legible.
	tr.Plants[1].Treatments["medium"] = strings.Repeat("zeolite ", 20)
	long, err := sheets.Labels(tr, "a4-65", true, printed)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range regexp.MustCompile(`font-size: ([\d.]+)mm`).FindAllStringSubmatch(page(t, long), -1) {
		if mm, err := strconv.ParseFloat(m[1], 64); err != nil || mm < 1.5 {
			t.Errorf("letters of %s mm", m[1])
		}
	}
	if _, err := sheets.Labels(tr, "a3", false, printed); err == nil {
		t.Error("any paper will do")
	}
	tr.Dealt = false
	if _, err := sheets.Labels(tr, "a4-21", false, printed); err == nil {
		t.Error("labels without a layout")
	}
}

// clearOfTheRim looks whether a label's text keeps out of the 5 mm at the edges of
// paper on which printers for the desk can't print (common practice, no source).
func clearOfTheRim(t *testing.T, stock sheets.Stock, style string) {
	t.Helper()
	var x, y, top, right, bottom, left float64
	if _, err := fmt.Sscanf(style, "%fmm; top: %fmm; padding: %fmm %fmm %fmm %fmm", &x, &y, &top, &right, &bottom, &left); err != nil {
		t.Fatalf("%s: %q: %v", stock.Name, style, err)
	}
	const least = 5 - 1e-6
	if x+left < least || y+top < least || stock.PaperX-x-stock.Width+right < least || stock.PaperY-y-stock.Height+bottom < least ||
		min(top, right, bottom, left) < 1.5 || left+right > stock.Width/2 || top+bottom > stock.Height/2 {
		t.Errorf("%s: %s", stock.Name, style)
	}
}

// A plant that changed place is looked for where it stands; one that is gone, nowhere.
func TestPlacesAreThoseOfToday(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	write(t, dir, "moves.csv", "time,plant,bin,row,column\n2026-04-01 10:00,F003,small,2,3\n")
	write(t, dir, "harvest.csv", "plant,status,lost_on,cause,fronds\nF087,lost,2026-03-20,rot,\n") // stood at small 4, 5
	tr := open(t, dir)
	if p, _ := tr.Plant("F087"); p.Place != (light.Position{Bin: "small", Row: 4, Column: 5}) {
		t.Fatalf("F087 stood at %v", p.Place)
	}
	count, err := sheets.Count(tr, sheets.Scoring{})
	if err != nil {
		t.Fatal(err)
	}
	list, walk := page(t, count), page(t, sheets.Survey(tr, light.QuantityPPFD, printed))
	if !strings.Contains(list, "F003</td><td>small 2,\u00a03<") || strings.Contains(list, "F087") {
		t.Error("the list sends to another place")
	}
	if strings.Contains(walk, "F087") || strings.Count(walk, "F003") != 1 || !strings.Contains(walk, "F002") {
		t.Error("the walk shows plants that are gone")
	}
	labels, err := sheets.Labels(tr, "a4-65", false, printed)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(labels.Rows, func(row []string) bool { return strings.Join(row, " ") == "F003 small 2 3" }) {
		t.Error("the label is for another place")
	}
}

// A list that nobody has written on is read without complaint and holds no values.
func TestBlankListHoldsNothing(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	tr := open(t, dir)
	harvest, err := sheets.Harvest(tr, sheets.Scoring{})
	if err != nil {
		t.Fatal(err)
	}
	filled(t, harvest, dir, "harvest.csv", func(int, map[string]string) {})
	values := map[string]bool{}
	for _, p := range open(t, dir).Plants {
		for name := range p.Values {
			values[name] = true
		}
	}
	if len(values) > 0 {
		t.Errorf("values out of blanks: %v", slices.Collect(maps.Keys(values)))
	}
}

// A plant whose line in harvest.csv lacks a value is not on the list, since a second
// line would be a mistake; it is named instead. The lost lack nothing.
func TestUnfinishedLinesAreNamed(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	write(t, dir, "harvest.csv", "plant,status,mass_g,fronds\nF002,,,\nF003,lost,,\nF004,harvested,3,\n")
	s, err := sheets.Harvest(open(t, dir), sheets.Scoring{Seed: 5, Outcomes: []string{"mass_g"}, Printed: printed})
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range s.Rows {
		if row[0] == "F002" || row[0] == "F004" {
			t.Errorf("%s has a line already", row[0])
		}
	}
	if all := strings.Join(s.Remarks, "\n"); !strings.Contains(all, "left out (3)") || !strings.Contains(all, "missing from the line of F002: fill") {
		t.Errorf("remarks %s", all)
	}
}
