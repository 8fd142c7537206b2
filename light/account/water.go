package account

import (
	"context"
	"fmt"
	"math"
	"time"

	"parstead/light"
	"parstead/light/dli"
)

// A pair of sensors at one place, at different depths, shows how the water dims
// light: over the first week in which both read.
const (
	pairLook  = 14 * 24 // hours of the trial, from the first that both may read
	pairHours = 7 * 24  // hours with both, at most
)

// underWater is the share of PPFD at one depth that arrives at another.
func (b *bin) underWater(fromCM, toCM float64) float64 {
	return math.Exp(-b.Attenuation * (toCM - fromCM) / 100)
}

// dimmingError is the error, as a share, of light that is brought from one depth to
// another.
func (b *bin) dimmingError(fromCM, toCM float64) float64 {
	return b.Attenuation * b.AttenuationError * (toCM - fromCM) / 100
}

// waterError is that of the sensors together: it is one error, whatever their depths.
func (pl *pooled) waterError() float64 {
	b := pl.b
	if len(pl.tracks) == 0 {
		return b.dimmingError(0, b.WaterCM)
	}
	sum, weights := 0.0, 0.0
	for _, t := range pl.tracks {
		sum += t.weight * b.dimmingError(t.depthCM, b.WaterCM)
		weights += t.weight
	}
	return math.Abs(sum) / weights
}

// knowWater makes sure that light read at another depth than that of the plants
// can be brought to them: by the attenuation that the grower gives, else by that
// which a pair of sensors measures.
func (b *bin) knowWater(ctx context.Context) error {
	if b.WaterCM == 0 || b.Attenuation > 0 || !b.readFromAbove() {
		return nil
	}
	for i, upper := range b.rack.Sensors {
		for k, lower := range b.rack.Sensors {
			pair := i != k && upper.Position == lower.Position && upper.DepthCM < lower.DepthCM &&
				upper.Position.Bin == b.Name && upper.Measures.IsLight() && lower.Measures.IsLight()
			if !pair {
				continue
			}
			measured, err := b.attenuation(ctx, upper, lower)
			if err != nil {
				return err
			}
			if measured > 0 {
				b.Attenuation = measured
				b.AttenuationError = math.Hypot(upper.RelativeError, lower.RelativeError) / (measured * (lower.DepthCM - upper.DepthCM) / 100)
				b.remarks = append(b.remarks, fmt.Sprintf("Bin %s: its water dims light by %.2f per metre, as sensors %s and %s show together.", b.Name, measured, upper.Name, lower.Name))
				return nil
			}
		}
	}
	return fmt.Errorf("bin %s stands under %v cm of water and its light is not read at the plants: give attenuation_per_m, ln(upper PPFD / lower PPFD) over the metres between two readings", b.Name, b.WaterCM)
}

// attenuation is ln(upper / lower) over the metres between two sensors, per
// metre, out of what both saw in the same hours; 0 where they did not, or the
// lower one saw no less.
func (b *bin) attenuation(ctx context.Context, upper, lower light.Sensor) (float64, error) {
	both, ok := upper.During.Within(lower.During)
	if !ok {
		return 0, nil
	}
	if both, ok = both.Within(b.rack.Trial()); !ok {
		return 0, nil
	}
	bounds := []int64{both.From.UnixNano()}
	for range pairLook {
		next := bounds[len(bounds)-1] + int64(time.Hour)
		if next > both.Until.UnixNano() {
			break
		}
		bounds = append(bounds, next)
	}
	if len(bounds) < 2 {
		return 0, nil
	}
	var hours [2][]dli.Light
	for i, s := range []light.Sensor{upper, lower} {
		var factors []dli.Factor
		if s.Measures.NeedsLampFactor() {
			var err error
			if factors, err = b.factors(); err != nil {
				return 0, err
			}
		}
		stretches, err := dli.Stretches(s, factors)
		if err != nil {
			return 0, err
		}
		var series light.Series
		if err := b.src.Series(ctx, s.Name, light.Span{From: both.From, Until: unix(bounds[len(bounds)-1] + 1)}, &series); err != nil {
			return 0, fmt.Errorf("read sensor %s: %w", s.Name, err)
		}
		_, hours[i] = dli.Integrate(&series, stretches, bounds, nil)
	}
	above, below, n := 0.0, 0.0, 0
	for h := range hours[0] {
		u, l := hours[0][h], hours[1][h]
		if n < pairHours && u.Covered == int64(time.Hour) && l.Covered == int64(time.Hour) {
			above, below, n = above+float64(u.Mol), below+float64(l.Mol), n+1
		}
	}
	if !(above > below && below > 0) {
		return 0, nil
	}
	return math.Log(above/below) / ((lower.DepthCM - upper.DepthCM) / 100), nil
}
