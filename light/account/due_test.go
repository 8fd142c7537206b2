package account_test

import (
	"math"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/account"
)

// Of a day that is lit from 06:00 to 20:00, six fourteenths are due at noon; of
// the target, or else of what the day before gave where it is known.
func TestDueByNow(t *testing.T) {
	t.Parallel()
	rack := light.Rack{Lamps: []light.Lamp{{
		Name: "bar", On: []light.TimeOfDay{light.TimeOfDay(6 * time.Hour)}, Off: []light.TimeOfDay{light.TimeOfDay(20 * time.Hour)},
	}}}
	rack.Zone, rack.Starts, rack.Ends = time.UTC, light.Date{Year: 2026, Month: 8, Day: 1}, light.Date{Year: 2026, Month: 8, Day: 30}
	bin := light.Bin{Name: "upper", Rows: 1, Columns: 2, Lamps: []string{"bar"}}
	places := bin.Positions()
	yesterday := map[light.Position]account.Figure{places[0]: {Known: true, DLI: 7, Covered: 0.5}, places[1]: {DLI: 99}}
	for _, c := range []struct {
		hour   int
		target light.DLI
		want   float64
	}{{5, 14, 0}, {12, 14, 6}, {12, 0, 3}, {20, 14, 14}, {23, 14, 14}} {
		bin.TargetDLI = c.target
		due, ok := account.DueByNow(&rack, bin, yesterday, time.Date(2026, 8, 5, c.hour, 0, 0, 0, time.UTC))
		if !ok || math.Abs(float64(due)-c.want) > 1e-9 {
			t.Errorf("at %d:00 of %v: %v, %v; want %v", c.hour, c.target, due, ok, c.want)
		}
	}
	bin.TargetDLI = 0
	if _, ok := account.DueByNow(&rack, bin, nil, time.Date(2026, 8, 5, 12, 0, 0, 0, time.UTC)); ok {
		t.Error("due though neither target nor yesterday is known")
	}
	if got := account.Coverage(bin, yesterday); got != 0.5 {
		t.Errorf("covered %v, want 0.5 of the one position that is known", got)
	}
	bin.Lamps = nil
	bin.TargetDLI = 14
	if _, ok := account.DueByNow(&rack, bin, yesterday, time.Date(2026, 8, 5, 12, 0, 0, 0, time.UTC)); ok {
		t.Error("due without a lamp")
	}
}
