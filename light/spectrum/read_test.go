package spectrum_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"parstead/light/spectrum"
)

// written is a flat spectrum over the band with the given row pattern.
func written(pattern string) string {
	var b strings.Builder
	for nm := 380; nm <= 780; nm += 10 {
		fmt.Fprintf(&b, pattern+"\n", nm)
	}
	return b.String()
}

func TestReadFactorFormats(t *testing.T) {
	t.Parallel()
	want, err := spectrum.ReadFactor(strings.NewReader(written("%d,1.5")))
	if err != nil {
		t.Fatal(err)
	}
	for what, text := range map[string]string{
		"semicolon and decimal comma": written("%d;1,5"),
		"tab and decimal comma":       written("%d\t1,5"),
		"row of names":                "nm,relative power\n" + written("%d,1.5"),
		"mark of a text editor":       "\ufeffnm,power\r\n" + strings.ReplaceAll(written("%d, 1.5"), "\n", "\r\n"),
		"blank rows":                  "\n" + written("%d,1.5\n"),
	} {
		got, err := spectrum.ReadFactor(strings.NewReader(text))
		if err != nil || got != want {
			t.Errorf("%s: %v, %v; want %v", what, got, err, want)
		}
	}
	// A flat spectrum by hand: ∫V dλ = 106.857 nm (CIE 1924, 380 to 780 nm), and
	// 165,000 nm² of photons between 400 and 700.
	byHand := 683 * 106.857 / (165000 * 0.008359347229111778)
	if math.Abs(float64(want)/byHand-1) > 1e-4 {
		t.Errorf("a flat spectrum has %v, by hand %v", want, byHand)
	}
}

func TestReadFactorRefuses(t *testing.T) {
	t.Parallel()
	row := func(old, replaced string) string { return strings.Replace(written("%d,1"), old, replaced, 1) }
	for what, c := range map[string]struct{ text, says string }{
		"nothing":              {"", "nm, relative power"},
		"one row":              {"400,1", "nm, relative power"},
		"names only":           {"nm,power\n", "nm, relative power"},
		"two rows of names":    {"lamp\nnm,power\n" + written("%d,1"), "line 2"},
		"unsorted":             {row("500,1\n510,1", "510,1\n500,1"), "sort"},
		"twice":                {row("500,1", "490,1"), "twice"},
		"negative":             {row("500,1", "500,-0.2"), "negative power -0.2 at 500 nm"},
		"no number":            {row("500,1", "500,one"), `line 13: "one" is not a number`},
		"not a number":         {row("500,1", "500,NaN"), "no usable number"},
		"too large":            {row("500,1", "500,1e101"), "no usable number"},
		"out of range":         {row("500,1", "500,1e999"), "out of range"},
		"starts late":          {written("%d,1")[len("380,1\n390,1\n400,1\n"):], "cover 400 to 700"},
		"in micrometres":       {"0.38,1\n0.40,1\n0.70,1\n0.78,1", "not in µm"},
		"a hole":               {row("500,1\n510,1\n520,1\n", ""), "between 490 and 530"},
		"dark":                 {written("%d,0"), "no power"},
		"three columns":        {written("%d,1,2"), "columns"},
		"blanks for separator": {written("%d 1"), "columns"},
		"decimal comma":        {written("%d,1,5"), "semicolon"},
	} {
		_, err := spectrum.ReadFactor(strings.NewReader(c.text))
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: error %v should say %q", what, err, c.says)
		} else if strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: the error has more than one line: %v", what, err)
		}
	}
}

// Whatever the file, the factor is a positive number of the size that physics
// allows (at most 683 lm W⁻¹ over the photons of 400 nm light), or an error.
func FuzzReadFactor(f *testing.F) {
	f.Add(written("%d,1"))
	f.Add(written("%d;0,5"))
	f.Add("nm,power\n400,1\n420,0")
	f.Add("400,1e308\n420,1e308")
	f.Add("\ufeff400\t1")
	f.Fuzz(func(t *testing.T, text string) {
		factor, err := spectrum.ReadFactor(strings.NewReader(text))
		if err == nil && !(factor >= 0 && factor < 683/3.34) {
			t.Errorf("factor %v", factor)
		}
	})
}
