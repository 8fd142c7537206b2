package report

import (
	"image"
	"image/color"
	"math"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"

	"parstead/correlate"

	"parstead/correlate/phrase"
)

// ledger is a canvas that keeps what is drawn on it.
type ledger struct {
	colour color.Color
	fills  []drawn
	lines  []drawn
	texts  []words
	height float64
}

type drawn struct {
	color.Color
	vg.Path
}

type words struct {
	text           string
	x, y, size, to float64
	turned         bool
}

func (l *ledger) SetLineWidth(vg.Length)             {}
func (l *ledger) SetLineDash([]vg.Length, vg.Length) {}
func (l *ledger) SetColor(c color.Color)             { l.colour = c }
func (l *ledger) Rotate(float64)                     { l.height = -1 }
func (l *ledger) Translate(vg.Point)                 {}
func (l *ledger) Scale(float64, float64)             {}
func (l *ledger) Push()                              {}
func (l *ledger) Pop()                               { l.height = 0 }
func (l *ledger) Stroke(p vg.Path)                   { l.lines = append(l.lines, drawn{l.colour, p}) }

func (l *ledger) Fill(p vg.Path)                      { l.fills = append(l.fills, drawn{l.colour, p}) }
func (l *ledger) DrawImage(vg.Rectangle, image.Image) {}
func (l *ledger) FillString(f font.Face, p vg.Point, s string) {
	x, size := float64(p.X), float64(f.Font.Size)
	l.texts = append(l.texts, words{s, x, height - float64(p.Y), size, x + float64(f.Width(s)), l.height < 0})
}

// discs counts filled circles of a colour.
func (l *ledger) discs(c color.Color) int {
	n := 0
	for _, f := range l.fills {
		if f.Color == c && len(f.Path) == 3 && f.Path[1].Type == vg.ArcComp {
			n++
		}
	}
	return n
}

func (l *ledger) says(text string) bool {
	for _, w := range l.texts {
		if w.text == text {
			return true
		}
	}
	return false
}

// overlapping are two texts of one picture that lie on one another.
func (l *ledger) overlapping() (a, b words, ok bool) {
	for i, a := range l.texts {
		for _, b := range l.texts[:i] {
			if !a.turned && !b.turned && a.text != "" && b.text != "" && a.x < b.to-0.5 && b.x < a.to-0.5 &&
				a.y-0.7*a.size < b.y && b.y-0.7*b.size < a.y {
				return a, b, true
			}
		}
	}
	return a, b, false
}

func recorded(q picture) *ledger {
	l := &ledger{}
	q.draw(pen{l})
	return l
}

// inside tells whether everything lies on the picture.
func (l *ledger) inside() (string, bool) {
	for _, w := range l.texts {
		if !w.turned && (w.x < 0 || w.to > width || w.y < 0 || w.y > height) {
			return w.text, false
		}
	}
	for _, list := range [][]drawn{l.fills, l.lines} {
		for _, f := range list {
			for _, c := range f.Path {
				if x, y := float64(c.Pos.X), float64(c.Pos.Y); math.IsNaN(x) || math.IsNaN(y) || x < 0 || x > width || y < 0 || y > height {
					return "a mark at " + strconv.FormatFloat(x, 'g', 4, 64) + ", " + strconv.FormatFloat(y, 'g', 4, 64), false
				}
			}
		}
	}
	return "", true
}

func tidy(t *testing.T, pictures []picture) {
	t.Helper()
	for _, q := range pictures {
		l := recorded(q)
		if what, ok := l.inside(); !ok {
			t.Errorf("%s: %s lies off the picture", q.file, what)
		}
		if a, b, ok := l.overlapping(); ok {
			t.Errorf("%s: %q lies on %q", q.file, a.text, b.text)
		}
	}
}

func TestNothingOverlaps(t *testing.T) {
	t.Parallel()
	r := trial(t)
	tidy(t, r.pictures())
}

// column gives a column of a picture's table by its heading.
func column(t *testing.T, q picture, name string) []string {
	t.Helper()
	for j, head := range q.table[0] {
		if head == name {
			var list []string
			for _, row := range q.table[1:] {
				list = append(list, row[j])
			}
			return list
		}
	}
	t.Fatalf("%s has no column %q", q.file, name)
	return nil
}

func find(t *testing.T, pictures []picture, file string) picture {
	t.Helper()
	for _, q := range pictures {
		if q.file == file {
			return q
		}
	}
	t.Fatalf("no picture %s", file)
	return picture{}
}

// Every plant has a mark, and the table holds what is drawn.
func TestEveryPlantHasAMark(t *testing.T) {
	t.Parallel()
	r := trial(t)
	pictures := r.pictures()
	for i := range r.Result.Outcomes {
		o := r.outcome(i)
		if len(o.Points) < 30 {
			t.Fatalf("%s rests on %d plants", o.Name, len(o.Points))
		}
		groups := find(t, pictures, strings.ReplaceAll(o.Name, " ", "-")+"-groups")
		want := 0
		for _, g := range o.Groups {
			want += g.N
		}
		if got := recorded(groups).discs(dots); got != want {
			t.Errorf("%s: %d dots for %d plants in groups", groups.file, got, want)
		}
		got := 0
		for _, what := range column(t, groups, "what") {
			if what == "plant" {
				got++
			}
		}
		if got != want {
			t.Errorf("%s: %d plants in the table, not %d", groups.file, got, want)
		}
		plants := find(t, pictures, o.Name+"-plant-map")
		l := recorded(plants)
		analysed := 0
		for k, state := range column(t, plants, "state") {
			value := column(t, plants, o.Name)[k]
			if (state == "analysed") != (value != "") {
				t.Errorf("%s: %q with the value %q", plants.file, state, value)
			}
			if state != "analysed" {
				continue
			}
			analysed++
			v, err := strconv.ParseFloat(value, 64)
			if err != nil {
				t.Fatal(err)
			}
			if o.Kind != correlate.YesNo && !l.says(cellNumber(v)) {
				t.Errorf("%s does not show %s", plants.file, cellNumber(v))
			}
		}
		if analysed != len(o.Points) {
			t.Errorf("%s: %d analysed of %d", plants.file, analysed, len(o.Points))
		}
		points := 0
		for _, what := range column(t, find(t, pictures, o.Name+"-light"), "what") {
			if what == "plant" {
				points++
			}
		}
		if points != len(o.Points) {
			t.Errorf("%s: %d plants against light, not %d", o.Name, points, len(o.Points))
		}
	}
	lost := find(t, pictures, "biomass_g-plant-map")
	states := strings.Join(column(t, lost, "state"), ";")
	for _, want := range []string{"lost: rot", "no value", "guard"} {
		if !strings.Contains(states, want) {
			t.Errorf("the map's table lacks %q", want)
		}
	}
	for _, q := range r.outcomes(fileNames{}) {
		for _, c := range r.Result.OutcomeCorrelations {
			n := 0
			for k, a := range column(t, q, "a") {
				if a == c.A && column(t, q, "b")[k] == c.B && column(t, q, "plant")[k] != "" {
					n++
				}
			}
			if n != c.N {
				t.Errorf("%s and %s: %d plants drawn, correlated over %d", c.A, c.B, n, c.N)
			}
		}
	}
}

// The means of the light map are those of its days, by plain arithmetic.
func TestLightMap(t *testing.T) {
	t.Parallel()
	r := trial(t)
	q := find(t, r.pictures(), "light-map")
	l := recorded(q)
	means, sources, days := column(t, q, "mean_dli_mol_per_m2_and_day"), column(t, q, "source"), column(t, q, "days")
	if len(means) != 48 {
		t.Fatalf("%d positions", len(means))
	}
	sensors := 0
	for k, text := range means {
		got, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		level := 3 + 1.5*math.Floor(float64(k)/24) + 0.4*float64(k%6+1)
		if want := level * (1 + 0.02*(45-4)/9); math.Abs(got-want) > 1e-9 { // ten days but the fifth
			t.Errorf("position %d: %v, not %v", k, got, want)
		}
		if days[k] != "9" || !l.says(cellNumber(got)) {
			t.Errorf("position %d: %s days; shown: %v", k, days[k], l.says(cellNumber(got)))
		}
		if sources[k] == "sensor" {
			sensors++
		}
	}
	if sensors != 2 {
		t.Errorf("%d positions are measured, not 2", sensors)
	}
}

// Pairs stand under their verdicts, largest first, and say their intervals.
func TestPairs(t *testing.T) {
	t.Parallel()
	r := trial(t)
	q := find(t, r.pictures(), "biomass_g-pairs")
	o := r.Result.Outcomes[0]
	ratios, verdicts := column(t, q, "ratio"), column(t, q, "verdict")
	if len(ratios) != len(o.Comparisons) {
		t.Fatalf("%d pairs of %d", len(ratios), len(o.Comparisons))
	}
	for k := 1; k < len(ratios); k++ {
		a, _ := strconv.ParseFloat(ratios[k-1], 64)
		b, _ := strconv.ParseFloat(ratios[k], 64)
		if verdicts[k-1] == verdicts[k] && a < b {
			t.Errorf("pair %d is larger than the one before", k)
		}
	}
	l := recorded(q)
	for _, c := range o.Comparisons {
		if want := number(*c.Ratio) + " (" + phrase.Between(c.CI95.Closed()) + ")"; !l.says(want) {
			t.Errorf("the picture does not say %q", want)
		}
	}
}
