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
		{Topic: "rack/d", Example: "offline", NoNumber: true, Wrong: "no number in it", Messages: 4, Every: 10 * time.Second},
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
		{Topic: "rack/a", Pointer: "/v", Example: "5", Wrong: why, Messages: 1},
		{Topic: "rack/a", Pointer: "/w", Example: "6", Messages: 1},
		{Topic: "rack/b", Pointer: "/v", Example: "5", Time: "/at", TimeFormat: RFC3339, Messages: 1},
	}
	if diff := cmp.Diff(want, l.Found()); diff != "" {
		t.Error(diff)
	}
}

// Whatever arrives is noted: numbers that are text, and payloads without any.
func TestListeningTellsOfWhatIsNoNumber(t *testing.T) {
	t.Parallel()
	l, err := Listen((&hands{now: noon}).clock(), nil)
	if err != nil {
		t.Fatal(err)
	}
	for topic, payload := range map[string]string{
		"a": "23,4", "b": "8000 lx", "c": `{"l":"8000 lx","at":"2026-07-21T12:00:00"}`, "d": "", "e": "\xff\x00", "f": `{"state":"on"}`,
		"g": `{"rack 1":{"light.lx":{"a/b ":5}}}`,
	} {
		l.Take(Delivery{Topic: topic, Payload: []byte(payload), Retained: topic == "d"})
	}
	want := []Found{
		{Topic: "a", Example: "23,4", Form: NumberForm{Decimal: ","}, Messages: 1},
		{Topic: "b", Example: "8000 lx", Form: NumberForm{Suffix: "lx"}, Messages: 1},
		{Topic: "c", Pointer: "/l", Example: "8000 lx", Form: NumberForm{Suffix: "lx"}, Time: "/at", TimeFormat: Local, Messages: 1},
		{Topic: "d", NoNumber: true, Wrong: "an empty message"},
		{Topic: "e", Example: "?\x00", NoNumber: true, Wrong: "no number in it", Messages: 1},
		{Topic: "f", Example: `{"state":"on"}`, NoNumber: true, Wrong: "no number in it", Messages: 1},
		{Topic: "g", Pointer: "/rack 1/light.lx/a~1b ", Example: "5", Messages: 1},
	}
	if diff := cmp.Diff(want, l.Found()); diff != "" {
		t.Error(diff)
	}
	// A number that comes after all takes the place of what was none.
	l.Take(Delivery{Topic: "f", Payload: []byte("5")})
	l.Take(Delivery{Topic: "f", Payload: []byte("gone")})
	if got := l.Found()[5]; got.Example != "5" || got.NoNumber || got.Messages != 3 {
		t.Errorf("%+v", got)
	}
}

// What a sensor of the trial can't read is told with the mend.
func TestListeningTellsWhatSensorsCantRead(t *testing.T) {
	t.Parallel()
	lx := chip("unit", "unit")
	lx.Number.Suffix = "lx"
	at := chip("at", "at")
	at.Value = "/light/v"
	l, err := Listen((&hands{now: noon}).clock(), []Feed{lx, at, chip("comma", "comma"), chip("bare", "bare")})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ topic, payload, pointer, wrong string }{
		{"unit", `8000 lx`, "", ""},
		{"unit", `8 klx`, "", `a number with something behind it that is not the sensor's suffix: let the sensor have suffix = "klx"`},
		{"comma", `23,4`, "", `a number with another decimal mark than the sensor's: let the sensor have decimal_mark = ","`},
		{"bare", `off`, "", "no finite number: the sensor has to send one"},
		{"at", `{"light":{"v":5}}`, "/light/v", ""},
		{"at", `{"light":{"v":{"x":5}}}`, "/light/v", "no finite number at /light/v: let `value` of the sensor lead to a number in it"},
		{"at", `{"v":5}`, "/light/v", "nothing stands at /light/v: mend `value` of the sensor"},
		{"at", `5`, "/light/v", "nothing stands at /light/v: mend `value` of the sensor"},
		{"at", `five`, "/light/v", "not JSON at byte 0: no value begins like this: the sensor has to send JSON with a number at /light/v, or `value` of the sensor is to be mended"},
	} {
		l.Take(Delivery{Topic: c.topic, Payload: []byte(c.payload)})
		found := false
		for _, f := range l.Found() {
			if f.Topic == c.topic && f.Pointer == c.pointer {
				found = true
				if f.Wrong != c.wrong || f.NoNumber {
					t.Errorf("%s %q: %+v", c.topic, c.payload, f)
				}
			}
		}
		if !found {
			t.Errorf("%s %q is not told of", c.topic, c.payload)
		}
	}
}
