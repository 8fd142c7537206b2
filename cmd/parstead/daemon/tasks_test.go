package daemon

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"parstead/cmd/parstead/racktest"
	"parstead/cmd/parstead/trial"
	"parstead/light"
	"parstead/light/account"
)

// Which light map is in use changes with what is logged and surveyed, in the
// bin that it is about.
func TestMapInUse(t *testing.T) {
	t.Parallel()
	dir := racktest.SmallTrial(t, "")
	tr, err := trial.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	survey := func(day int) {
		tr.Rack.Survey = append(tr.Rack.Survey, light.SurveyReading{
			At: time.Date(2026, 8, day, 10, 0, 0, 0, time.UTC), Position: light.Position{Bin: "upper", Row: 1, Column: 1},
		})
	}
	event := func(day int, kind light.Kind, bin, sensor string) light.Event {
		return light.Event{At: time.Date(2026, 8, day, 9, 0, 0, 0, time.UTC), Kind: kind, Bin: bin, Sensor: sensor}
	}
	words := func(log ...light.Event) [2]string {
		return [2]string{account.EpochAt(&tr.Rack, log, "upper", racktest.Midday).String(), account.EpochAt(&tr.Rack, log, "lower", racktest.Midday).String()}
	}
	none := "no light map: not surveyed yet"
	if diff := cmp.Diff([2]string{none, none}, words()); diff != "" {
		t.Error(diff)
	}
	survey(2)
	survey(3)
	if got := words(event(4, light.Other, "", "")); got[0] != "light map surveyed on 2026-08-02" {
		t.Errorf("got %q", got[0])
	}
	moved := event(4, light.SensorMoved, "", "upper")
	if diff := cmp.Diff([2]string{"no light map since 2026-08-04, when the light was changed", none}, words(moved)); diff != "" {
		t.Error(diff)
	}
	survey(5)
	if diff := cmp.Diff([2]string{"light map surveyed on 2026-08-05", "no light map since 2026-08-04, when the light was changed"}, words(moved, event(4, light.LampMoved, "lower", ""))); diff != "" {
		t.Error(diff)
	}
	want := []string{"Survey bin lower with the meter: without a light map its positions can't be told apart."}
	if diff := cmp.Diff(want, tasks(tr, []light.Event{moved}, racktest.Midday)); diff != "" {
		t.Error(diff)
	}
}
