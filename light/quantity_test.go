package light_test

import (
	"testing"

	"parstead/light"
)

// Whatever a sensor can measure has all that its values are read, judged and
// shown by.
func TestEveryQuantityIsComplete(t *testing.T) {
	t.Parallel()
	for _, q := range light.Quantities() {
		if back, err := light.ParseQuantity(q.String()); err != nil || back != q {
			t.Errorf("%s is read as %v, %v", q, back, err)
		}
		if (q.Unit() == "") != q.IsState() {
			t.Errorf("%s: unit %q, a state: %v", q, q.Unit(), q.IsState())
		}
		if low, high := q.Valid(); low >= high {
			t.Errorf("%s: no value lies from %v to %v", q, low, high)
		}
		if q.IsLight() != (q.RelativeError() > 0) || q.IsLight() != (q.LampIsOut() > 0) || q.NeedsLampFactor() && !q.IsLight() {
			t.Errorf("%s: light %v, error %v, lamp out below %v", q, q.IsLight(), q.RelativeError(), q.LampIsOut())
		}
		if guess := light.GuessQuantity("rack/Upper/"+q.String(), "", ""); !guess.Sure || guess.Quantity != q || guess.Else {
			t.Errorf("the topic of %s is taken for that of %s", q, guess.Quantity)
		}
		if m, ok := q.Metric(); ok && (m.Units <= 0 || m.Help == "") {
			t.Errorf("%s: metric %+v", q, m)
		}
	}
	if _, err := light.ParseQuantity("quantity 99"); err == nil || light.Quantity(99).String() != "quantity 99" {
		t.Error("a quantity that is none is taken for one")
	}
}

func TestLightIsTurnedIntoPPFD(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		quantity light.Quantity
		value    float64
		factor   light.LuxPerPPFD
		want     light.PPFD
	}{
		{light.QuantityPPFD, 85, 0, 85},
		{light.QuantityPPFD, 85, 70, 85},
		{light.QuantityLux, 5950, 70, 85},
		{light.QuantityLux, 5950, 0, 0},
		{light.QuantityHumidity, 60, 70, 0},
	} {
		if got := c.quantity.PPFD(c.value, c.factor); got != c.want {
			t.Errorf("%v of %s at %v is PPFD %v, want %v", c.value, c.quantity, c.factor, got, c.want)
		}
	}
}
