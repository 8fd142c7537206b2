package racktest

import (
	"errors"
	"testing"
	"time"

	"parstead/light"
	"parstead/store"
)

// Lived fills the folder's database with days of readings up to a moment, one
// each five minutes: value while the lamp is on, else 0.
func Lived(tb testing.TB, dir string, until time.Time, days int, value float64) {
	tb.Helper()
	w, err := store.OpenWriter(tb.Context(), dir, store.Options{Now: func() time.Time { return until }})
	if err != nil {
		tb.Fatal(err)
	}
	var group []light.Reading
	for t := until.AddDate(0, 0, -days); t.Before(until); t = t.Add(5 * time.Minute) {
		for _, bin := range []string{"upper", "lower"} {
			r := light.Reading{Sensor: bin, At: t, Arrived: t}
			if h := t.Hour(); h >= 6 && h < 20 {
				r.Value = value + float64(t.Minute()%3)/10
			}
			group = append(group, r)
		}
	}
	_, err = w.Append(tb.Context(), group)
	if err = errors.Join(err, w.Close()); err != nil {
		tb.Fatal(err)
	}
}
