package account_test

import (
	"math"
	"strings"
	"testing"

	"parstead/light"
	"parstead/light/account"
)

// A pair of sensors at one place measures what the water takes (Beer's law, 4 per
// metre in truth), each with its own factors, the lower one's immersion factor
// once; only a pair at one place does.
func TestAttenuationFromAPair(t *testing.T) {
	t.Parallel()
	build := func() (*light.Rack, *light.Memory) {
		rack := newRack(t)
		rack.Bins[0].WaterCM = 8
		above, below := quantum("above", place(1, 1)), quantum("below", place(1, 1))
		below.DepthCM, below.Immersion = 6, 1.25
		below.Measures, below.High = light.QuantityLux, 150000
		rack.Sensors = []light.Sensor{above, below}
		return rack, &light.Memory{Readings: map[string]*light.Series{
			"above": season(rack, lamp(rack.Zone, 100)),
			"below": season(rack, lamp(rack.Zone, 100*math.Exp(-4*0.06)*67/1.25)),
		}}
	}
	rack, src := build()
	s := seasonOf(t, rack, src)
	near(t, "at the plants", float64(find(t, s.Days, place(1, 1), "2026-10-20").DLI), wholeDay(100*math.Exp(-4*0.08)), 1e-9)
	if len(s.Remarks) == 0 || !strings.Contains(s.Remarks[0], "4.00 per metre") {
		t.Errorf("%q", s.Remarks)
	}
	// Given attenuation counts, whatever the pair shows.
	rack.Bins[0].Attenuation = 3
	s = seasonOf(t, rack, src)
	byPrecision := (math.Exp(-3*0.08) + math.Exp(-4*0.06-3*0.02)) / 2
	near(t, "as given", float64(find(t, s.Days, place(1, 1), "2026-10-20").DLI), wholeDay(100*byPrecision), 1e-9)

	for what, spoil := range map[string]func(*light.Rack, *light.Memory){
		"at another place": func(r *light.Rack, _ *light.Memory) { r.Sensors[1].Position = place(1, 2) },
		"at other times": func(r *light.Rack, _ *light.Memory) {
			r.Sensors[0].During.Until, r.Sensors[1].During.From = r.Day(date(t, "2026-10-20")).From, r.Day(date(t, "2026-10-20")).From
		},
		"brighter below": func(r *light.Rack, m *light.Memory) { m.Readings["above"] = season(r, lamp(r.Zone, 50)) },
		"silent":         func(_ *light.Rack, m *light.Memory) { delete(m.Readings, "below") },
	} {
		rack, src := build()
		spoil(rack, src)
		_, err := account.New(rack, src, account.Options{}).Days(t.Context(), rack.Starts, rack.Ends)
		if err == nil || !strings.Contains(err.Error(), "attenuation_per_m") {
			t.Errorf("%s: %v", what, err)
		}
	}
}
