package report

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"parstead/correlate"
	"parstead/light"
	"parstead/light/account"
	"parstead/light/climate"
)

// trial makes a small trial: two bins of 4 × 6 with three media set per plant, two
// cultivars, a mass that grows with light, a count and a yes/no outcome. A plant
// is lost, one has no mass, and the corners are guards.
func trial(tb testing.TB) Report {
	tb.Helper()
	const rows, columns = 4, 6
	rng := rand.New(rand.NewPCG(7, 1))
	names := []string{"upper", "lower"}
	rack := light.Rack{
		Calendar: light.Calendar{Zone: time.UTC},
		Starts:   light.Date{Year: 2026, Month: 3, Day: 1}, Ends: light.Date{Year: 2026, Month: 3, Day: 10},
		Lamps: []light.Lamp{{
			Name: "bar", LuxPerPPFD: 67, Watts: 40,
			On: []light.TimeOfDay{light.TimeOfDay(7 * time.Hour)}, Off: []light.TimeOfDay{light.TimeOfDay(21 * time.Hour)},
		}},
	}
	in := &correlate.Input{
		Bin:        &correlate.Factor{Name: "bin", Levels: names},
		Treatments: []correlate.Treatment{{SetPer: correlate.PerPlant, Factor: correlate.Factor{Name: "medium", Levels: []string{"coir", "bark", "pumice"}}}, {SetPer: correlate.Given, Factor: correlate.Factor{Name: "cultivar", Levels: []string{"A", "B"}}}},
		Light:      &correlate.Light{Name: "light", Unit: "mol m⁻² d⁻¹", ByWindow: "over the whole trial"},
		Outcomes: []correlate.Outcome{
			{Name: "biomass_g", Kind: correlate.Measure, Unit: "g", Basis: "fresh", Scale: correlate.Log, Primary: true, Planned: true, Matters: &correlate.Difference{Value: 0.1, Share: true}},
			{Name: "height", Kind: correlate.Measure, Unit: "cm", Scale: correlate.Natural, Matters: &correlate.Difference{Value: 1}},
			{Name: "leaves", Kind: correlate.Count},
			{Name: "rooted", Kind: correlate.YesNo},
		},
	}
	var days []account.Day
	for b, name := range names {
		bin := light.Bin{Name: name, Rows: rows, Columns: columns, PitchRows: 6, PitchColumns: 6, Lamps: []string{"bar"}, TargetDLI: 4}
		rack.Bins = append(rack.Bins, bin)
		rack.Sensors = append(rack.Sensors, light.Sensor{Name: name + " centre", Measures: light.QuantityLux, Position: light.Position{Bin: name, Row: 2, Column: 3}, Every: time.Minute, RelativeError: 0.2})
		for _, at := range bin.Positions() {
			level := 3 + 1.5*float64(b) + 0.4*float64(at.Column)
			for d := range 10 {
				day := account.Day{Date: rack.Starts.Add(d), Position: at, Figure: account.Figure{Known: d != 4, DLI: light.DLI(level * (1 + 0.02*float64(d))), Covered: 1, Error: account.Error{Bin: 0.08}, Source: account.FromMap}}
				if at.Row == 2 && at.Column == 3 {
					day.Source = account.FromSensor
				}
				if d == 6 {
					day.Covered, day.Filled = 0.5, 0.5
				}
				days = append(days, day)
			}
			i := len(in.Plants)
			in.Plants = append(in.Plants, fmt.Sprintf("P%02d", i))
			in.Bin.Codes = append(in.Bin.Codes, b)
			in.Row, in.Column = append(in.Row, at.Row), append(in.Column, at.Column)
			medium := rng.IntN(3)
			in.Treatments[0].Codes = append(in.Treatments[0].Codes, medium)
			in.Treatments[1].Codes = append(in.Treatments[1].Codes, rng.IntN(2))
			in.Light.Values = append(in.Light.Values, level)
			in.Guard = append(in.Guard, (at.Row == 1 || at.Row == rows) && (at.Column == 1 || at.Column == columns))
			in.Status, in.Cause = append(in.Status, correlate.Harvested), append(in.Cause, "")
			in.LeaveOut = append(in.LeaveOut, "")
			mass := math.Exp(1 + 0.15*level - 0.2*float64(medium) + 0.2*rng.NormFloat64())
			in.Outcomes[0].Values = append(in.Outcomes[0].Values, mass)
			in.Outcomes[1].Values = append(in.Outcomes[1].Values, 10+2*rng.NormFloat64()+float64(medium))
			in.Outcomes[2].Values = append(in.Outcomes[2].Values, math.Floor(mass+3*rng.Float64()))
			in.Outcomes[3].Values = append(in.Outcomes[3].Values, float64(rng.IntN(2)))
		}
	}
	in.Status[8], in.Cause[8], in.Outcomes[0].Values[8] = correlate.Lost, "rot", math.NaN()
	in.Outcomes[0].Values[10] = math.NaN()
	return analysed(tb, Report{
		Trial: "small trial", Version: "parstead test", Written: time.Date(2026, 3, 12, 10, 0, 0, 0, time.UTC),
		Input: in, Rack: rack, Days: days,
		Air: []climate.Day{{Date: rack.Starts, Bin: "upper", LightMean: 24, DarkMean: 19, Min: 18, Max: 25, HumidityLight: math.NaN(), HumidityDark: math.NaN(), VPDLight: math.NaN(), VPDDark: math.NaN(), DegreeDays: math.NaN()}},
		Log: []light.Event{
			{ID: 1, At: rack.Day(rack.Starts.Add(4)).From, Kind: light.PowerCut, Text: "storm"},
			{ID: 2, At: rack.Day(rack.Starts.Add(5)).From, Kind: light.Other, Text: "never happened"},
			{ID: 3, At: rack.Day(rack.Starts.Add(5)).From, Kind: light.Withdrawn, Withdraws: 2},
		},
	})
}

func analysed(tb testing.TB, r Report) Report {
	tb.Helper()
	result, err := correlate.Analyse(tb.Context(), r.Input, correlate.Options{Seed: 1, Workers: 1})
	if err != nil {
		tb.Fatal(err)
	}
	r.Result = result
	return r
}

// A stretch that was written down later stands in the season where it began, with
// the sensor that it is of.
func TestSeasonEventsStandWhereTheyBegan(t *testing.T) {
	t.Parallel()
	r := trial(t)
	from := r.Rack.Day(r.Rack.Starts.Add(1)).From
	r.Log = append(r.Log, light.Event{
		ID: 4, At: r.Rack.Day(r.Rack.Starts.Add(6)).From, Kind: light.Ignore, Sensor: "quantum", During: light.Span{From: from, Until: from.Add(time.Hour)},
	})
	events := r.seasonEvents()
	if len(events) != 2 || events[0].words() != "ignore, quantum" || events[0].number != 1 || events[0].date != r.Rack.Starts.Add(1) || events[1].number != 2 {
		t.Errorf("%+v", events)
	}
	rows := r.logTable().Rows
	if note, want := rows[len(rows)-1][5], fmt.Sprintf("from %s until %s", r.when(from), r.when(from.Add(time.Hour))); note != want {
		t.Errorf("the log says %q, want %q", note, want)
	}
}

// How much of a bin's light was filled in stands beside its mean.
func TestBinTableTellsWhatWasFilledIn(t *testing.T) {
	t.Parallel()
	r := trial(t)
	for i := range r.Days {
		r.Days[i].Filled = 0.25
	}
	table := r.binTable()
	column := slices.Index(table.Head, "filled in")
	if column < 0 || table.Rows[0][column] != "25 %" {
		t.Errorf("%v %v", table.Head, table.Rows)
	}
}

// wellFormed reads a document of XML whole and gives its text.
func wellFormed(tb testing.TB, name string, content []byte) string {
	tb.Helper()
	d := xml.NewDecoder(bytes.NewReader(content))
	var text strings.Builder
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return text.String()
		}
		if err != nil {
			tb.Fatalf("%s is not well-formed: %v", name, err)
		}
		if c, ok := token.(xml.CharData); ok {
			text.Write(c)
		}
	}
}

func TestWrite(t *testing.T) {
	t.Parallel()
	r := trial(t)
	r.Input.Outcomes = slices.Delete(r.Input.Outcomes, 1, 3) // a mass and a yes/no outcome are enough files
	r = analysed(t, r)
	dir := filepath.Join(t.TempDir(), "report")
	if err := Write(dir, r); err != nil {
		t.Fatal(err)
	}
	page, err := os.ReadFile(filepath.Join(dir, "index.html"))
	if err != nil {
		t.Fatal(err)
	}
	text := wellFormed(t, "index.html", page)
	for _, o := range r.Result.Outcomes {
		for _, f := range o.Findings {
			if !strings.Contains(text, f.Says) {
				t.Errorf("the page lacks the finding %q", f.Says)
			}
		}
	}
	for _, want := range []string{
		"small trial", "power cut", "Written 2026-03-12T10:00:00Z by parstead test", "primary outcome, planned", "exploratory",
		"of the survivors", "Safety", "replaces no float switch", "67", "07:00 to 21:00", "Not known to the program", "upper centre at upper, row 2, column 3",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, not := range []string{"<script src", "http://", "https://", "never happened"} {
		rest := strings.NewReplacer("http://www.w3.org/2000/svg", "", "http://www.w3.org/1999/xhtml", "").Replace(string(page))
		if strings.Contains(rest, not) {
			t.Errorf("the page holds %q", not)
		}
	}
	for _, q := range r.pictures() {
		for _, ending := range []string{".svg", ".png", ".csv"} {
			content, err := os.ReadFile(filepath.Join(dir, q.file+ending))
			if err != nil {
				t.Fatal(err)
			}
			switch ending {
			case ".svg":
				wellFormed(t, q.file+ending, content)
			case ".png":
				c, err := png.DecodeConfig(bytes.NewReader(content))
				if err != nil || c.Width != 1920 || c.Height != 1080 {
					t.Errorf("%s: %d × %d, %v", q.file, c.Width, c.Height, err)
				}
			case ".csv":
				rows, err := csv.NewReader(bytes.NewReader(content)).ReadAll() // all rows of one length
				if err != nil || len(rows) < 2 {
					t.Errorf("%s.csv: %d rows, %v", q.file, len(rows), err)
				}
			}
			if !strings.Contains(string(page), fmt.Sprintf(`href="%s%s"`, q.file, ending)) {
				t.Errorf("the page does not name %s%s", q.file, ending)
			}
		}
	}
}

// What was found stands before everything else, that of the primary outcome first.
func TestOrder(t *testing.T) {
	t.Parallel()
	r := trial(t)
	r.Input.Outcomes[0].Primary, r.Input.Outcomes[2].Primary = false, true
	r = analysed(t, r)
	var page strings.Builder
	if err := r.page(&page, r.pictures()); err != nil {
		t.Fatal(err)
	}
	var again strings.Builder
	if err := r.page(&again, r.pictures()); err != nil || again.String() != page.String() {
		t.Errorf("the page differs the second time (%v)", err)
	}
	last := -1
	for _, want := range []string{"<h1>Do", `class="answer"`, "how far behind the best</title>", "<h2>leaves: ", "<h2>biomass_g: ", "<h2>height: ", "<h2>rooted: ", "<h2>Plants lost", ">Safety</h2>", ">All the rest</h2>", "<caption>biomass_g: means", "<summary>Plants lost", "<dt>Randomisation"} {
		at := strings.Index(page.String(), want)
		if at <= last {
			t.Errorf("%q stands at %d, not after %d", want, at, last)
		}
		last = at
	}
}

// inPictures finds what does not belong into pictures: p values and stars.
var inPictures = regexp.MustCompile(`\bp\s*[<=0]|\bp \d|p-value|\*`)

func TestPictures(t *testing.T) {
	t.Parallel()
	r := trial(t)
	kinds := map[string]bool{}
	for _, q := range r.pictures() {
		drawn := q.svg(false)
		text := wellFormed(t, q.file, drawn)
		if found := inPictures.FindString(text); found != "" {
			t.Errorf("%s says %q", q.file, found)
		}
		if len(q.alt) < 40 || len(q.caption) < 40 || q.title == "" || !strings.Contains(string(drawn), "<desc") {
			t.Errorf("%s lacks its alternative text or caption: %q", q.file, q.alt)
		}
		if n, fixed := bytes.Count(drawn, []byte("<text")), bytes.Count(drawn, []byte("textLength=")); n != fixed || n == 0 {
			t.Errorf("%s: %d texts, %d of a fixed width", q.file, n, fixed)
		}
		if !bytes.Equal(drawn, q.svg(false)) {
			t.Errorf("%s is drawn differently the second time", q.file)
		}
		for kind := range strings.SplitSeq("light-map season groups pairs light plant-map outcomes", " ") {
			if strings.HasSuffix(q.file, kind) {
				kinds[kind] = true
			}
		}
	}
	if len(kinds) != 7 {
		t.Errorf("kinds of pictures: %v", kinds)
	}
}
