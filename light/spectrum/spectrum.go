// Package spectrum turns a lamp's spectrum into the illuminance that it has per
// unit of photon flux, so that a lux reading becomes PPFD.
//
// Its tables are V(λ), the spectral luminous efficiency for photopic vision of
// CIE 1924, and the relative spectra of illuminants of CIE 15:2004 (A, D65, FL,
// HP) and CIE 015:2018 (LED).
package spectrum

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"

	"parstead/light"
)

// The constants are exact in the SI of 2019, but for K_m, 683 lm W⁻¹ in
// standard air (CIE 018).
const (
	planck       = 6.62607015e-34 // J s
	lightSpeed   = 299792458.0    // m s⁻¹
	avogadro     = 6.02214076e23  // mol⁻¹
	maxEfficacy  = 683.0          // lm W⁻¹
	metresPerNM  = 1e-9
	micromolesOf = 1e6 // µmol per mol

	photonsPerNM = metresPerNM * micromolesOf / (planck * lightSpeed * avogadro) // µmol per joule, over the wavelength
)

// The band of photosynthetically active radiation, nm.
const parFrom, parUntil = 400.0, 700.0

// widestStep is the widest distance, in nm, between two points of a spectrum
// that is bridged: the bands of the CIE's own tables are 5 nm, and a line of a
// discharge lamp would vanish between points much further apart.
const widestStep = 20.0

// mostPower keeps sums and their quotient clear of the limits of a float64.
const mostPower = 1e100

// Spectrum is a spectral power distribution: power per nm, in any unit, at
// ascending wavelengths, linear between them and nothing outside.
type Spectrum struct {
	NM    []float64
	Power []float64
}

// Validate says what keeps the spectrum from being used: wavelengths that do
// not ascend, power that is negative or no number, less than 400 to 700 nm, a
// step wider than 20 nm, or no power in the band at all.
func (s Spectrum) Validate() error {
	if len(s.NM) != len(s.Power) {
		return fmt.Errorf("%d wavelengths but %d powers", len(s.NM), len(s.Power))
	}
	if len(s.NM) < 2 {
		return errors.New("a spectrum needs a row per wavelength: nm, relative power")
	}
	for i, nm := range s.NM {
		if !(nm > 0) || math.IsInf(nm, 0) {
			return fmt.Errorf("wavelength %v is no wavelength in nm", nm)
		}
		if p := s.Power[i]; math.IsNaN(p) || math.Abs(p) > mostPower {
			return fmt.Errorf("power %v at %v nm is no usable number", p, nm)
		} else if p < 0 {
			return fmt.Errorf("negative power %v at %v nm: write 0 where the meter shows only its own noise", p, nm)
		}
		if i == 0 {
			continue
		}
		switch before := s.NM[i-1]; {
		case nm == before:
			return fmt.Errorf("%v nm stands twice: keep one row per wavelength", nm)
		case nm < before:
			return fmt.Errorf("%v nm comes after %v nm: sort the rows by wavelength", nm, before)
		case nm-before > widestStep && nm > parFrom && before < parUntil:
			return fmt.Errorf("nothing between %v and %v nm: a step may be %v nm wide", before, nm, widestStep)
		}
	}
	if first, last := s.NM[0], s.NM[len(s.NM)-1]; first > parFrom || last < parUntil {
		if last < 10 {
			return fmt.Errorf("wavelengths run from %v to %v: write them in nm, not in µm", first, last)
		}
		return fmt.Errorf("wavelengths run from %v to %v nm: the spectrum must cover 400 to 700 nm", first, last)
	}
	if s.photons() < 1/mostPower {
		return errors.New("no power between 400 and 700 nm")
	}
	return nil
}

// Factor is the illuminance of the spectrum per unit of PPFD,
//
//	683 ∫V(λ)S(λ)dλ / (10⁶ ∫ S(λ) λ/(h c N_A) dλ),
//
// the first integral over the visible range, the second over 400 to 700 nm, S in
// power per nm. Both integrals use the trapezoid rule on the wavelengths of the
// spectrum and of V(λ) (1 nm) together, with linear interpolation between.
// Errors are those of Validate.
func (s Spectrum) Factor() (light.LuxPerPPFD, error) {
	if err := s.Validate(); err != nil {
		return 0, err
	}
	v := efficiency()
	lumens := maxEfficacy * s.integral(v.NM[0], v.NM[len(v.NM)-1], v.at)
	return light.LuxPerPPFD(lumens / s.photons()), nil
}

// photons is the PPFD of the spectrum in µmol per unit of power.
func (s Spectrum) photons() float64 {
	return s.integral(parFrom, parUntil, func(nm float64) float64 { return nm * photonsPerNM })
}

// Bounds are the least and the greatest factor that light between 400 and 700 nm can
// have: those of its single wavelengths.
func Bounds() (least, most light.LuxPerPPFD) {
	v := efficiency()
	least = math.MaxFloat64
	for i, nm := range v.NM {
		if nm < parFrom || nm > parUntil {
			continue
		}
		of := light.LuxPerPPFD(maxEfficacy * v.Power[i] / (nm * photonsPerNM))
		least, most = min(least, of), max(most, of)
	}
	return least, most
}

// integral is ∫ S(λ) weight(λ) dλ from one wavelength to another.
func (s Spectrum) integral(from, until float64, weight func(nm float64) float64) float64 {
	v := efficiency()
	nodes := slices.Concat(s.NM, v.NM, []float64{from, until})
	slices.Sort(nodes)
	nodes = slices.Compact(nodes)
	sum := 0.0
	for i, nm := range nodes[1:] {
		before := nodes[i]
		if before < from || nm > until || before < s.NM[0] || nm > s.NM[len(s.NM)-1] {
			continue
		}
		sum += (s.at(before)*weight(before) + s.at(nm)*weight(nm)) / 2 * (nm - before)
	}
	return sum
}

// at is the power per nm at a wavelength, 0 outside the spectrum.
func (s Spectrum) at(nm float64) float64 {
	i := sort.SearchFloat64s(s.NM, nm)
	switch {
	case i == len(s.NM):
		return 0
	case s.NM[i] == nm:
		return s.Power[i]
	case i == 0:
		return 0
	}
	share := (nm - s.NM[i-1]) / (s.NM[i] - s.NM[i-1])
	return s.Power[i-1] + share*(s.Power[i]-s.Power[i-1])
}
