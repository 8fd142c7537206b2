package light

// PPFD is a photosynthetic photon flux density in µmol m⁻² s⁻¹.
type PPFD float64

// Lux is an illuminance in lm m⁻².
type Lux float64

// DLI is a daily light integral in mol m⁻² d⁻¹.
type DLI float64

// LuxPerPPFD is the illuminance of a light source at 1 µmol m⁻² s⁻¹.
type LuxPerPPFD float64

// PPFD is the photon flux density that a source of the given factor has at
// this illuminance.
func (l Lux) PPFD(factor LuxPerPPFD) PPFD { return PPFD(float64(l) / float64(factor)) }

// MicromolesPerMole turns an integral of PPFD over seconds into mol m⁻².
const MicromolesPerMole = 1e6

// Over is the light that this PPFD, held constant for the given number of
// seconds, brings, in mol m⁻².
func (p PPFD) Over(seconds float64) DLI { return DLI(float64(p) * seconds / MicromolesPerMole) }
