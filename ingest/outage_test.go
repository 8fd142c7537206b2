package ingest_test

import (
	"fmt"
	"math"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/google/go-cmp/cmp"

	"parstead/ingest"
	"parstead/light"
	"parstead/light/dli"
)

// The tests of this file let hours pass on a clock of their own, over real
// connections.

var dawn = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

// hours is a clock that a test moves.
type hours struct{ passed atomic.Int64 }

func (h *hours) uptime() time.Duration { return time.Duration(h.passed.Load()) }
func (h *hours) now() time.Time        { return dawn.Add(h.uptime()) }
func (h *hours) pass(d time.Duration)  { h.passed.Add(int64(d)) }

// season is a rack whose sensors read once a minute: "own" tells its own time,
// "bare" does not. Each value is the minute of its reading.
type season struct {
	t     *testing.T
	clock *hours
	sink  *store
	in    *ingest.Intake
}

func newSeason(t *testing.T) *season {
	t.Helper()
	s := &season{t: t, clock: &hours{}, sink: newStore()}
	own := feed("own", "rack/own")
	own.Value, own.Time, own.TimeFormat = "/v", "/at", ingest.RFC3339
	var err error
	s.in, err = ingest.New(ingest.Config{
		Sink: s.sink, Feeds: []ingest.Feed{own, feed("bare", "rack/bare")}, Log: quiet, LingerWaited: -1,
		Clock: ingest.Clock{Now: s.clock.now, Uptime: s.clock.uptime},
	})
	if err != nil {
		t.Fatal(err)
	}
	running(t, s.in.Run)
	return s
}

func (s *season) session(url string) *ingest.Session {
	s.t.Helper()
	x, err := ingest.NewSession(ingest.SessionConfig{
		Remote: ingest.Remote{URL: url, ClientID: "parstead-test"}, Filters: s.in.Filters(), Taker: s.in, Log: quiet,
		Clock: ingest.Clock{Now: s.clock.now, Uptime: s.clock.uptime},
	})
	if err != nil {
		s.t.Fatal(err)
	}
	x.Hurry()
	running(s.t, x.Run)
	waitConnected(s.t, x)
	return x
}

// read publishes what the sensors read in a minute.
func (s *season) read(chip paho.Client, minute int) {
	s.t.Helper()
	at := dawn.Add(time.Duration(minute) * time.Minute).Format(time.RFC3339)
	publish(s.t, chip, "rack/own", 1, false, fmt.Sprintf(`{"v":%d,"at":%q}`, minute, at))
	publish(s.t, chip, "rack/bare", 1, false, fmt.Sprint(minute))
}

// live reads on as the minutes pass, and waits for each to be stored.
func (s *season) live(chip paho.Client, from, until int) {
	s.t.Helper()
	for m := from; m < until; m++ {
		s.clock.pass(time.Minute)
		s.read(chip, m)
		s.stored(m)
	}
}

// stored waits until the readings of a minute are there.
func (s *season) stored(minute int) {
	s.t.Helper()
	eventually(s.t, fmt.Sprintf("both sensors' readings of minute %d are stored", minute), func() bool {
		have := map[string]bool{}
		for _, r := range s.sink.all() {
			if r.Value == float64(minute) {
				have[r.Sensor] = true
			}
		}
		return len(have) == 2
	})
}

const outageFrom, outageUntil, seasonEnd = 30, 150, 180 // minutes

// judge demands that every reading of own is there once and bridges the outage,
// and that those that bare sent then are there, untimed, and bridge nothing.
func (s *season) judge() {
	s.t.Helper()
	var own, bare light.Series
	times, marks := map[int]int{}, map[int]light.Mark{}
	for _, r := range s.sink.all() {
		m := int(r.Value)
		at := dawn.Add(time.Duration(m) * time.Minute)
		switch {
		case r.Sensor == "bare":
			if _, there := marks[m]; !there || r.Mark.Usable() {
				marks[m] = r.Mark // one that comes again, its acknowledgement lost, is untimed then
			}
			if r.Mark.Usable() {
				bare.Add(r.At, 100, r.Mark)
			}
		case r.Mark != light.OwnTime || !r.At.Equal(at):
			s.t.Errorf("minute %d: %+v", m, r)
		default:
			times[m]++
			own.Add(r.At, 100, r.Mark)
		}
	}
	wantTimes, wantMarks := map[int]int{}, map[int]light.Mark{}
	for m := 1; m < seasonEnd; m++ {
		wantTimes[m] = 1
		wantMarks[m] = 0
		if m >= outageFrom && m < outageUntil {
			wantMarks[m] = light.Untimed
		}
	}
	if diff := cmp.Diff(wantTimes, times); diff != "" {
		s.t.Error("own:", diff)
	}
	if diff := cmp.Diff(wantMarks, marks); diff != "" {
		s.t.Error("bare:", diff)
	}
	last, first := dawn.Add((outageFrom-1)*time.Minute), dawn.Add(outageUntil*time.Minute)
	meaning := []dli.Stretch{{
		From: math.MinInt64, Until: math.MaxInt64, MaxGap: int64(10 * time.Minute), Scale: 1, High: 1e6, PerUnit: 1,
	}}
	for name, want := range map[string]time.Duration{"own": first.Sub(last), "bare": 0} {
		series := map[string]*light.Series{"own": &own, "bare": &bare}[name]
		series.Sort()
		_, days := dli.Integrate(series, meaning, []int64{last.UnixNano(), first.UnixNano()}, nil)
		if got := time.Duration(days[0].Covered); got != want {
			s.t.Errorf("%s bridges %v of the outage, want %v", name, got, want)
		}
	}
}

// The way to the broker is down for two hours; the broker keeps what comes.
func TestTwoHoursAwayFromTheBroker(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, url string) {
		t.Helper()
		s := newSeason(t)
		cable := layCable(t, url[len("tcp://"):])
		session := s.session("tcp://" + cable.address)
		chip := publisher(t, url)
		s.live(chip, 1, outageFrom)
		cable.pull()
		waitLost(t, session)
		for m := outageFrom; m < outageUntil; m++ {
			s.clock.pass(time.Minute)
			s.read(chip, m)
		}
		publish(t, chip, "rack/end", 1, false, "0") // see TestBacklogAfterAnOutage
		cable.plug()
		waitConnected(t, session)
		s.stored(outageUntil - 1)
		s.live(chip, outageUntil, seasonEnd)
		s.judge()
	})
}

// The broker itself is down for two hours; the sensors keep what they read.
func TestTwoHoursWithoutABroker(t *testing.T) {
	t.Parallel()
	m := startMosquitto(t, "persistence true", "persistence_location "+t.TempDir()+"/", "autosave_interval 1", "autosave_on_changes true")
	s := newSeason(t)
	session := s.session(m.url())
	chip := publisher(t, m.url())
	s.live(chip, 1, outageFrom)
	m.stop()
	waitLost(t, session)
	s.clock.pass((outageUntil - outageFrom) * time.Minute)
	m.start()
	waitConnected(t, session)
	chip = publisher(t, m.url())
	for m := outageFrom; m < outageUntil; m++ {
		s.read(chip, m)
	}
	s.stored(outageUntil - 1)
	s.live(chip, outageUntil, seasonEnd)
	s.judge()
}

func waitLost(t *testing.T, s *ingest.Session) {
	t.Helper()
	eventually(t, "the session has lost its connection", func() bool { return !s.Connected() })
}
