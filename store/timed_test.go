package store

import (
	"testing"
	"time"

	"parstead/light"
)

// What was set aside as untimed counts once the log says that it came as it was
// read, packed or not, and no longer once that is withdrawn; retained values and
// conflicts stay aside.
func TestTimedReadingsAreGivenBack(t *testing.T) {
	t.Parallel()
	db := open(t)
	begin := time.Date(2026, 7, 21, 12, 0, 0, 0, time.UTC)
	var group []light.Reading
	for i := range 10 {
		at := begin.Add(time.Duration(i) * time.Second)
		mark := light.Untimed
		if i == 5 {
			mark = light.Stale
		}
		group = append(group, light.Reading{Sensor: "a", At: at, Arrived: at, Value: float64(i), Mark: mark})
	}
	if _, err := db.Append(t.Context(), group); err != nil {
		t.Fatal(err)
	}
	usable := func() (n int) {
		t.Helper()
		view, err := db.View()
		if err != nil {
			t.Fatal(err)
		}
		defer view.Close() //nolint:errcheck // it only read
		var s light.Series
		if err := view.Series(t.Context(), "a", light.Span{}, &s); err != nil || s.Len() != 10 {
			t.Fatalf("%d readings, %v", s.Len(), err)
		}
		for _, m := range s.Marks {
			if m.Usable() {
				n++
			}
		}
		return n
	}
	if n := usable(); n != 0 {
		t.Errorf("%d count from the start", n)
	}
	id, err := db.AddEvent(t.Context(), light.Event{
		Kind: light.Timed, Sensor: "a", At: begin, During: light.Span{From: begin.Add(2 * time.Second), Until: begin.Add(8 * time.Second)},
	})
	if err != nil {
		t.Fatal(err)
	}
	if n := usable(); n != 5 {
		t.Errorf("%d are given back, want 2, 3, 4, 6 and 7", n)
	}
	if err := db.Pack(t.Context(), begin.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	if n := usable(); n != 5 {
		t.Errorf("%d after packing", n)
	}
	if _, err := db.AddEvent(t.Context(), light.Event{Kind: light.Withdrawn, Withdraws: id, At: begin}); err != nil {
		t.Fatal(err)
	}
	if n := usable(); n != 0 {
		t.Errorf("%d count after that was withdrawn", n)
	}
}
