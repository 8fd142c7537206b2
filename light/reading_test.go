package light_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"parstead/light"
)

func TestSeriesSortKeepsColumnsTogether(t *testing.T) {
	t.Parallel()
	at := func(s int64) time.Time { return time.Unix(s, 0) }
	var s light.Series
	s.Add(at(3), 30, light.OwnTime)
	s.Add(at(1), 10, 0)
	s.Add(at(3), 31, light.Conflict)
	s.Add(at(2), 20, light.Untimed)
	s.Sort()
	want := light.Series{
		Times:  []int64{1e9, 2e9, 3e9, 3e9},
		Values: []float64{10, 20, 30, 31},
		Marks:  []light.Mark{0, light.Untimed, 0, light.Conflict}, // OwnTime alone is not kept apart
	}
	if diff := cmp.Diff(want, s); diff != "" {
		t.Error(diff)
	}
}

func TestMemorySeries(t *testing.T) {
	t.Parallel()
	var a light.Series
	for i := range int64(5) {
		a.Add(time.Unix(i, 0), float64(i), 0)
	}
	m := &light.Memory{Readings: map[string]*light.Series{"a": &a}}
	var got light.Series
	got.Add(time.Unix(-1, 0), -1, light.Stale)
	span := light.Span{From: time.Unix(1, 0), Until: time.Unix(3, 0)}
	if err := m.Series(t.Context(), "a", span, &got); err != nil {
		t.Fatal(err)
	}
	if err := m.Series(t.Context(), "nobody", light.Span{}, &got); err != nil {
		t.Fatal(err)
	}
	want := light.Series{Times: []int64{-1e9, 1e9, 2e9}, Values: []float64{-1, 1, 2}, Marks: []light.Mark{light.Stale, 0, 0}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}
