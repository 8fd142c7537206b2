package ingest

import (
	"math"
	"testing"
	"time"

	"parstead/light"
)

// Decimal comma or point, and a unit behind the number with a space between (SI
// Brochure, 9th edition, 5.4.3 and 5.4.4), or none as many chips write it.
func TestNumbersWithAUnitOrAComma(t *testing.T) {
	t.Parallel()
	lx, comma := NumberForm{Suffix: "lx"}, NumberForm{Decimal: ","}
	both := NumberForm{Suffix: "°C", Decimal: ","}
	for _, c := range []struct {
		text string
		form NumberForm
		want float64 // NaN: refused
		says error
	}{
		{"8000 lx", lx, 8000, nil},
		{" 8000lx ", lx, 8000, nil},
		{"8000", lx, 8000, nil},
		{"-0.5 lx", lx, -0.5, nil},
		{"8 klx", lx, math.NaN(), errOtherUnit},
		{"8000 LX", lx, math.NaN(), errOtherUnit},
		{"8000,5 lx", lx, math.NaN(), errOtherMark},
		{"lx", lx, math.NaN(), errNoNumber},
		{"23,4", comma, 23.4, nil},
		{"-23,4e1", comma, -234, nil},
		{"23", comma, 23, nil},
		{"23.4", comma, math.NaN(), errOtherMark},
		{"1.023,4", comma, math.NaN(), errNoNumber},
		{"23,4 °C", comma, math.NaN(), errOtherUnit},
		{"23,4 °C", both, 23.4, nil},
		{"23,4°C", both, 23.4, nil},
		{"23,4 °F", both, math.NaN(), errOtherUnit},
		{"23.4 °C", both, math.NaN(), errOtherMark},
		{"8000 lx", NumberForm{}, math.NaN(), errOtherUnit},
		{"23,4", NumberForm{}, math.NaN(), errOtherMark},
	} {
		for _, r := range []result{{formPlain, []byte(c.text)}, {formString, []byte(`"` + c.text + `"`)}} {
			got, err := r.value(light.QuantityLux, c.form)
			if math.IsNaN(c.want) != (err != nil) || err == nil && got != c.want || err != c.says { //nolint:errorlint // the very error is meant
				t.Errorf("%q as %+v: got %v, %v, want %v, %v", c.text, c.form, got, err, c.want, c.says)
			}
		}
	}
	// A number of JSON is one, whatever the form says of text.
	if got, err := (result{formNumber, []byte("23.4")}).value(light.QuantityTemperature, both); err != nil || got != 23.4 {
		t.Errorf("%v, %v", got, err)
	}
}

// What a stranger's text is taken for, and that the form taken for it reads it.
func TestFormsOfNumbers(t *testing.T) {
	t.Parallel()
	for text, needs := range map[string]string{
		"23,4":            `decimal_mark = ","`,
		"8000 lx":         `suffix = "lx"`,
		"45%":             `suffix = "%"`,
		"23,4 °C":         `suffix = "°C" and decimal_mark = ","`,
		"85.5 µmol/m²/s":  `suffix = "µmol/m²/s"`,
		"85 µmol m-2 s-1": `suffix = "µmol m-2 s-1"`,
		"85.5":            "",
	} {
		f, ok := formOf(text)
		if !ok || f.Needs() != needs {
			t.Errorf("%q: %+v, %v", text, f, ok)
		}
		if _, err := parseText(text, light.QuantityPPFD, f); err != nil {
			t.Errorf("%q as %+v: %v", text, f, err)
		}
	}
	for _, text := range []string{"", "on", "1.234,5", "12:30", "2026-07-21", "1.2.3", "192.168.1.7", "0x1f", "3 4", "lx 8000", "21/07/2026"} {
		if f, ok := formOf(text); ok && f.Suffix != "x1f" {
			t.Errorf("%q is taken for a number: %+v", text, f)
		}
	}
}

// The hour that clocks show twice: Lisbon put them back on 2025-10-26 at 01:00 UTC,
// from 02:00 to 01:00, and forward on 2026-03-29 at 01:00 UTC (IANA time zone
// database).
func TestLocalTimesOfASensor(t *testing.T) {
	t.Parallel()
	h := &hands{now: time.Date(2025, 10, 25, 23, 30, 0, 0, time.UTC)}
	feed := own(chip("a", "a"))
	feed.TimeFormat, feed.Zone = Local, lisbon(t)
	sink := &memory{}
	in, _ := prepare(t, sink, h.clock(), feed)
	take := func(after time.Duration, clock string) {
		h.pass(after)
		in.Take(Delivery{Topic: "a", Payload: []byte(`{"v":1,"at":"2025-10-26T` + clock + `"}`)})
	}
	take(0, "00:30:00")
	take(time.Hour, "01:30:00")        // first passage
	take(time.Second, "01:29:50")      // out of order: the second passage is still to come
	take(59*time.Minute, "01:29:51")   // the second passage
	take(30*time.Minute, "01:59:30.5") // and on
	take(30*time.Second, "2")          // no time: stored, not used
	take(time.Minute, "02:01:00")      // once only
	h.set(time.Date(2026, 3, 29, 3, 0, 0, 0, time.UTC).Sub(h.now))
	in.Take(Delivery{Topic: "a", Payload: []byte(`{"v":1,"at":"2026-03-29 01:30"}`)}) // no clock shows it
	finish(t, in)
	var got []string
	for _, r := range sink.all() {
		if r.Mark == light.OwnTime {
			got = append(got, r.At.Format("02 15:04:05.0"))
		} else {
			got = append(got, "-")
		}
	}
	want := []string{"25 23:30:00.0", "26 00:30:00.0", "26 00:29:50.0", "26 01:29:51.0", "26 01:59:30.5", "-", "26 02:01:00.0", "-"}
	if len(got) != len(want) {
		t.Fatalf("got %v", got)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("reading %d: %s, want %s", i, got[i], want[i])
		}
	}
}
