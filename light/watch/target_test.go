package watch

import (
	"context"
	"strings"
	"testing"
	"time"

	"parstead/light"
)

// A bin's days are given as shares of its target; − stands for a day that is not
// known as a whole. Three days running, to one side or the other, are told, since
// the first of them; the threshold is the contract's default of 10 %.
func TestOffTarget(t *testing.T) {
	t.Parallel()
	const unknown = -1
	for name, c := range map[string]struct {
		days  []float64
		since int    // index of the day; -1: nothing is told
		says  string // part of it
	}{
		"on target":                   {[]float64{1, 0.95, 1.05, 1.09, 0.91}, -1, ""},
		"two days short":              {[]float64{1, 1, 1, 0.7, 0.7}, -1, ""},
		"three days short":            {[]float64{1, 1, 0.72, 0.7, 0.72}, 2, "Bin upper is short of light: 72 % of what is meant, 3.6 of 5.0 mol m⁻² a day."},
		"short from the start":        {[]float64{0.7, 0.7, 0.7, 0.7, 0.7}, 0, "70 %"},
		"too much":                    {[]float64{1, 1, 1.2, 1.3, 1.25}, 2, "Bin upper gets too much light: 125 %"},
		"to both sides":               {[]float64{1, 1, 0.8, 1.3, 0.75}, 2, "75 %"},
		"back yesterday":              {[]float64{0.7, 0.7, 0.7, 0.7, 1}, -1, ""},
		"a good day between":          {[]float64{0.7, 0.7, 1, 0.7, 0.7}, -1, ""},
		"an unknown day between":      {[]float64{1, 0.7, unknown, 0.7, 0.7}, 1, "70 %"},
		"an unknown day at the end":   {[]float64{1, 0.7, 0.7, 0.7, unknown}, 1, "70 %"},
		"nothing known for four days": {[]float64{0.7, 0.7, 0.7, unknown, unknown, unknown, unknown}, -1, ""},
	} {
		rig := newRig(t, 30)
		rig.rack.OffTarget = 0.10
		bin := light.Bin{Name: "upper", Rows: 1, Columns: 1, TargetDLI: 5, Lamps: []string{"bar"}}
		var days []BinDay
		for i, share := range c.days {
			days = append(days, BinDay{Date: rig.rack.Starts.Add(i), Known: share != unknown, Mean: light.DLI(5 * share)})
		}
		now := rig.rack.Day(rig.rack.Starts.Add(len(days))).From.Add(9 * time.Hour)
		found := New(&rig.rack).offTarget(bin, days, now)
		if c.since < 0 {
			if len(found) > 0 {
				t.Errorf("%s: %+v", name, found)
			}
			continue
		}
		if len(found) != 1 || found[0].Kind != OffTarget || found[0].Bin != "upper" || !found[0].Since.Equal(rig.rack.Day(rig.rack.Starts.Add(c.since)).From) ||
			!strings.Contains(found[0].Says, c.says) || !strings.HasPrefix(found[0].Do, "Switch off at the plug") {
			t.Errorf("%s: %+v", name, found)
		}
	}
}

// On a windowsill there is no plug to pull and no lamp to wipe.
func TestWhatToDoOffTargetByDaylight(t *testing.T) {
	t.Parallel()
	rig := newRig(t, 30)
	rig.rack.Lamps = append(rig.rack.Lamps, light.Lamp{Name: "sun", LuxPerPPFD: 54, Daylight: true})
	for _, lamps := range [][]string{nil, {"sun"}} {
		bin := light.Bin{Name: "sill", TargetDLI: 5, Lamps: lamps}
		for got, want := range map[light.DLI]string{
			1.5: "Clean the glass, move the bin nearer to it, or hang a lamp over it; log what you do. If 1.5 is meant, write that as the bin's target_dli.",
			9.0: "Hang a thin white curtain, or move the bin away from the glass; log what you do. If 9.0 is meant, write that as the bin's target_dli.",
		} {
			if do := New(&rig.rack).offTargetDo(bin, BinDay{Date: rig.rack.Starts, Known: true, Mean: got}); do != want {
				t.Errorf("%v of %v: %s", got, lamps, do)
			}
		}
	}
}

// What to do names the hours that would bring the light back, where a day has
// them: 14 h at 70 % are 20 h at 100 %.
func TestWhatToDoOffTarget(t *testing.T) {
	t.Parallel()
	rig := newRig(t, 30)
	bin := light.Bin{Name: "upper", TargetDLI: 5, Lamps: []string{"bar"}}
	for got, want := range map[light.DLI]string{
		3.5: "Then wipe the lamp or hang it lower, or let it burn 20 h a day, not 14; log what you do. If 3.5 is meant, write that as the bin's target_dli.",
		2.5: "Then wipe the lamp or hang it lower; log what you do. If 2.5 is meant, write that as the bin's target_dli.", // 28 h
		7.0: "Then hang the lamp higher, or let it burn 10 h a day, not 14; log what you do. If 7.0 is meant, write that as the bin's target_dli.",
	} {
		do := New(&rig.rack).offTargetDo(bin, BinDay{Date: rig.rack.Starts, Known: true, Mean: got})
		if do != unplug+want {
			t.Errorf("%v: %s", got, do)
		}
	}
}

// A day of which part is not known is not held against the target, a bin without
// one never, and the log can mute it like any other condition.
func TestOffTargetIsMutedAndSkipped(t *testing.T) {
	t.Parallel()
	rig := newRig(t, 8)
	rig.rack.OffTarget = 0.10
	rig.rack.Bins[0].TargetDLI = 5
	rig.play()
	var days []BinDay
	for i := range 5 {
		days = append(days, BinDay{Date: rig.rack.Starts.Add(i), Known: true, Mean: 3})
	}
	now := rig.at(5, 9)
	holds := func() bool {
		w := New(&rig.rack)
		w.Finished = func(string) []BinDay { return days }
		found, err := w.At(context.Background(), &rig.memory, now)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for _, c := range found {
			if c.Kind == OffTarget {
				n++
			}
		}
		return n == 1 // of three bins the one with a target
	}
	if !holds() {
		t.Error("a bin at three fifths of its target is not told")
	}
	rig.memory.Log = []light.Event{{ID: 1, At: now, Kind: light.Mute, Bin: "upper", Text: "off_target seedlings under a cloth", During: light.Span{From: now.Add(-time.Hour)}}}
	if holds() {
		t.Error("a mute does not silence it")
	}
	rig.memory.Log = nil
	for i := range days {
		days[i].Missing = 0.2
	}
	if holds() {
		t.Error("days of which a fifth is not known are held against the target")
	}
}
