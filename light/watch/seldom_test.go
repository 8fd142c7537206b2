package watch

import (
	"context"
	"strings"
	"testing"
	"time"

	"parstead/light"
)

// A logger that reads each quarter of an hour where minutes are expected is not silent
// by turns: what to write is told as one thing that stays, and what other sensors of
// the bin show goes on being judged. Once it sends nothing more it is silent.
func TestALoggerThatReadsSeldom(t *testing.T) {
	t.Parallel()
	g := newRig(t, 4)
	ends := g.at(2, 0)
	for i := range g.rack.Sensors {
		if s := &g.rack.Sensors[i]; s.Name == "middle second" {
			s.Every, s.MaxGap = time.Minute, 10*time.Minute
		}
	}
	g.change = func(s light.Sensor, at time.Time, v float64) (float64, bool) {
		return v, s.Name != "middle second" || at.Minute()%15 == 0 && at.Before(ends)
	}
	g.play()
	w := New(&g.rack)
	silent := func(at time.Time) (of []Condition) {
		found, err := w.At(context.Background(), &g.memory, at)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range found {
			if c.Kind == Silent {
				of = append(of, c)
			}
		}
		return of
	}
	var first Condition
	for minutes := range 120 {
		got := silent(g.at(1, 10).Add(time.Duration(minutes) * time.Minute))
		if len(got) != 1 || !strings.Contains(got[0].Says, "reads every 15m, further apart than the 10m") || !strings.Contains(got[0].Do, `every = "15m"`) {
			t.Fatalf("after %d minutes: %+v", minutes, got)
		}
		if minutes == 0 {
			first = got[0]
		} else if got[0] != first {
			t.Fatalf("after %d minutes another one: %+v", minutes, got[0])
		}
	}
	if got := silent(ends.Add(10 * time.Minute)); len(got) != 1 || !strings.Contains(got[0].Says, "reads every 15m") {
		t.Errorf("25 minutes after its last reading: %+v", got)
	}
	if got := silent(ends.Add(20 * time.Minute)); len(got) != 1 || !strings.Contains(got[0].Says, "is not heard") {
		t.Errorf("35 minutes after its last reading: %+v", got)
	}
	for i := range g.rack.Sensors { // as it is told to
		if s := &g.rack.Sensors[i]; s.Name == "middle second" {
			s.Every, s.MaxGap = 15*time.Minute, 150*time.Minute
		}
	}
	w = New(&g.rack)
	if got := silent(g.at(1, 12)); len(got) != 0 {
		t.Errorf("with every = \"15m\": %+v", got)
	}
}
