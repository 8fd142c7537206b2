package field_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/field"
)

// sound is a clean walk over a bin of 5 × 6, with 4 % of noise.
func sound() (light.Bin, []field.Reading) {
	bin := light.Bin{Name: "upper", Rows: 5, Columns: 6, PitchRows: 6, PitchColumns: 6}
	random := rand.New(rand.NewPCG(4, 2026))
	var walk []field.Reading
	for i, p := range bin.Positions() {
		x, y := float64(p.Column)-3, float64(p.Row)-2.5
		walk = append(walk, field.Reading{
			At: at(9 + float64(i)/200), Position: p, Row: light.Line{File: "survey.csv", Line: i + 2},
			PPFD: 200 / (1 + (x*x+2*y*y)/40) * math.Exp(0.04*random.NormFloat64()), Reference: 180,
		})
	}
	return bin, walk
}

func TestSlipsInAWalk(t *testing.T) {
	t.Parallel()
	bin, clean := sound()
	again := func(w []field.Reading, i int, value float64) []field.Reading {
		r := w[i]
		r.PPFD, r.At, r.Row.Line = value, r.At.Add(time.Hour), 99
		return append(w, r)
	}
	swap := func(w []field.Reading, row int) {
		for c := range 6 {
			a, b := &w[row*6+c], &w[row*6+6+c]
			a.PPFD, b.PPFD = b.PPFD, a.PPFD
		}
	}
	for name, c := range map[string]struct {
		slip  func([]field.Reading) []field.Reading
		says  []string // one of each doubt
		aside []int    // lines
	}{
		"none":                 {func(w []field.Reading) []field.Reading { return w }, nil, nil},
		"ten times too large":  {func(w []field.Reading) []field.Reading { w[8].PPFD *= 10; return w }, []string{"survey.csv:10: "}, []int{10}},
		"ten times too small":  {func(w []field.Reading) []field.Reading { w[8].PPFD /= 10; return w }, []string{"a digit were missing"}, []int{10}},
		"half":                 {func(w []field.Reading) []field.Reading { w[8].PPFD /= 2; return w }, []string{"1/1.99"}, nil},
		"two of them":          {func(w []field.Reading) []field.Reading { w[8].PPFD *= 10; w[20].PPFD *= 10; return w }, []string{"survey.csv:10: ", "survey.csv:22: "}, []int{10, 22}},
		"a shadow, read again": {func(w []field.Reading) []field.Reading { w[8].PPFD /= 3; return again(w, 8, w[8].PPFD*1.05) }, nil, nil},
		"a slip, read again":   {func(w []field.Reading) []field.Reading { v := w[8].PPFD; w[8].PPFD *= 10; return again(w, 8, v*1.05) }, []string{"survey.csv:10: "}, []int{10}},
		"lux for part of the walk": {func(w []field.Reading) []field.Reading {
			for i := 4; i < 12; i++ {
				w[i].PPFD *= 67
			}
			return w
		}, []string{"as if lux", "", "", "", "", "", "", ""}, []int{6, 7, 8, 9, 10, 11, 12, 13}},
		"lux for all of it": {func(w []field.Reading) []field.Reading {
			for i := range w {
				w[i].PPFD *= 67
			}
			return w
		}, []string{"lux were written under ppfd"}, nil},
		"a lamp of two off": {func(w []field.Reading) []field.Reading {
			for i := 10; i < 20; i++ {
				w[i].PPFD *= 0.6
				w[i].Reference *= 0.6
			}
			return w
		}, []string{"a lamp was switched"}, nil},
		"the first two rows swapped": {func(w []field.Reading) []field.Reading { swap(w, 0); return w }, []string{"rows 1 and 2"}, nil},
	} {
		survey := c.slip(slices.Clone(clean))
		got, remarks := field.Maps(bin, survey, []light.Span{{}}, one(field.Anchor{Position: bin.Positions()[14], Weight: 400}))
		if len(got) != 1 {
			t.Fatalf("%s: %d maps, %q", name, len(got), remarks)
		}
		if len(remarks) != len(c.says) {
			t.Errorf("%s: told %q", name, remarks)
		}
		for i := range min(len(remarks), len(c.says)) {
			if !strings.Contains(remarks[i], c.says[i]) {
				t.Errorf("%s: told %q, want %q", name, remarks[i], c.says[i])
			}
		}
		var aside []int
		for _, r := range got[0].Residuals {
			if r.Aside {
				aside = append(aside, r.Row.Line)
			}
		}
		if !slices.Equal(aside, c.aside) {
			t.Errorf("%s: lines %v set aside, want %v", name, aside, c.aside)
		}
		if len(got[0].Residuals) != len(survey) || got[0].Readings != len(survey)-len(aside) {
			t.Errorf("%s: %d residuals, %d readings", name, len(got[0].Residuals), got[0].Readings)
		}
	}
}

// With the slip set aside, the map is what it would be without that row.
func TestASlipSetAsideLeavesNoTrace(t *testing.T) {
	t.Parallel()
	bin, walk := sound()
	anchor := one(field.Anchor{Position: bin.Positions()[14], Weight: 400})
	want, _ := field.Maps(bin, append(slices.Clone(walk[:8]), walk[9:]...), []light.Span{{}}, anchor)
	walk[8].PPFD *= 10
	got, _ := field.Maps(bin, walk, []light.Span{{}}, anchor)
	for i := range want[0].Ratio {
		near(t, "ratio", got[0].Ratio[i], want[0].Ratio[i])
		near(t, "its error", got[0].RelativeError[i], want[0].RelativeError[i])
	}
	if off := got[0].Residuals[8].Off; math.Abs(off-math.Log(10)) > 0.2 {
		t.Errorf("the residual is %v, want ln 10", off)
	}
}

// A second walk whose pattern has changed ends the first one's map; one that has
// not joins it, and shows a sensor that has drifted beside the meter.
func TestTwoWalks(t *testing.T) {
	t.Parallel()
	bin, first := sound()
	anchor := one(field.Anchor{Position: bin.Positions()[14], Weight: 400})
	random := rand.New(rand.NewPCG(5, 2026))
	second := func(change func(p light.Position) float64, reference float64) []field.Reading {
		walk := slices.Clone(first)
		for _, r := range first {
			r.At, r.Row.Line = r.At.AddDate(0, 0, 28), r.Row.Line+30
			r.PPFD *= change(r.Position) * math.Exp(0.04*random.NormFloat64())
			r.Reference *= reference
			walk = append(walk, r)
		}
		return walk
	}
	same := func(light.Position) float64 { return 1 }
	for name, c := range map[string]struct {
		survey []field.Reading
		maps   int
		says   string
	}{
		"as before":           {second(same, 1), 1, ""},
		"the lamp dimmed":     {second(func(light.Position) float64 { return 0.8 }, 0.8), 1, ""},
		"the lamp moved":      {second(func(p light.Position) float64 { return math.Exp(0.1 * float64(p.Column-3)) }, 1), 2, "the first map ends here"},
		"the sensor has aged": {second(same, 0.88), 1, "read -12 % since the walk of 2026-03-02, -3."},
	} {
		got, remarks := field.Maps(bin, c.survey, []light.Span{{}}, anchor)
		told := strings.Join(remarks, " ")
		if len(got) != c.maps || c.says == "" && told != "" || !strings.Contains(told, c.says) {
			t.Errorf("%s: %d maps, %q", name, len(got), remarks)
			continue
		}
		if c.maps == 2 && (!got[0].During.Until.Equal(got[1].During.From) || !got[1].Walked.Equal(first[0].At.AddDate(0, 0, 28)) || got[0].Readings != 30) {
			t.Errorf("%s: %v and %v", name, got[0].During, got[1].During)
		}
	}
}
