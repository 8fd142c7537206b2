package ingest

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"parstead/light"
)

var quiet = slog.New(slog.DiscardHandler)

// memory is a sink that tells fates as a store does.
type memory struct {
	mu     sync.Mutex
	groups [][]light.Reading
	fail   error
	gate   chan struct{} // where set, each Append takes one from it
}

func (m *memory) Append(ctx context.Context, group []light.Reading) ([]light.Fate, error) {
	if m.gate != nil {
		select {
		case <-m.gate:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail != nil {
		return nil, m.fail
	}
	type key struct {
		sensor string
		at     int64
	}
	seen := map[key][]float64{}
	for _, g := range m.groups {
		for _, r := range g {
			if r.Mark&light.OwnTime != 0 {
				k := key{r.Sensor, r.At.UnixNano()}
				seen[k] = append(seen[k], r.Value)
			}
		}
	}
	fates := make([]light.Fate, len(group))
	var kept []light.Reading
	for i, r := range group {
		if r.Mark&light.OwnTime != 0 {
			k := key{r.Sensor, r.At.UnixNano()}
			switch values := seen[k]; {
			case slices.Contains(values, r.Value):
				fates[i] = light.Duplicate
				continue
			case len(values) > 0:
				fates[i] = light.Conflicting
			}
			seen[k] = append(seen[k], r.Value)
		}
		kept = append(kept, r)
	}
	m.groups = append(m.groups, kept)
	return fates, nil
}

func (m *memory) setFail(err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.fail = err
}

func (m *memory) all() []light.Reading {
	m.mu.Lock()
	defer m.mu.Unlock()
	return slices.Concat(m.groups...)
}

func (m *memory) commits() int {
	m.mu.Lock()
	defer m.mu.Unlock()
	return len(m.groups)
}

// sender is a publisher that notes what it is told.
type sender struct {
	mu    sync.Mutex
	acked []uint16
	errs  []error
}

func (s *sender) Acknowledge(ids []uint16) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.acked = append(s.acked, ids...)
}

func (s *sender) Drop(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.errs = append(s.errs, err)
}

func (s *sender) told() ([]uint16, []error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.acked), slices.Clone(s.errs)
}

// hands is a clock that a test sets.
type hands struct {
	mu     sync.Mutex
	now    time.Time
	uptime time.Duration
}

func (h *hands) clock() Clock {
	return Clock{
		Now:    func() time.Time { h.mu.Lock(); defer h.mu.Unlock(); return h.now },
		Uptime: func() time.Duration { h.mu.Lock(); defer h.mu.Unlock(); return h.uptime },
	}
}

func (h *hands) pass(d time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.now, h.uptime = h.now.Add(d), h.uptime+d
}

func (h *hands) set(by time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.now = h.now.Add(by)
}

var noon = time.Date(2026, 7, 21, 12, 0, 0, 0, time.UTC)

func chip(name, topic string) Feed {
	return Feed{Topic: topic, Sensor: light.Sensor{
		Name: name, Measures: light.QuantityLux, Every: time.Minute, Scale: 1, High: 150000,
	}}
}

func own(f Feed) Feed {
	f.Value, f.Time, f.TimeFormat = "/v", "/at", RFC3339
	return f
}

// prepare makes an intake that lingers nowhere.
func prepare(tb testing.TB, sink Sink, clock Clock, feeds ...Feed) (*Intake, *prometheus.Registry) {
	tb.Helper()
	reg := prometheus.NewPedanticRegistry()
	in, err := New(Config{
		Sink: sink, Feeds: feeds, Starts: noon, Clock: clock, Boot: 7, Log: quiet,
		Register: reg, Linger: -1, LingerWaited: -1,
	})
	if err != nil {
		tb.Fatal(err)
	}
	return in, reg
}

// finish runs the intake until what was queued is committed.
func finish(tb testing.TB, in *Intake) {
	tb.Helper()
	ctx, cancel := context.WithCancel(tb.Context())
	cancel()
	if err := in.Run(ctx); err != nil {
		tb.Fatal(err)
	}
}

func TestReadingsOfOnePayload(t *testing.T) {
	t.Parallel()
	h := &hands{now: noon.Add(300 * time.Millisecond), uptime: 90*time.Second + 1}
	sink := &memory{}
	ppfd, celsius, wet := chip("light", "rack/upper"), chip("air", "rack/upper"), chip("float", "rack/upper")
	ppfd.Value, ppfd.Time, ppfd.TimeFormat = "/light/ppfd", "/at", Unix
	celsius.Value = "/celsius"
	wet.Value, wet.Sensor.Measures, wet.Sensor.High = "/wet", light.QuantityWet, 1
	in, _ := prepare(t, sink, h.clock(), ppfd, celsius, wet)
	payload := fmt.Sprintf(`{"light":{"ppfd":85.25},"celsius":"21.5","wet":true,"at":%d.5}`, noon.Unix()-60)
	in.Take(Delivery{Topic: "rack/upper", Payload: []byte(payload)})
	finish(t, in)
	want := []light.Reading{
		{Sensor: "light", At: noon.Add(-59500 * time.Millisecond), Value: 85.25, Mark: light.OwnTime, Arrived: noon, Boot: 7, Uptime: 90 * time.Second},
		{Sensor: "air", At: noon, Value: 21.5, Arrived: noon, Boot: 7, Uptime: 90 * time.Second},
		{Sensor: "float", At: noon, Value: 1, Arrived: noon, Boot: 7, Uptime: 90 * time.Second},
	}
	if diff := cmp.Diff(want, sink.all()); diff != "" {
		t.Error(diff)
	}
}

// byNoon is a time before or after noon, as a sensor sends it.
func byNoon(d time.Duration) string { return noon.Add(d).Format(time.RFC3339) }

var aYearBefore = noon.AddDate(-1, 0, 0).Sub(noon)

// judged are payloads of a sensor and what becomes of them.
var judged = []struct {
	name     string
	own      bool
	retained bool
	payloads []string
	stored   int
	mark     light.Mark // of the last one stored
	rejected string
	setAside string
}{
	{name: "bare number", payloads: []string{"5"}, stored: 1},
	{name: "no number", payloads: []string{"five"}, rejected: NoNumber},
	{name: "not finite", payloads: []string{"1e400"}, rejected: NoNumber},
	{name: "broken JSON", own: true, payloads: []string{`{"v":5,"at":`}, rejected: NoNumber},
	{name: "null", own: true, payloads: []string{`{"v":null}`}, rejected: NoNumber},
	{name: "nothing there", own: true, payloads: []string{`{"w":5}`}, rejected: NoNumber},
	{name: "own time", own: true, payloads: []string{`{"v":5,"at":"` + byNoon(-time.Hour) + `"}`}, stored: 1, mark: light.OwnTime},
	{name: "five minutes ahead", own: true, payloads: []string{`{"v":5,"at":"` + byNoon(5*time.Minute) + `"}`}, stored: 1, mark: light.OwnTime},
	{name: "more than five minutes ahead", own: true, payloads: []string{`{"v":5,"at":"` + byNoon(5*time.Minute+time.Second) + `"}`}, rejected: ImpossibleTime},
	{name: "a year before the trial", own: true, payloads: []string{`{"v":5,"at":"` + byNoon(aYearBefore) + `"}`}, stored: 1, mark: light.OwnTime},
	{name: "more than a year before", own: true, payloads: []string{`{"v":5,"at":"` + byNoon(aYearBefore-time.Second) + `"}`}, rejected: ImpossibleTime},
	{name: "a time that can't be read", own: true, payloads: []string{`{"v":5,"at":"noon"}`}, stored: 1, mark: light.Untimed, setAside: Untimed},
	{name: "a time left out", own: true, payloads: []string{`{"v":5}`}, stored: 1, mark: light.Untimed, setAside: Untimed},
	{name: "duplicate", own: true, payloads: []string{`{"v":5,"at":"` + byNoon(0) + `"}`, `{"at":"` + byNoon(0) + `","v":5.0}`}, stored: 1, mark: light.OwnTime, rejected: Duplicate},
	{name: "conflict", own: true, payloads: []string{`{"v":5,"at":"` + byNoon(0) + `"}`, `{"v":6,"at":"` + byNoon(0) + `"}`}, stored: 2, mark: light.OwnTime, setAside: Conflict},
	{name: "arrivals in one second", payloads: []string{"5", "5"}, stored: 2},
	{name: "retained", retained: true, payloads: []string{"5"}, stored: 1, mark: light.Stale, setAside: Stale},
	{name: "retained with own time", own: true, retained: true, payloads: []string{`{"v":5,"at":"` + byNoon(0) + `"}`}, stored: 1, mark: light.OwnTime},
	{name: "above valid", payloads: []string{"150001"}, stored: 1, setAside: OutsideValid},
	{name: "an offset in the dark", payloads: []string{"-0.1"}, stored: 1},
	{name: "below valid", payloads: []string{"-500"}, stored: 1, setAside: OutsideValid},
	{name: "minus one", payloads: []string{"-1"}, stored: 1, setAside: Saturated},
	{name: "converter's ceiling", payloads: []string{"65535"}, stored: 1, setAside: Saturated},
}

func TestJudging(t *testing.T) {
	t.Parallel()
	for _, c := range judged {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			sink := &memory{}
			feed := chip("s", "t")
			if c.own {
				feed = own(feed)
			}
			h := &hands{now: noon}
			in, reg := prepare(t, sink, h.clock(), feed)
			var shown []light.Reading
			in.OnStored = func(r light.Reading) { shown = append(shown, r) }
			for _, p := range c.payloads {
				in.Take(Delivery{Topic: "t", Payload: []byte(p), Retained: c.retained})
			}
			finish(t, in)
			got := sink.all()
			if len(got) != c.stored || len(shown) != c.stored {
				t.Fatalf("%d stored and %d shown, want %d: %+v", len(got), len(shown), c.stored, got)
			}
			if c.stored > 0 && got[len(got)-1].Mark != c.mark {
				t.Errorf("mark %b, want %b", got[len(got)-1].Mark, c.mark)
			}
			if c.setAside == Conflict && shown[1].Mark&light.Conflict == 0 {
				t.Error("a conflict was shown without its mark")
			}
			check := func(name, reason string) {
				for of, n := range counted(t, reg, name, "s") {
					if want := map[bool]float64{true: 1}[of == reason]; n != want {
						t.Errorf("%s: %v counted as %s", name, n, of)
					}
				}
			}
			check("parstead_readings_rejected_total", c.rejected)
			check("parstead_readings_set_aside_total", c.setAside)
			if c.rejected != "" && c.rejected != Duplicate {
				records := in.Refusals()
				if len(records) != 1 || records[0].Topic != "t" || records[0].Reason != c.rejected || records[0].Payload != c.payloads[0] {
					t.Errorf("the record of the refusal: %+v", records)
				}
			}
			_, known := in.Latest("s")
			if want := c.stored > 0 && c.setAside == "" || c.setAside == Conflict; known != want {
				t.Errorf("a latest reading: %v, want %v", known, want)
			}
		})
	}
}

func TestABrokenNeighbourHarmsNobody(t *testing.T) {
	t.Parallel()
	h := &hands{now: noon}
	sink := &memory{}
	a, b := chip("a", "t"), chip("b", "t")
	a.Value, b.Value = "/a", "/b"
	in, _ := prepare(t, sink, h.clock(), a, b)
	in.Take(Delivery{Topic: "t", Payload: []byte(`{"a":"broken","b":2}`)})
	in.Take(Delivery{Topic: "t", Payload: []byte(`{"b":3}`)})
	finish(t, in)
	if got := sink.all(); len(got) != 2 || got[0].Sensor != "b" || got[1].Value != 3 {
		t.Errorf("stored %+v", got)
	}
	if r := in.Refusals(); len(r) != 1 || r[0].Sensor != "a" || r[0].Detail != "no finite number at /a" {
		t.Errorf("refused %+v", r)
	}
}

func TestMovedSensorKeepsItsTopic(t *testing.T) {
	t.Parallel()
	h := &hands{now: noon}
	sink := &memory{}
	before, after := own(chip("old", "t")), own(chip("new", "t"))
	before.Sensor.During.Until, after.Sensor.During.From = noon, noon
	in, _ := prepare(t, sink, h.clock(), before, after)
	for _, at := range []time.Duration{-time.Minute, 0, time.Minute} {
		in.Take(Delivery{Topic: "t", Payload: fmt.Appendf(nil, `{"v":1,"at":%q}`, noon.Add(at).Format(time.RFC3339))})
	}
	finish(t, in)
	var names []string
	for _, r := range sink.all() {
		names = append(names, r.Sensor)
	}
	if diff := cmp.Diff([]string{"old", "new", "new"}, names); diff != "" {
		t.Error(diff)
	}
}

func TestBacklogIsUntimed(t *testing.T) {
	t.Parallel()
	h := &hands{now: noon}
	sink := &memory{}
	in, _ := prepare(t, sink, h.clock(), chip("a", "a"), chip("b", "b"), own(chip("c", "c")))
	take := func(topic string, link uint64, away time.Duration, again bool) {
		payload := "1"
		if topic == "c" {
			payload = fmt.Sprintf(`{"v":1,"at":%q}`, h.now.Format(time.RFC3339Nano))
		}
		in.Take(Delivery{Topic: topic, Payload: []byte(payload), Link: link, Away: away, Again: again})
		h.pass(100 * time.Millisecond)
	}
	take("a", 1, 0, false)         // live
	take("a", 2, time.Hour, false) // backlog: queued while away
	take("b", 2, time.Hour, false)
	take("a", 2, time.Hour, false)
	take("c", 2, time.Hour, false) // has its own time
	h.pass(time.Minute)
	take("a", 2, time.Hour, false)      // live: a minute after the last
	take("b", 2, time.Hour, false)      // live
	take("a", 2, time.Hour, false)      // live from now on, however close
	take("a", 3, 10*time.Second, false) // away for less than half an interval
	take("a", 3, 0, true)               // sent again
	finish(t, in)
	var got []light.Mark
	for _, r := range sink.all() {
		got = append(got, r.Mark)
	}
	u := light.Untimed
	if diff := cmp.Diff([]light.Mark{0, u, u, u, light.OwnTime, 0, 0, 0, 0, u}, got); diff != "" {
		t.Error(diff)
	}
}

func TestAPublishersQueueIsUntimed(t *testing.T) {
	t.Parallel()
	h := &hands{now: noon}
	sink := &memory{}
	in, _ := prepare(t, sink, h.clock(), chip("a", "a"))
	take := func(link uint64, after time.Duration) {
		h.pass(after)
		in.Take(Delivery{Topic: "a", Payload: []byte("1"), Link: link, Direct: true})
	}
	for link := range uint64(3) { // wakes, sends, sleeps
		take(link+1, time.Minute)
	}
	take(4, time.Minute)
	take(4, 100*time.Millisecond) // its queue
	take(4, 100*time.Millisecond)
	take(4, time.Second)          // live from here on
	take(4, 100*time.Millisecond) // a quick sensor stays live
	take(5, time.Minute)
	for range 11 { // so quick from the start: not for ever
		take(5, 400*time.Millisecond)
		take(5, 499*time.Millisecond)
	}
	take(5, 200*time.Millisecond)
	finish(t, in)
	var got []light.Mark
	for _, r := range sink.all() {
		got = append(got, r.Mark)
	}
	u := light.Untimed
	want := []light.Mark{0, 0, 0, 0, u, u, 0, 0, 0}
	for range 22 {
		want = append(want, u)
	}
	if diff := cmp.Diff(append(want, 0), got); diff != "" {
		t.Error(diff)
	}
}

func TestClockSteps(t *testing.T) {
	t.Parallel()
	h := &hands{now: noon.Add(-9 * time.Hour)}
	in, _ := prepare(t, &memory{}, h.clock(), chip("a", "a"))
	var steps []Step
	in.OnStep = func(s Step) { steps = append(steps, s) }
	in.Take(Delivery{Topic: "a", Payload: []byte("1")})
	h.pass(5 * time.Minute) // both clocks: no step
	in.Take(Delivery{Topic: "a", Payload: []byte("1")})
	h.set(stepSize) // too small to count
	in.Take(Delivery{Topic: "a", Payload: []byte("1")})
	h.set(9 * time.Hour)
	in.Take(Delivery{Topic: "a", Payload: []byte("1")})
	in.Take(Delivery{Topic: "a", Payload: []byte("1")})
	finish(t, in)
	want := []Step{{At: noon.Add(5*time.Minute + stepSize), Boot: 7, Uptime: 5 * time.Minute, By: 9 * time.Hour}}
	if diff := cmp.Diff(want, steps); diff != "" {
		t.Error(diff)
	}
}

func TestFeedsAreSwappedWhileReadingsComeIn(t *testing.T) {
	t.Parallel()
	h := &hands{now: noon}
	sink := &memory{}
	in, reg := prepare(t, sink, h.clock(), chip("a", "a"))
	in.Take(Delivery{Topic: "a", Payload: []byte("1")})
	if err := in.SetFeeds([]Feed{chip("a", "moved"), chip("b", "b")}); err != nil {
		t.Fatal(err)
	}
	if err := in.SetFeeds([]Feed{chip("x", "x/#")}); err == nil {
		t.Error("a wildcard in a topic passes")
	}
	in.Take(Delivery{Topic: "a", Payload: []byte("2")})
	in.Take(Delivery{Topic: "moved", Payload: []byte("3")})
	in.Take(Delivery{Topic: "b", Payload: []byte("4")})
	finish(t, in)
	var got []float64
	for _, r := range sink.all() {
		got = append(got, r.Value)
	}
	if diff := cmp.Diff([]float64{1, 3, 4}, got); diff != "" {
		t.Error(diff)
	}
	want := "# HELP parstead_readings_stored_total Readings written to the store.\n# TYPE parstead_readings_stored_total counter\n" +
		"parstead_readings_stored_total{sensor=\"a\"} 2\nparstead_readings_stored_total{sensor=\"b\"} 1\n"
	if err := testutil.GatherAndCompare(reg, strings.NewReader(want), "parstead_readings_stored_total"); err != nil {
		t.Error(err)
	}
	problems, err := testutil.GatherAndLint(reg)
	if err != nil || len(problems) > 0 {
		t.Errorf("metrics: %v, %v", problems, err)
	}
}

func FuzzTake(f *testing.F) {
	f.Add("rack/both", []byte(`{"light":{"ppfd":85.5},"wet":true,"at":1784635200}`), false)
	f.Add("rack/bare", []byte(" 17.5 "), true)
	f.Add("rack/upper/1/2", []byte(`"3"`), false)
	both, wet, grid := own(chip("both", "rack/both")), chip("wet", "rack/both"), chip("grid", "rack/{bin}/{row}/{column}")
	both.Value, both.TimeFormat = "/light/ppfd", Unix
	wet.Value, wet.Sensor.Measures = "/wet", light.QuantityWet
	grid.Placeholder, grid.Bins = true, []light.Bin{{Name: "upper", Rows: 2, Columns: 2}}
	f.Fuzz(func(t *testing.T, topic string, payload []byte, retained bool) {
		sink, who := &memory{}, &sender{}
		in, _ := prepare(t, sink, (&hands{now: noon}).clock(), both, wet, chip("bare", "rack/bare"), grid)
		before := string(payload)
		in.Take(Delivery{Topic: topic, Payload: payload, Retained: retained, From: who, ID: 5})
		finish(t, in)
		for _, r := range sink.all() {
			if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) || r.At.After(noon.Add(light.MostAhead)) || r.At.Before(in.earliest) {
				t.Fatalf("%q stored as %+v", payload, r)
			}
		}
		if acked, errs := who.told(); len(acked) != 1 || len(errs) > 0 || string(payload) != before {
			t.Fatalf("acknowledged %v, %v", acked, errs)
		}
	})
}

func TestStrangersAddNoSeries(t *testing.T) {
	t.Parallel()
	h := &hands{now: noon}
	f := chip("chip", "rack/{bin}/{row}/{column}")
	f.Placeholder, f.Bins = true, []light.Bin{{Name: "upper", Rows: 1, Columns: 1}}
	in, reg := prepare(t, &memory{}, h.clock(), f)
	for i := range 100 {
		in.Take(Delivery{Topic: fmt.Sprintf("rack/upper/1/%d", i+2), Payload: []byte("1")})
		in.Take(Delivery{Topic: fmt.Sprintf("garage/%d", i), Payload: []byte("1")})
	}
	if diff := cmp.Diff(map[string]float64{NoSensor: 100}, counted(t, reg, "parstead_readings_rejected_total", unknown)); diff != "" {
		t.Error(diff)
	}
	if n, err := testutil.GatherAndCount(reg, "parstead_readings_rejected_total"); err != nil || n != 1+len(rejections) {
		t.Errorf("%d series, %v", n, err)
	}
	if n := len(in.Refusals()); n != keptRefusals {
		t.Errorf("%d records kept, want %d", n, keptRefusals)
	}
}

// counted is a metric of one sensor by reason.
func counted(t *testing.T, reg prometheus.Gatherer, name, sensor string) map[string]float64 {
	t.Helper()
	families, err := reg.Gather()
	if err != nil {
		t.Fatal(err)
	}
	by := map[string]float64{}
	for _, f := range families {
		if f.GetName() != name {
			continue
		}
		for _, m := range f.GetMetric() {
			labels := map[string]string{}
			for _, l := range m.GetLabel() {
				labels[l.GetName()] = l.GetValue()
			}
			if labels["sensor"] == sensor {
				by[labels["reason"]] = m.GetCounter().GetValue()
			}
		}
	}
	return by
}

// From the start every counter is there, at zero, and a sensor that was heard before
// has its time; one that never was has none.
func TestMetricsFromTheStart(t *testing.T) {
	t.Parallel()
	reg := prometheus.NewPedanticRegistry()
	h := &hands{now: noon}
	in, err := New(Config{
		Sink: &memory{}, Feeds: []Feed{chip("a", "a"), chip("b", "b")}, Starts: noon, Clock: h.clock(), Log: quiet, Register: reg,
		Stored: func() map[string]light.Reading {
			return map[string]light.Reading{"a": {Sensor: "a", At: noon.Add(-time.Hour), Value: 5}}
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, sensor := range []string{"a", "b"} {
		if diff := cmp.Diff(map[string]float64{NoNumber: 0, ImpossibleTime: 0, Duplicate: 0, NotKept: 0}, counted(t, reg, "parstead_readings_rejected_total", sensor)); diff != "" {
			t.Error(diff)
		}
		if diff := cmp.Diff(map[string]float64{Stale: 0, Untimed: 0, Conflict: 0, Saturated: 0, OutsideValid: 0}, counted(t, reg, "parstead_readings_set_aside_total", sensor)); diff != "" {
			t.Error(diff)
		}
	}
	// 2026-07-21T11:00:00Z is 1784631600 s after 1970 (GNU date).
	want := "# HELP parstead_sensor_last_reading_timestamp_seconds Time of the sensor's newest usable reading.\n" +
		"# TYPE parstead_sensor_last_reading_timestamp_seconds gauge\nparstead_sensor_last_reading_timestamp_seconds{sensor=\"a\"} 1.7846316e+09\n"
	if err := testutil.GatherAndCompare(reg, strings.NewReader(want), "parstead_sensor_last_reading_timestamp_seconds"); err != nil {
		t.Error(err)
	}
	if r, ok := in.Latest("a"); !ok || r.Value != 5 {
		t.Errorf("%+v, %v", r, ok)
	}
}
