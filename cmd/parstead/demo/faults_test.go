package demo

import (
	"testing"
	"time"

	"parstead/light/watch"
)

// Every fault that readings show is found, within the delay stated here.
func TestFaultsAreFound(t *testing.T) {
	t.Parallel()
	soon := map[watch.Kind]time.Duration{
		watch.Flat:           10 * time.Hour,     // at the next change of light
		watch.DarkWhenDue:    2 * time.Hour,      //
		watch.Silent:         2 * time.Hour,      //
		watch.SwitchingDrift: 9 * 24 * time.Hour, // it grows by two minutes a day in the full season
		watch.FloodMissed:    2 * time.Hour,      //
		watch.Hot:            2 * time.Hour,      //
	}
	w := newWorld(t, Config{Seed: 5, Days: MinDays})
	faults, _, err := w.Faults(t.Context(), w.Readings(Every), time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	if len(faults) != len(soon) {
		t.Fatalf("%d faults are planted, want %d", len(faults), len(soon))
	}
	for _, f := range faults {
		switch {
		case f.Found.IsZero():
			t.Errorf("not found: %s", f.Planted)
		case f.Found.Sub(f.From) > soon[f.Condition]:
			t.Errorf("%s: found after %s", f.Planted, f.Found.Sub(f.From))
		}
	}
}

func TestNoAlarmInAQuietSeason(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Config{Seed: 5, Days: MinDays, Quiet: true})
	_, alarms, err := w.Faults(t.Context(), w.Readings(Every), time.Hour)
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range alarms {
		t.Errorf("%s on day %d: %s", a.Kind, w.dayNumber(a.At), a.Says)
	}
}
