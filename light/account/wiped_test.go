package account_test

import (
	"math"
	"testing"

	"parstead/light"
	"parstead/light/account"
)

// A lamp that is wiped keeps its map, with an error until the bin is walked again; a
// lamp that is moved does not.
func TestAWipedLampKeepsItsMap(t *testing.T) {
	t.Parallel()
	figure := func(kind light.Kind, day string) account.Figure {
		rack := newRack(t)
		rack.Sensors = []light.Sensor{quantum("a", place(1, 1))}
		walk(rack, local(t, rack, "2026-10-13 10:00"), 80, 100, 90, 70, 50, 60)
		walk(rack, local(t, rack, "2026-10-30 10:00"), 80, 100, 90, 70, 50, 60)
		src := &light.Memory{
			Readings: map[string]*light.Series{"a": season(rack, lamp(rack.Zone, 80))},
			Log:      []light.Event{{ID: 1, At: local(t, rack, "2026-10-20 12:00"), Kind: kind, Bin: "upper"}},
		}
		return find(t, allDays(t, rack, src, account.Options{}), place(2, 2), day)
	}
	before, after, again := figure(light.LampCleaned, "2026-10-18"), figure(light.LampCleaned, "2026-10-24"), figure(light.LampCleaned, "2026-11-02")
	if after.Source != account.FromMap || after.DLI != before.DLI {
		t.Errorf("%+v after %+v", after, before)
	}
	near(t, "error", after.Error.Independent, math.Hypot(before.Error.Independent, 0.05), 1e-9)
	near(t, "walked again", again.Error.Independent, before.Error.Independent, 1e-9)
	if moved := figure(light.LampMoved, "2026-10-24"); moved.Source != account.FromBin {
		t.Errorf("%+v", moved)
	}
}
