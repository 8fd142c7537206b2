package field_test

import (
	"math"
	"slices"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"parstead/light"
	"parstead/light/field"
)

// Kept maps are what Maps makes, also after anything that they depend on has
// changed; what has not changed is not made again.
func TestKeptMapsFollowWhatTheyAreMadeOf(t *testing.T) {
	t.Parallel()
	survey := walk(10, 100, 80, 100, 90, 95, 110, 85)
	changed := func(change func(*field.Reading)) []field.Reading {
		s := slices.Clone(survey)
		change(&s[2])
		return s
	}
	wide := bin
	wide.PitchColumns, wide.PitchRows = 9, 6
	centre, corner := one(field.Anchor{Position: place(1, 2), Weight: 400}), one(field.Anchor{Position: place(2, 3), Weight: 400})
	whole, late := []light.Span{{}}, []light.Span{{From: at(9)}}
	cases := []struct {
		name   string
		bin    light.Bin
		survey []field.Reading
		epochs []light.Span
		moved  bool
	}{
		{"first", bin, survey, whole, false},
		{"the same", bin, survey, whole, false},
		{"value", bin, changed(func(r *field.Reading) { r.PPFD = 120 }), whole, false},
		{"reference", bin, changed(func(r *field.Reading) { r.Reference = 90 }), whole, false},
		{"no reference", bin, changed(func(r *field.Reading) { r.Reference = math.NaN() }), whole, false},
		{"place", bin, changed(func(r *field.Reading) { r.Position = place(1, 1) }), whole, false},
		{"meter", bin, changed(func(r *field.Reading) { r.Meter = "another" }), whole, false},
		{"one fewer", bin, survey[:5], whole, false},
		{"epoch", bin, survey, late, false},
		{"sensor moved", bin, survey, whole, true},
		{"pitch", wide, survey, whole, false},
		{"shows nothing", bin, survey[:1], whole, false},
		{"as at first", bin, survey, whole, false},
	}
	var kept field.Kept
	for _, c := range cases {
		anchors := centre
		if c.moved {
			anchors = corner
		}
		want, told := field.Maps(c.bin, c.survey, c.epochs, anchors)
		for range 2 {
			got, remarks := kept.Maps(c.bin, c.survey, c.epochs, anchors)
			if diff := cmp.Diff(want, got, cmpopts.EquateNaNs()); diff != "" {
				t.Errorf("%s (-want +got):\n%s", c.name, diff)
			}
			if diff := cmp.Diff(told, remarks); diff != "" {
				t.Errorf("%s, remarks (-want +got):\n%s", c.name, diff)
			}
		}
		a, _ := kept.Maps(c.bin, c.survey, c.epochs, anchors)
		b, _ := kept.Maps(c.bin, c.survey, c.epochs, anchors)
		if len(a) > 0 && &a[0].Ratio[0] != &b[0].Ratio[0] {
			t.Errorf("%s: made twice", c.name)
		}
	}
	var together sync.WaitGroup
	for i := range 4 {
		together.Go(func() { kept.Maps(bin, survey[:6-i], whole, centre) })
	}
	together.Wait()
}
