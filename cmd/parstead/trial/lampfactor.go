package trial

import (
	"fmt"
	"slices"
	"strings"

	"parstead/light"
	"parstead/light/spectrum"
)

// fromIlluminant begins the words for a factor that an illuminant's table gives.
const fromIlluminant = "CIE illuminant "

// lampFactor is the lamp's illuminance per PPFD from whichever of the three
// ways to give it is used, with words for the way; 0 and "" for none.
func (l *loader) lampFactor(t *table) (factor light.LuxPerPPFD, from string) {
	given, _ := t.positive("lux_per_ppfd", "67.0")
	file, hasFile := t.text("spectrum", "bar.csv")
	illuminant, hasIlluminant := t.text("illuminant", "FL2")
	ways := 0
	for _, key := range []string{"lux_per_ppfd", "spectrum", "illuminant"} {
		if t.has(key) {
			if ways++; ways > 1 {
				t.fault(key, "the lamp's lux per PPFD is given in two ways", "keep one of lux_per_ppfd, spectrum and illuminant")
			}
		}
	}
	factor = light.LuxPerPPFD(given)
	switch {
	case t.has("lux_per_ppfd"):
		from = "given"
		checkFactor(t, given)
	case hasFile:
		from = "spectrum " + file
		l.Spectra = append(l.Spectra, file)
		var err error
		if factor, err = readSpectrum(l.Path(file)); err != nil {
			t.fault("spectrum", fmt.Sprintf("the spectrum %s can't be used: %s", file, cause(err)), "give a CSV file of nm and relative power from 380 to 780 nm")
		}
	case hasIlluminant:
		from = fromIlluminant + illuminant
		var err error
		if factor, err = spectrum.Illuminant(illuminant); err != nil {
			mend := "use one of: " + strings.Join(spectrum.Illuminants(), ", ")
			mend = meant(illuminant, ofItsKind(illuminant), "write %q; "+mend, mend)
			t.fault("illuminant", fmt.Sprintf("no CIE illuminant is called %q", illuminant), mend)
		}
	}
	return factor, from
}

// Lux per µmol m⁻² s⁻¹ of lamps that are white to the eye (common practice, no source).
const whiteLamps = "white lamps have 55 to 85; it is lux over PPFD at one place, by the maker or by two meters"

// checkFactor complains of a factor that no light can have: turned round, or with its
// decimal point lost.
func checkFactor(t *table, given float64) {
	_, most := spectrum.Bounds()
	switch {
	case given == 0 || possible(given): // 0 was told already
	case given > float64(most):
		mend := whiteLamps
		if white(given / 10) {
			mend = fmt.Sprintf("is a decimal point missing (%.4g)? %s", given/10, mend)
		}
		t.fault("lux_per_ppfd", fmt.Sprintf("no light has %v lux per µmol m⁻² s⁻¹: green, which the eye sees best, has %.0f", given, most), mend)
	default:
		mend := whiteLamps
		if white(1 / given) {
			mend = fmt.Sprintf("if it is PPFD over lux, write lux_per_ppfd = %.3g: %s", 1/given, mend)
		}
		t.fault("lux_per_ppfd", fmt.Sprintf("no lamp for plants has %v lux per µmol m⁻² s⁻¹", given), mend)
	}
}

// possible tells whether light may have a factor, if only that of one colour.
func possible(factor float64) bool {
	least, most := spectrum.Bounds()
	return factor <= float64(most) && factor >= float64(least) && !(factor < 1 && white(1/factor))
}

func white(factor float64) bool { return factor > 0 && !light.LuxPerPPFD(factor).Narrow() }

// ofItsKind are the illuminants whose letters a name begins with, or that begin with
// its letters: a mistyped fluorescent tube is no diode.
func ofItsKind(name string) []string {
	letters := func(s string) string { return strings.ToUpper(strings.TrimRight(strings.TrimSpace(s), "0123456789")) }
	typed := letters(name)
	return slices.DeleteFunc(spectrum.Illuminants(), func(known string) bool {
		of := letters(known)
		return !strings.HasPrefix(of, typed) && !strings.HasPrefix(typed, of)
	})
}

func readSpectrum(path string) (light.LuxPerPPFD, error) {
	f, err := openFile(path)
	if err != nil {
		return 0, err
	}
	defer func() { _ = f.Close() }() // only read
	return spectrum.ReadFactor(f)
}
