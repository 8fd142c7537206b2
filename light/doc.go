// Package light is the vocabulary of the light account: days, places, lamps,
// sensors, readings, surveys and the log, with the arithmetic that belongs to
// each. Every other package speaks in these types and none is imported here.
//
// Units: PPFD in µmol m⁻² s⁻¹ (photons of 400–700 nm, every photon weighted
// one), daily light integral (DLI) in mol m⁻² d⁻¹, temperature in °C, relative
// humidity in per cent, lengths in centimetres unless a name says otherwise.
package light
