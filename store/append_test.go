package store

import (
	"cmp"
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	gocmp "github.com/google/go-cmp/cmp"

	"parstead/light"
)

const (
	kept     = light.Stored
	dropped  = light.Duplicate
	conflict = light.Conflicting
)

// Duplicates and conflicts are told apart by own time, inside a group, between
// groups, after packing and after a restart.
func TestDuplicates(t *testing.T) {
	t.Parallel()
	db := open(t)
	again := func(want ...light.Fate) {
		t.Helper()
		got := mustAppend(t, db,
			own("a", 0, 1), own("a", 0, 1), own("a", 0, 2), own("b", 0, 1), // the group itself
			arrival("a", 0, 1), arrival("a", 0, 1), // no own time: never a duplicate
			own("a", -8*24*time.Hour, 5), own("a", time.Minute, 3), own("a", 0, 2))
		if diff := gocmp.Diff(want, got); diff != "" {
			t.Error(diff)
		}
	}
	again(kept, dropped, conflict, kept, kept, kept, kept, kept, dropped)
	again(dropped, dropped, dropped, dropped, kept, kept, dropped, dropped, dropped)
	if err := db.Pack(t.Context(), start.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	again(dropped, dropped, dropped, dropped, kept, kept, dropped, dropped, dropped)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	db = openAt(t, db.Path())
	again(dropped, dropped, dropped, dropped, kept, kept, dropped, dropped, dropped)

	got := series(t, db, "a", light.Span{})
	values := map[float64]int{}
	for i, v := range got.Values {
		values[v]++
		if (got.Marks[i]&light.Conflict != 0) != (v == 2) {
			t.Errorf("value %v has mark %d", v, got.Marks[i])
		}
	}
	if diff := gocmp.Diff(map[float64]int{1: 9, 2: 1, 3: 1, 5: 1}, values); diff != "" {
		t.Error(diff)
	}
}

// A reading that cannot be kept refuses its whole group, and says which it is.
func TestOnAppendTellsTheEarliest(t *testing.T) {
	t.Parallel()
	var told []time.Time
	db, err := Open(filepath.Join(t.TempDir(), FileName), Options{OnAppend: func(at time.Time) { told = append(told, at) }})
	if err != nil {
		t.Fatal(err)
	}
	mustAppend(t, db, own("a", time.Hour, 1), own("b", -time.Hour, 1), own("a", 2*time.Hour, 1))
	mustAppend(t, db, own("a", 3*time.Hour, 1))
	if err := db.Close(); err != nil {
		t.Error(err)
	}
	if diff := gocmp.Diff([]time.Time{start.Add(-time.Hour), start.Add(3 * time.Hour)}, told); diff != "" {
		t.Error(diff)
	}
}

func TestRefusedReadings(t *testing.T) {
	t.Parallel()
	db := open(t)
	for _, c := range []struct {
		bad  light.Reading
		says string
	}{
		{own("", 0, 1), "no sensor"},
		{own("a", 0, math.NaN()), "finite"},
		{own("a", 0, math.Inf(-1)), "finite"},
		{light.Reading{Sensor: "a", Value: 1, At: time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)}, "range"},
		{light.Reading{Sensor: "a", Value: 1}, "range"},
		{light.Reading{Sensor: "a", Value: 1, At: start, Mark: 0x40}, "mark"},
	} {
		_, err := db.Append(t.Context(), []light.Reading{own("good", 0, 1), c.bad})
		if err == nil || !strings.Contains(err.Error(), c.says) || !strings.Contains(err.Error(), "reading 2 of 2") {
			t.Errorf("%+v: %v", c.bad, err)
		}
	}
	if n := series(t, db, "good", light.Span{}); n.Len() != 0 {
		t.Error("a refused group left a reading behind")
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := db.Append(ctx, []light.Reading{own("a", 0, 1)}); !errors.Is(err, context.Canceled) {
		t.Errorf("an ended context: %v", err)
	}
	if fates, err := db.Append(t.Context(), nil); err != nil || len(fates) != 0 {
		t.Errorf("an empty group: %v, %v", fates, err)
	}
}

// Without own time the time is that of arrival, in whole seconds; a caller that
// leaves the arrival out gets the store's own clock.
func TestArrivals(t *testing.T) {
	t.Parallel()
	db := open(t)
	mustAppend(t, db,
		arrival("a", 1500*time.Millisecond, 1),
		light.Reading{Sensor: "b", At: start.Add(time.Millisecond), Value: 2, Mark: light.OwnTime})
	if got := series(t, db, "a", light.Span{}).Times[0]; got != start.Add(time.Second).UnixNano() {
		t.Errorf("the arrival is kept as %v", time.Unix(0, got).UTC())
	}
	b := db.Latest()["b"]
	if !b.At.Equal(start.Add(time.Millisecond)) || !b.Arrived.Equal(start) || b.Boot != db.Boot() {
		t.Errorf("the latest of b is %+v", b)
	}
}

// modelReading is a reading as the model keeps it.
type modelReading struct {
	light.Reading
	order int
}

// model is the store's promise in its plainest form.
type model struct {
	readings map[string][]modelReading
	n        int
}

func (m *model) append(group []light.Reading) (fates []light.Fate) {
	for _, r := range group {
		fate := light.Stored
		if r.Mark&light.OwnTime != 0 {
			for _, k := range m.readings[r.Sensor] {
				if k.Mark&light.OwnTime != 0 && k.At.Equal(r.At) {
					if k.Value == r.Value {
						fate = light.Duplicate
						break
					}
					fate = light.Conflicting
				}
			}
		} else {
			r.At = r.At.Truncate(time.Second)
		}
		fates = append(fates, fate)
		if fate == light.Duplicate {
			continue
		}
		if fate == light.Conflicting {
			r.Mark |= light.Conflict
		}
		m.n++
		m.readings[r.Sensor] = append(m.readings[r.Sensor], modelReading{r, m.n})
	}
	return fates
}

// series gives the readings at their rebased times.
func (m *model) series(sensor string, steps []stepData, during light.Span) (rs []modelReading) {
	for _, r := range m.readings[sensor] {
		for _, s := range steps {
			if r.Mark&light.OwnTime == 0 && r.Boot == s.Boot && r.Uptime.Seconds() < s.Uptime {
				r.At = r.At.Add(time.Duration(s.By))
			}
		}
		if during.Holds(r.At) {
			rs = append(rs, r)
		}
	}
	slices.SortFunc(rs, func(a, b modelReading) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Value, b.Value), cmp.Compare(a.Mark, b.Mark))
	})
	return rs
}

// The store keeps its promise whatever comes in whatever order: live and late
// readings, redeliveries, conflicts, steps of the clock, packing, restarts.
func TestAgainstModel(t *testing.T) {
	t.Parallel()
	for seed := range uint64(6) {
		r := rand.New(rand.NewPCG(seed, 1))
		db := open(t)
		m := model{readings: map[string][]modelReading{}}
		var steps []stepData
		var sent []light.Reading
		now := time.Duration(0)
		for range 60 {
			switch op := r.IntN(10); {
			case op < 6:
				group := randomGroup(r, now, sent)
				sent = append(sent, group...)
				now += time.Duration(r.IntN(40)) * time.Hour
				want := m.append(group)
				if diff := gocmp.Diff(want, mustAppend(t, db, group...)); diff != "" {
					t.Fatalf("seed %d: %s", seed, diff)
				}
			case op < 8:
				if err := db.Pack(t.Context(), start.Add(now-time.Duration(r.IntN(100))*time.Hour)); err != nil {
					t.Fatal(err)
				}
			case op == 8 && seed%2 == 1:
				step := stepData{uint32(r.IntN(3)), float64(r.IntN(int(now.Seconds()) + 1)), int64(time.Duration(r.IntN(48)-24) * time.Hour)}
				steps = append(steps, step)
				if _, err := db.AddEvent(t.Context(), light.Event{
					Kind: light.ClockStepped,
					Data: ClockStep(step.Boot, time.Duration(step.Uptime)*time.Second, time.Duration(step.By)),
				}); err != nil {
					t.Fatal(err)
				}
			case op == 9:
				if err := db.Close(); err != nil {
					t.Fatal(err)
				}
				db = openAt(t, db.Path())
			}
			compare(t, seed, db, &m, steps, randomSpan(r, now))
		}
	}
}

func randomGroup(r *rand.Rand, now time.Duration, sent []light.Reading) []light.Reading {
	var group []light.Reading
	for i := range 1 + r.IntN(30) {
		sensor := string(rune('a' + r.IntN(3)))
		after := now + time.Duration(i)*time.Minute
		if r.IntN(10) == 0 { // late
			after -= time.Duration(r.IntN(1000)) * time.Hour
		}
		x := own(sensor, after, float64(r.IntN(5)))
		x.Boot = uint32(r.IntN(3))
		switch r.IntN(5) {
		case 0:
			x.Mark = 0
		case 1:
			x.Mark = []light.Mark{light.Untimed, light.Stale}[r.IntN(2)]
		case 2:
			if len(sent) > 0 { // delivered again
				x = sent[r.IntN(len(sent))]
			}
		}
		group = append(group, x)
	}
	return group
}

func randomSpan(r *rand.Rand, now time.Duration) (s light.Span) {
	at := func() time.Time { return start.Add(time.Duration(r.Float64()*float64(now+1)) - 24*time.Hour) }
	if r.IntN(3) > 0 {
		s.From = at()
	}
	if r.IntN(3) > 0 {
		s.Until = at()
	}
	return s
}

func compare(t *testing.T, seed uint64, db *DB, m *model, steps []stepData, span light.Span) {
	t.Helper()
	s, err := db.View()
	if err != nil {
		t.Fatal(err)
	}
	for _, during := range []light.Span{{}, span} {
		for _, sensor := range []string{"a", "b", "c"} {
			got := seriesOf(t, s, sensor, during)
			want := m.series(sensor, steps, during)
			if got.Len() != len(want) {
				t.Fatalf("seed %d, %s: %d readings, want %d", seed, sensor, got.Len(), len(want))
			}
			if !slices.IsSorted(got.Times) {
				t.Fatalf("seed %d, %s: not in order", seed, sensor)
			}
			for i := 0; i < len(want); {
				// Readings of one time may stand in any order here.
				j := i
				for j < len(want) && want[j].At.Equal(want[i].At) {
					j++
				}
				var a, b []float64
				for k := i; k < j; k++ {
					if got.Times[k] != want[k].At.UnixNano() {
						t.Fatalf("seed %d, %s: reading %d at %d, want %v", seed, sensor, k, got.Times[k], want[k].At)
					}
					mark := light.Mark(0)
					if got.Marks != nil {
						mark = got.Marks[k]
					}
					a = append(a, got.Values[k]+100*float64(mark&^light.OwnTime))
					b = append(b, want[k].Value+100*float64(want[k].Mark&^light.OwnTime))
				}
				slices.Sort(a)
				slices.Sort(b)
				if !slices.Equal(a, b) {
					t.Fatalf("seed %d, %s: values %v, want %v", seed, sensor, a, b)
				}
				i = j
			}
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// A week of more readings than a block holds goes into several pieces, late
// ones included.
func TestManyPieces(t *testing.T) {
	t.Parallel()
	db := open(t)
	const n = 2*maxBlock + 1000
	week := time.Unix(weekSeconds*2950, 0).UTC()
	at := func(i int) time.Time { return week.Add(time.Duration(i) * time.Second) }
	var late []light.Reading
	var group []light.Reading
	for i := range n {
		r := light.Reading{Sensor: "a", At: at(i), Value: float64(i), Mark: light.OwnTime, Arrived: at(i), Boot: 1}
		if i%1000 == 500 {
			late = append(late, r)
			continue
		}
		if group = append(group, r); len(group) == 10000 {
			mustAppend(t, db, group...)
			group = group[:0]
		}
	}
	mustAppend(t, db, group...)
	for _, rs := range [][]light.Reading{nil, late} {
		if len(rs) > 0 {
			mustAppend(t, db, rs...)
		}
		if err := db.Pack(t.Context(), at(n)); err != nil {
			t.Fatal(err)
		}
	}
	got := series(t, db, "a", light.Span{})
	if got.Len() != n || got.Marks != nil {
		t.Fatalf("%d readings, want %d", got.Len(), n)
	}
	for i, v := range got.Values {
		if v != float64(i) || got.Times[i] != at(i).UnixNano() {
			t.Fatalf("reading %d is %v at %d", i, v, got.Times[i])
		}
	}
	if fates := mustAppend(t, db, late...); slices.ContainsFunc(fates, func(f light.Fate) bool { return f != light.Duplicate }) {
		t.Error("late readings delivered again are not known")
	}
	if s, err := db.Stats(); err != nil || s.Readings["a"] != n || s.Loose != 0 {
		t.Errorf("stats %+v, %v", s, err)
	}
}

// Arrivals before a step of the clock are given at the time that it shows, the
// raw ones stay; a withdrawn step is none.
func TestClockSteps(t *testing.T) {
	t.Parallel()
	for _, packed := range []bool{false, true} {
		db := open(t)
		mustAppend(t, db,
			arrival("a", 10*time.Second, 1), // the clock is 9 h behind until it steps
			own("a", 20*time.Second, 2),     // its own clock was right
			arrival("a", 9*time.Hour+40*time.Second, 3))
		other := arrival("a", 30*time.Second, 4)
		other.Boot = 2
		mustAppend(t, db, other)
		if packed {
			if err := db.Pack(t.Context(), start.Add(24*time.Hour)); err != nil {
				t.Fatal(err)
			}
		}
		want := func(pairs ...float64) {
			t.Helper()
			got := series(t, db, "a", light.Span{})
			var have []float64
			for i, v := range got.Values {
				have = append(have, time.Unix(0, got.Times[i]).Sub(start).Seconds(), v)
			}
			if diff := gocmp.Diff(pairs, have); diff != "" {
				t.Error(diff)
			}
		}
		want(10, 1, 20, 2, 30, 4, 32440, 3)
		id, err := db.AddEvent(t.Context(), light.Event{Kind: light.ClockStepped, Data: ClockStep(1, 15*time.Second, 9*time.Hour)})
		if err != nil {
			t.Fatal(err)
		}
		want(20, 2, 30, 4, 32410, 1, 32440, 3)
		only := series(t, db, "a", light.Span{From: start.Add(9 * time.Hour), Until: start.Add(9*time.Hour + 20*time.Second)})
		if only.Len() != 1 || only.Values[0] != 1 {
			t.Errorf("the span holds %v", only.Values)
		}
		if r := db.Latest()["a"]; r.Value != 3 {
			t.Errorf("latest is %+v", r)
		}
		if _, err := db.AddEvent(t.Context(), light.Event{Kind: light.Withdrawn, Withdraws: id}); err != nil {
			t.Fatal(err)
		}
		want(10, 1, 20, 2, 30, 4, 32440, 3)
		if _, err := db.AddEvent(t.Context(), light.Event{Kind: light.ClockStepped, Data: []byte("?")}); err == nil {
			t.Error("a step that can't be read was taken")
		}
	}
}

// Groups dated by a clock that ran ahead don't hold up packing once it is set.
func TestPackAfterClockStep(t *testing.T) {
	t.Parallel()
	db := open(t)
	mustAppend(t, db, arrival("a", 9*time.Hour, 1))
	later := arrival("a", time.Minute, 2) // after the step, under the same boot number
	later.Uptime = 10 * time.Hour
	mustAppend(t, db, later)
	loose := func(want uint64) {
		t.Helper()
		if err := db.Pack(t.Context(), start.Add(time.Hour)); err != nil {
			t.Fatal(err)
		}
		if s, err := db.Stats(); err != nil || s.Loose != want {
			t.Errorf("%d readings are loose, want %d, %v", s.Loose, want, err)
		}
	}
	loose(2)
	if _, err := db.AddEvent(t.Context(), light.Event{Kind: light.ClockStepped, Data: ClockStep(1, 9*time.Hour+time.Second, -9*time.Hour)}); err != nil {
		t.Fatal(err)
	}
	loose(0)
}
