//go:build worlds

// Package worlds makes worlds of light for a plant propagator's rack:
// bins of places under lamps or on a windowsill, the sensor in the bin, the
// grower walking with a handheld meter, and the things that go wrong.
//
// It exists to JUDGE an estimator that turns a sensor and a walk into a map.
// So it is written from optics and from the trade only, and every world keeps
// its truth next to what the grower would have seen.
//
// Lengths: the outside of the package speaks centimetres (a grower's unit),
// the optics inside speak metres, because the inverse-square law then gives
// µmol m⁻² s⁻¹ with no hidden factor.
package worlds
