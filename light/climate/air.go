package climate

import "math"

// SaturationVapourPressure is the vapour pressure of saturated air, in kPa, at a
// temperature in °C:
//
//	0.6108 exp(17.27 T / (T + 237.3))
//
// Allen, R. G. et al. (1998), Crop evapotranspiration, FAO Irrigation and
// Drainage Paper 56, equation 11.
func SaturationVapourPressure(celsius float64) float64 {
	return 0.6108 * math.Exp(17.27*celsius/(celsius+237.3))
}

// VapourPressureDeficit is what air of a temperature in °C and a relative
// humidity in per cent lacks to saturation, in kPa.
func VapourPressureDeficit(celsius, humidity float64) float64 {
	return SaturationVapourPressure(celsius) * (1 - humidity/100)
}

// DegreeDays are one day's degrees above a base, from its lowest and highest
// temperature, all in °C: the mean of the two less the base where the day lies
// above it, none where it lies below, and where it straddles the base
//
//	(max − base)/2 − (base − min)/4   if the mean of the two is at least the base
//	(max − base)/4                    if it is less
//
// as the Irish meteorological service publishes the rule. A lowest and a
// highest temperature are used, not the integral of the readings, because
// published requirements of plants are counted in this way.
func DegreeDays(low, high, base float64) float64 {
	mean := (low + high) / 2
	switch {
	case low >= base:
		return mean - base
	case high <= base:
		return 0
	case mean >= base:
		return (high-base)/2 - (base-low)/4
	default:
		return (high - base) / 4
	}
}
