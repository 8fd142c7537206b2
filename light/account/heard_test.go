package account_test

import (
	"strings"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/account"
)

// A sensor that ends for good is told with its last reading; a logger that reads each
// quarter of an hour where minutes are expected is told what to write.
func TestUnheardSensorsAreTold(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	a, c := quantum("a", place(1, 1)), quantum("c", place(1, 2))
	c.Every, c.MaxGap = time.Minute, 10*time.Minute
	rack.Sensors = []light.Sensor{a, c}
	src := &light.Memory{Readings: map[string]*light.Series{"a": season(rack, lamp(rack.Zone, 100)), "c": {}}}
	cut(src.Readings["a"], local(t, rack, "2026-10-30 12:00"), rack.Trial().Until.Add(2*time.Hour))
	for at := rack.Trial().From; at.Before(rack.Trial().Until); at = at.Add(15 * time.Minute) {
		src.Readings["c"].Add(at, lamp(rack.Zone, 100)(at), light.OwnTime)
	}
	told := seasonOf(t, rack, src).Remarks
	if got := about(told, "a"); len(got) != 1 || !strings.Contains(got[0], "not been heard since 2026-10-30 12:00") && !strings.Contains(got[0], "not been heard since 2026-10-30 11:55") {
		t.Errorf("%q", got)
	}
	if got := about(told, "c"); len(got) != 1 || !strings.Contains(got[0], `write every = "15m"`) {
		t.Errorf("%q", got)
	}
}

// The mean of positions that readings cover as a whole is 1, not nearly.
func TestCoveredIsOneWhereItIsOne(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{quantum("a", place(1, 1))}
	src := &light.Memory{Readings: map[string]*light.Series{"a": season(rack, lamp(rack.Zone, 100))}}
	for _, d := range account.PerBin(allDays(t, rack, src, account.Options{})) {
		if d.Covered != 1 {
			t.Errorf("%v: %v", d.Date, d.Covered)
		}
	}
}
