package light_test

import (
	"testing"
	"time"

	"parstead/light"
)

func lamp(tb testing.TB, pairs ...string) light.Lamp {
	tb.Helper()
	l := light.Lamp{Name: "bar"}
	for i := 0; i < len(pairs); i += 2 {
		l.On, l.Off = append(l.On, clock(tb, pairs[i])), append(l.Off, clock(tb, pairs[i+1]))
	}
	return l
}

func TestLampLitHours(t *testing.T) {
	t.Parallel()
	lisbon := light.Calendar{Zone: zone(t, "Europe/Lisbon")}
	for _, c := range []struct {
		what  string
		lamp  light.Lamp
		date  string
		hours float64
		n     int
	}{
		{"by day", lamp(t, "07:00", "21:00"), "2026-07-21", 14, 1},
		{"over midnight", lamp(t, "18:00", "08:00"), "2026-07-21", 14, 2},
		{"two stretches", lamp(t, "06:00", "10:00", "14:00", "20:00"), "2026-07-21", 10, 2},
		{"touching stretches", lamp(t, "06:00", "10:00", "10:00", "20:00"), "2026-07-21", 14, 1},
		{"until the end of the day", lamp(t, "10:00", "24:00"), "2026-07-21", 14, 1},
		{"always", lamp(t, "00:00", "00:00"), "2026-10-25", 25, 1},
		{"through the repeated hour", lamp(t, "00:30", "03:30"), "2026-10-25", 4, 1},
		{"through the skipped hour", lamp(t, "00:30", "03:30"), "2026-03-29", 2, 1},
		{"within the skipped hour", lamp(t, "01:10", "01:40"), "2026-03-29", 0, 0},
		{"off in the skipped hour", lamp(t, "00:00", "01:40"), "2026-03-29", 1, 1},
	} {
		var sum time.Duration
		lit := c.lamp.Lit(lisbon.Day(date(t, c.date)), lisbon.Zone)
		for _, s := range lit {
			sum += s.Length()
		}
		if sum.Hours() != c.hours || len(lit) != c.n {
			t.Errorf("%s: %v h in %d stretches, want %v in %d", c.what, sum.Hours(), len(lit), c.hours, c.n)
		}
	}
}

func TestLampLitKeepsToItsStretch(t *testing.T) {
	t.Parallel()
	l := lamp(t, "07:00", "21:00")
	noon := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	l.During.From = noon
	day := light.Calendar{Zone: time.UTC}.Day(date(t, "2026-03-02"))
	if lit := l.Lit(day, time.UTC); len(lit) != 1 || !lit[0].From.Equal(noon) {
		t.Errorf("a lamp hung at noon is lit %v", lit)
	}
	l.During = light.Span{Until: day.From}
	if lit := l.Lit(day, time.UTC); len(lit) != 0 {
		t.Errorf("a lamp taken down the day before is lit %v", lit)
	}
}
