package ingest_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"parstead/ingest"
	"parstead/light"
)

// onBoth runs the test with a foreign broker in this process and with
// mosquitto.
func onBoth(t *testing.T, test func(t *testing.T, url string)) {
	t.Helper()
	t.Run("mochi", func(t *testing.T) {
		t.Parallel()
		server, address := mochiBroker(t, "127.0.0.1:0")
		t.Cleanup(func() { _ = server.Close() })
		test(t, "tcp://"+address)
	})
	t.Run("mosquitto", func(t *testing.T) {
		t.Parallel()
		test(t, startMosquitto(t).url())
	})
}

func TestForeignBrokerAcknowledgedOnlyAfterTheCommit(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, url string) {
		t.Helper()
		// The first process takes a reading in and ends before it is committed.
		in := intake(t, newStore(), feed("a", "rack/a"))
		uncommitted := counting{in, make(chan struct{}, 1)}
		s, err := ingest.NewSession(ingest.SessionConfig{
			Remote: ingest.Remote{URL: url, ClientID: "parstead-test"}, Filters: in.Filters(), Taker: uncommitted, Log: quiet,
		})
		if err != nil {
			t.Fatal(err)
		}
		stop := running(t, s.Run)
		waitConnected(t, s)
		chip := publisher(t, url)
		publish(t, chip, "rack/a", 1, false, "17")
		<-uncommitted.taken
		stop()

		// The second gets it again, commits it, and has it acknowledged.
		kept := newStore()
		in = intake(t, kept, feed("a", "rack/a"))
		stopIntake := running(t, in.Run)
		_, stop = connect(t, in, ingest.Remote{URL: url})
		got := kept.wait(t, 1)
		if got[0].Value != 17 || got[0].Mark != light.Untimed {
			t.Errorf("redelivered as %+v", got[0])
		}
		stopIntake()
		stop()

		// The third gets nothing.
		again := newStore()
		in = intake(t, again, feed("a", "rack/a"))
		running(t, in.Run)
		connect(t, in, ingest.Remote{URL: url})
		publish(t, chip, "rack/a", 1, false, "18")
		if got := again.wait(t, 1); got[0].Value != 18 {
			t.Errorf("an acknowledged reading came again: %+v", got)
		}
	})
}

// counting passes deliveries on and tells of each.
type counting struct {
	ingest.Taker
	taken chan struct{}
}

func (c counting) Take(d ingest.Delivery) {
	c.Taker.Take(d)
	c.taken <- struct{}{}
}

func TestBacklogAfterAnOutage(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, url string) {
		t.Helper()
		sink := newStore()
		own := feed("own", "rack/own")
		own.Value, own.Time, own.TimeFormat = "/v", "/at", ingest.Unix
		in := intake(t, sink, feed("a", "rack/a"), own)
		running(t, in.Run)
		_, stop := connect(t, in, ingest.Remote{URL: url})
		chip := publisher(t, url)
		publish(t, chip, "rack/a", 1, false, "0")
		sink.wait(t, 1)
		stop()
		now := time.Now().Unix()
		const n = 500
		for i := range n {
			publish(t, chip, "rack/a", 1, false, fmt.Sprint(i+1))
			publish(t, chip, "rack/own", 1, false, fmt.Sprintf(`{"v":%d,"at":%d}`, i, now-n+int64(i)))
		}
		// The broker in this process acknowledges before it queues for others; once
		// it has acknowledged this one, all before it are queued.
		publish(t, chip, "rack/end", 1, false, "0")
		connect(t, in, ingest.Remote{URL: url})
		// At least once: the first reading may come again, if its acknowledgement
		// was still on the way at the end of the session.
		for want := 1 + 2*n; ; want++ {
			seen := map[light.Reading]bool{}
			for i, r := range sink.wait(t, want) {
				if i == 0 && r.Mark != 0 {
					t.Errorf("the live reading is marked %b", r.Mark)
				}
				if i > 0 && r.Mark != map[string]light.Mark{"a": light.Untimed, "own": light.OwnTime}[r.Sensor] {
					t.Fatalf("in the backlog: %+v", r)
				}
				seen[light.Reading{Sensor: r.Sensor, Value: r.Value}] = true
			}
			if len(seen) == 1+2*n {
				break
			}
		}
	})
}

func TestRetainedIsStaleOnlyFromTheStore(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, url string) {
		t.Helper()
		chip := publisher(t, url)
		publish(t, chip, "rack/a", 1, true, "1")
		sink := newStore()
		in := intake(t, sink, feed("a", "rack/a"))
		running(t, in.Run)
		connect(t, in, ingest.Remote{URL: url})
		if got := sink.wait(t, 1); got[0].Mark != light.Stale {
			t.Errorf("from the store: mark %b", got[0].Mark)
		}
		publish(t, chip, "rack/a", 1, true, "2")
		if got := sink.wait(t, 2); got[1].Mark != 0 {
			t.Errorf("live with the retain flag: mark %b", got[1].Mark)
		}
	})
}

func TestForeignBrokerSendsAgainAfterAFailedCommit(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, url string) {
		t.Helper()
		sink := newStore()
		sink.gate = make(chan struct{})
		in := intake(t, sink, feed("a", "rack/a"))
		running(t, in.Run)
		states := make(chan ingest.State, 100)
		s, err := ingest.NewSession(ingest.SessionConfig{
			Remote: ingest.Remote{URL: url, ClientID: "parstead-test"}, Filters: in.Filters(), Taker: in, Log: quiet,
			OnState: func(st ingest.State) { states <- st },
		})
		if err != nil {
			t.Fatal(err)
		}
		s.Hurry()
		running(t, s.Run)
		waitConnected(t, s)
		<-states
		sink.setFail(errors.New("disk full"))
		chip := publisher(t, url)
		for i := range 50 {
			publish(t, chip, "rack/a", 1, false, fmt.Sprint(i))
		}
		publish(t, chip, "rack/end", 1, false, "0") // see TestBacklogAfterAnOutage
		sink.gate <- struct{}{}
		if st := <-states; st.Connected || st.Err.Error() != "disk full" {
			t.Errorf("after a failed commit: %+v", st)
		}
		sink.setFail(nil)
		close(sink.gate)
		for n := 50; ; n++ {
			seen := map[float64]bool{}
			for _, r := range sink.wait(t, n) {
				seen[r.Value] = true
			}
			if len(seen) == 50 {
				break
			}
		}
	})
}

func TestListeningOnAForeignBroker(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, url string) {
		t.Helper()
		chip := publisher(t, url)
		publish(t, chip, "rack/kept", 1, true, "1")
		publish(t, chip, "rack/end", 1, false, "end") // see TestBacklogAfterAnOutage
		heard, err := ingest.Listen(ingest.SystemClock(), nil)
		if err != nil {
			t.Fatal(err)
		}
		s, err := ingest.NewSession(ingest.SessionConfig{
			Remote: ingest.Remote{URL: url, ClientID: "looking-on"}, Filters: []string{"#"},
			Taker: heard, Log: quiet, Passing: true,
		})
		if err != nil {
			t.Fatal(err)
		}
		running(t, s.Run)
		waitConnected(t, s)
		publish(t, chip, "rack/b", 1, false, `{"v":2}`)
		var found []ingest.Found
		eventually(t, "two topics are heard", func() bool {
			// A broker may deliver what it has acknowledged before: the message of the end.
			found = slices.DeleteFunc(heard.Found(), func(a ingest.Found) bool { return a.Topic == "rack/end" })
			return len(found) >= 2
		})
		if found[0].Pointer != "/v" || found[0].Messages != 1 || found[1].Topic != "rack/kept" || found[1].Messages != 0 {
			t.Errorf("heard %+v", found)
		}
	})
}

func TestBrokerRestart(t *testing.T) {
	t.Parallel()
	m := startMosquitto(t, "persistence true", "persistence_location "+t.TempDir()+"/", "autosave_interval 1", "autosave_on_changes true")
	sink := newStore()
	in := intake(t, sink, feed("a", "rack/a"))
	running(t, in.Run)
	s, stop := connect(t, in, ingest.Remote{URL: m.url()})
	for round := range 3 {
		if round > 0 {
			m.stop()
			m.start()
			waitConnected(t, s)
		}
		chip := publisher(t, m.url())
		publish(t, chip, "rack/a", 1, false, fmt.Sprint(round))
		sink.wait(t, round+1)
		chip.Disconnect(10)
	}

	// The session outlives the broker: what it had queued for us comes after its
	// restart too.
	stop()
	chip := publisher(t, m.url())
	const n = 50
	for i := range n {
		publish(t, chip, "rack/a", 1, false, fmt.Sprint(100+i))
	}
	chip.Disconnect(10)
	m.end()
	m.start()
	connect(t, in, ingest.Remote{URL: m.url()})
	for want := 3 + n; ; want++ { // the last of before may come again
		queued := map[float64]bool{}
		for _, r := range sink.wait(t, want) {
			if r.Value >= 100 {
				queued[r.Value] = true
			}
		}
		if len(queued) == n {
			break
		}
	}
}

func TestTakeoverIsTold(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, url string) {
		t.Helper()
		states := make(chan ingest.State, 100)
		s, err := ingest.NewSession(ingest.SessionConfig{
			Remote: ingest.Remote{URL: url, ClientID: "same"}, Taker: intake(t, newStore()), Log: quiet,
			OnState: func(st ingest.State) { states <- st },
		})
		if err != nil {
			t.Fatal(err)
		}
		s.Hurry()
		running(t, s.Run)
		next := func(connected bool) ingest.State {
			t.Helper()
			for {
				select {
				case st := <-states:
					if st.Connected == connected {
						return st
					}
				case <-time.After(10 * time.Second):
					t.Fatalf("no state with connected %v", connected)
				}
			}
		}
		for range 2 {
			next(true)
			publisher(t, url, func(o *paho.ClientOptions) { o.SetClientID("same") })
			if st := next(false); st.TakenOver {
				t.Errorf("too early a word: %+v", st)
			}
		}
		next(true)
		publisher(t, url, func(o *paho.ClientOptions) { o.SetClientID("same") })
		if st := next(false); !st.TakenOver || !errors.Is(st.Err, ingest.ErrTakenOver) {
			t.Errorf("after three takeovers: %+v", st)
		}
	})
}

func TestFiltersAreSwapped(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, url string) {
		t.Helper()
		sink := newStore()
		in := intake(t, sink, feed("a", "rack/a"))
		running(t, in.Run)
		s, _ := connect(t, in, ingest.Remote{URL: url})
		if err := in.SetFeeds([]ingest.Feed{feed("b", "rack/b")}); err != nil {
			t.Fatal(err)
		}
		if err := s.SetFilters(in.Filters()); err != nil {
			t.Fatal(err)
		}
		chip := publisher(t, url)
		publish(t, chip, "rack/a", 1, false, "1")
		publish(t, chip, "rack/b", 1, false, "2")
		if got := sink.wait(t, 1); len(got) != 1 || got[0].Sensor != "b" {
			t.Errorf("stored %+v", got)
		}
	})
}

func TestConditionsAreRetainedAtTheForeignBroker(t *testing.T) {
	t.Parallel()
	onBoth(t, func(t *testing.T, url string) {
		t.Helper()
		in := intake(t, newStore())
		s, err := ingest.NewSession(ingest.SessionConfig{
			Remote: ingest.Remote{URL: url, ClientID: "x"}, Taker: in, Log: quiet,
		})
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Publish("parstead/x/conditions/dimmed/upper", []byte("dim")); err != nil {
			t.Fatal(err) // it is sent once the session is connected
		}
		running(t, s.Run)
		got := make(chan string, 1)
		reader := publisher(t, url)
		for i := 0; ; i++ {
			reader.Subscribe("parstead/#", 1, func(_ paho.Client, m paho.Message) {
				select {
				case got <- string(m.Payload()):
				default:
				}
			}).Wait()
			select {
			case p := <-got:
				if p != "dim" {
					t.Errorf("got %q", p)
				}
				return
			case <-time.After(100 * time.Millisecond):
			}
			if i == 50 {
				t.Fatal("the condition never came")
			}
		}
	})
}

func TestRefusedSubscriptionIsTold(t *testing.T) {
	t.Parallel()
	server, address := mochiBroker(t, "127.0.0.1:0", &guard{})
	t.Cleanup(func() { _ = server.Close() })
	in := intake(t, newStore(), feed("a", "rack/a"))
	s, _ := connect(t, in, ingest.Remote{URL: "tcp://" + address, Username: "me"})
	eventually(t, "the refusal is told", func() bool { return s.State().Err != nil })
	if err := s.State().Err; !strings.Contains(err.Error(), "rack/a") || !strings.Contains(err.Error(), `"me"`) {
		t.Errorf("told: %v", err)
	}
}
