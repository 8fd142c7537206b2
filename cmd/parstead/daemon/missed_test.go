package daemon

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
	"parstead/ingest"
	"parstead/light"
)

// minutes is a series of readings at these minutes after midday.
func minutes(of ...int) *light.Series {
	s := &light.Series{}
	for _, m := range of {
		s.Add(racktest.Midday.Add(time.Duration(m)*time.Minute), 100, light.OwnTime)
	}
	return s
}

// from lists whole numbers.
func from(first, last int) (list []int) {
	for ; first <= last; first++ {
		list = append(list, first)
	}
	return list
}

// What a broker let go of shows in sensors with their own time alone, and only where
// it kept something of that stretch: away from minute 10 to 70, judged at 80.
func TestWhatABrokerDidNotKeep(t *testing.T) {
	t.Parallel()
	at := func(minute int) time.Time { return racktest.Midday.Add(time.Duration(minute) * time.Minute) }
	away := light.Span{From: at(10), Until: at(70)}
	whole, oldest, newest := from(0, 80), append(from(0, 40), from(70, 80)...), append(from(0, 10), from(50, 80)...)
	nothing := append(from(0, 10), from(70, 80)...)
	for name, c := range map[string]struct {
		readings map[string]*light.Series
		want     string // the sensors that lack readings, from and until when, and how many were kept
	}{
		"all was kept":                    {map[string]*light.Series{"a": minutes(whole...), "b": minutes(whole...)}, ""},
		"the oldest were kept":            {map[string]*light.Series{"a": minutes(oldest...), "b": minutes(oldest...)}, "[a b] 40 to 70 of 60"},
		"the newest were kept":            {map[string]*light.Series{"a": minutes(newest...), "b": minutes(whole...)}, "[a] 10 to 50 of 79"},
		"the broker was not there at all": {map[string]*light.Series{"a": minutes(nothing...), "b": minutes(nothing...)}, ""},
		"a sensor that was silent before": {map[string]*light.Series{"a": minutes(whole...), "b": minutes(from(60, 80)...)}, ""},
		"a sensor that fell silent":       {map[string]*light.Series{"a": minutes(whole...), "b": minutes(from(0, 9)...)}, ""},
		"a sensor that was silent long":   {map[string]*light.Series{"a": minutes(whole...), "b": minutes(append([]int{-50}, from(72, 80)...)...)}, ""},
		"two readings that were lost":     {map[string]*light.Series{"a": minutes(append(from(0, 20), from(23, 80)...)...), "b": minutes(whole...)}, ""},
	} {
		sensors := []light.Sensor{{Name: "a", Every: time.Minute}, {Name: "b", Every: time.Minute}}
		m, err := missedBy(t.Context(), &light.Memory{Readings: c.readings}, sensors, away, at(80))
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		if says := m.says(time.UTC); says != "" {
			got = fmt.Sprintf("%v %.0f to %.0f of %d", m.sensors, m.during.From.Sub(racktest.Midday).Minutes(), m.during.Until.Sub(racktest.Midday).Minutes(), m.kept)
		}
		if got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}

// A broker that has forgotten the session kept nothing, which it says itself.
func TestABrokerThatForgotIsTold(t *testing.T) {
	t.Parallel()
	var l link
	at := func(minutes int) time.Time { return racktest.Midday.Add(time.Duration(minutes) * time.Minute) }
	l.note(ingest.State{Err: os.ErrClosed}, at(0))
	l.note(ingest.State{Connected: true, Forgot: true}, at(5))
	c, ok := l.condition("tcp://host", at(6))
	if !ok || !strings.Contains(c.Says, "forgotten this trial: what it took") {
		t.Errorf("%v, %+v", ok, c)
	}
	if _, due := l.due(at(30)); due {
		t.Error("what was not kept at all is looked for")
	}
}

// A broker whose queue overflows while the daemon is stopped, and a sensor that sends
// its own time: told on the page and in the log.
func TestAnOverflownQueueIsTold(t *testing.T) {
	t.Parallel()
	b, clock := racktest.NewForeignBroker(t, 10), racktest.NewClock(racktest.Midday)
	dir := foreignTrial(t, b.Address, "")
	file := filepath.Join(dir, "trial.toml")
	text, err := os.ReadFile(file)
	if err == nil {
		err = os.WriteFile(file, []byte(strings.ReplaceAll(string(text), `topic = "rack/upper"`, "topic = \"rack/upper\"\nvalue = \"/v\"\ntime = \"/at\"")), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	minute := 0
	chip := racktest.Client(t, b.Address, "chip")
	send := func(n int) {
		for range n {
			clock.Move(time.Minute)
			minute++
			token := chip.Publish("rack/upper", 1, false, fmt.Sprintf(`{"v":%d,"at":%q}`, 100+minute, clock.At().UTC().Format(time.RFC3339)))
			if !token.WaitTimeout(time.Minute) || token.Error() != nil {
				t.Fatal(token.Error())
			}
		}
	}
	r := watchForeign(t, dir, Options{Clock: clock.Ingest()})
	stored := func() {
		racktest.Eventually(t, "the last reading is stored", func() bool { return r.db.Latest()["upper"].Value == float64(100+minute) })
	}
	send(5)
	stored()
	if err := r.Stop(); err != nil {
		t.Fatal(err)
	}
	send(90)
	r = watchForeign(t, dir, Options{Clock: clock.Ingest()})
	send(4)
	stored() // and all that was kept before
	clock.Move(2 * time.Minute)
	c, ok := r.linkCondition(clock.At())
	if !ok || !strings.Contains(c.Says, "but none of upper from ") || !strings.Contains(c.Says, "most likely its queue was full") || !strings.Contains(c.Do, "keep more messages") {
		t.Errorf("%v, %+v", ok, c)
	}
	if last := lastEntry(t, r); !strings.Contains(last.Text, "most likely its queue was full") {
		t.Errorf("the log ends with %+v", last)
	}
	if err := r.Stop(); err != nil {
		t.Error(err)
	}
}

// lastEntry is the end of the daemon's log.
func lastEntry(t *testing.T, r *Running) light.Event {
	t.Helper()
	view, err := r.db.View()
	if err != nil {
		t.Fatal(err)
	}
	defer view.Close() //nolint:errcheck // it only read
	log, err := view.Events(t.Context())
	if err != nil || len(log) == 0 {
		t.Fatalf("%d entries, %v", len(log), err)
	}
	return log[len(log)-1]
}
