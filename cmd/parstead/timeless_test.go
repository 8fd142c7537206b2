package main

import (
	"strings"
	"testing"

	"parstead/cmd/parstead/page"
	"parstead/light"
	"parstead/light/watch"
)

// A sensor whose messages come without their time is not to be looked for at its
// cable.
func TestSilentNamesAMissingTime(t *testing.T) {
	t.Parallel()
	sensors := []page.Sensor{
		{Sensor: light.Sensor{Name: "air", Position: light.Position{Bin: "upper"}}, Timeless: "its messages carry no time at /at"},
		{Sensor: light.Sensor{Name: "damp", Position: light.Position{Bin: "upper"}}},
	}
	one := watch.Condition{Name: watch.Silent, Bin: "upper", Sensor: "air", Do: "Look at its supply."}
	tellTimeless(&one, sensors)
	if one.Says != "Messages of sensor air come, but can't be used." || one.Do != "Look into trial.toml: its messages carry no time at /at." {
		t.Errorf("%+v", one)
	}
	for bin, named := range map[string]bool{"upper": true, "": true, "lower": false} {
		all := watch.Condition{Name: watch.Silent, Bin: bin, Do: "Look."}
		tellTimeless(&all, sensors)
		if strings.Contains(all.Do, "sensor air come: its messages carry no time at /at.") != named {
			t.Errorf("bin %q: %s", bin, all.Do)
		}
	}
	other := watch.Condition{Name: watch.Silent, Bin: "upper", Sensor: "damp", Do: "Look."}
	if tellTimeless(&other, sensors); other.Do != "Look." {
		t.Errorf("%+v", other)
	}
}
