package ingest

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestListeningFindsNumbers(t *testing.T) {
	t.Parallel()
	h := &hands{now: noon}
	l, err := Listen(h.clock(), nil)
	if err != nil {
		t.Fatal(err)
	}
	who := &sender{}
	for i := range 4 {
		l.Take(Delivery{Topic: "rack/a", Payload: fmt.Appendf(nil, " %d.5\n", i)})
		l.Take(Delivery{
			Topic: "rack/b", From: who, ID: uint16(i),
			Payload: fmt.Appendf(nil, `{"light":{"ppfd":%d,"a/b":"7"},"wet":true,"name":"chip","at":%d,"list":[null,{"x":1}]}`, i, noon.Unix()),
		})
		l.Take(Delivery{Topic: "rack/c", Payload: fmt.Appendf(nil, `{"t":"2026-07-21T12:00:00Z","v":%d}`, i), Retained: i == 0})
		l.Take(Delivery{Topic: "rack/d", Payload: []byte("offline")})
		h.pass(10 * time.Second)
	}
	b := Found{Topic: "rack/b", Time: "/at", TimeFormat: Unix, Messages: 4, Every: 10 * time.Second}
	as := func(pointer, example string) Found {
		f := b
		f.Pointer, f.Example = pointer, example
		return f
	}
	want := []Found{
		{Topic: "rack/a", Example: "3.5", Messages: 4, Every: 10 * time.Second},
		as("/light/a~1b", "7"), as("/light/ppfd", "3"), as("/list/1/x", "1"), as("/wet", "true"),
		{Topic: "rack/c", Pointer: "/v", Example: "3", Time: "/t", TimeFormat: RFC3339, Messages: 3, Every: 10 * time.Second},
	}
	// /at comes before /light in the order of names, so it is the time.
	if diff := cmp.Diff(want, l.Found()); diff != "" {
		t.Error(diff)
	}
	if acked, _ := who.told(); len(acked) != 4 {
		t.Errorf("acknowledged %v", acked)
	}
	// Every pointer found must read the number that it was found with.
	for _, f := range l.Found() {
		if f.Pointer == "" {
			continue
		}
		if _, err := parsePointer(f.Pointer); err != nil {
			t.Error(err)
		}
	}
}

func TestListeningIsBounded(t *testing.T) {
	t.Parallel()
	l, err := Listen((&hands{now: noon}).clock(), nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := range maxTopics + 5 {
		l.Take(Delivery{Topic: fmt.Sprint(i), Payload: []byte("1")})
	}
	many := []byte("[")
	for range 500 {
		many = append(many, "1,"...)
	}
	l.Take(Delivery{Topic: "1", Payload: append(many, "1]"...)})
	if n := len(l.Found()); n > maxTopics+maxPointers || l.Dropped() != 5 {
		t.Errorf("%d found, %d dropped", n, l.Dropped())
	}
}

func FuzzListening(f *testing.F) {
	f.Add([]byte(`{"a":[1,"2",true,{"~/":3}]}`))
	f.Add([]byte("12"))
	f.Fuzz(func(t *testing.T, payload []byte) {
		for _, n := range numbersIn(payload) {
			if n.Pointer == "" {
				continue
			}
			tokens, err := parsePointer(n.Pointer)
			if err != nil {
				t.Fatal(err)
			}
			var root place
			root.add(tokens, 0)
			results := make([]result, 1)
			if err := scan(payload, &root, results); err != nil || results[0].form == absent {
				t.Fatalf("%q: nothing at %q, %v", payload, n.Pointer, err)
			}
		}
	})
}

// What a sensor of the trial takes is told with what is wrong about its time.
func TestListeningTellsOfMissingTimes(t *testing.T) {
	t.Parallel()
	l, err := Listen((&hands{now: noon}).clock(), []Feed{own(chip("a", "rack/a")), own(chip("b", "rack/b"))})
	if err != nil {
		t.Fatal(err)
	}
	l.Take(Delivery{Topic: "rack/a", Payload: []byte(`{"v":5,"w":6}`)})
	l.Take(Delivery{Topic: "rack/b", Payload: []byte(`{"at":"2026-07-21T12:00:00Z","v":5}`)})
	why := "its messages carry no time at /at (payload {\"v\":5,\"w\":6}): mend `time` of the sensor, or leave it out to take the time of arrival"
	want := []Found{
		{Topic: "rack/a", Pointer: "/v", Example: "5", Timeless: why, Messages: 1},
		{Topic: "rack/a", Pointer: "/w", Example: "6", Messages: 1},
		{Topic: "rack/b", Pointer: "/v", Example: "5", Time: "/at", TimeFormat: RFC3339, Messages: 1},
	}
	if diff := cmp.Diff(want, l.Found()); diff != "" {
		t.Error(diff)
	}
}
