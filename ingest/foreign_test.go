package ingest_test

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
	"go.uber.org/goleak"

	"parstead/ingest"
	"parstead/light"
)

func TestMain(m *testing.M) {
	if os.Getenv(childRole) != "" {
		os.Exit(child())
	}
	goleak.VerifyTestMain(m)
}

var quiet = slog.New(slog.DiscardHandler)

// mochiBroker starts another broker within this process.
func mochiBroker(tb testing.TB, address string, hooks ...mochi.Hook) (*mochi.Server, string) {
	tb.Helper()
	server := mochi.New(&mochi.Options{Logger: quiet, InlineClient: true})
	if len(hooks) == 0 {
		hooks = append(hooks, &guard{read: true})
	}
	for _, h := range hooks {
		if err := server.AddHook(h, nil); err != nil {
			tb.Fatal(err)
		}
	}
	l := listeners.NewTCP(listeners.Config{ID: "tcp", Address: address})
	if err := server.AddListener(l); err != nil {
		tb.Fatal(err)
	}
	if err := server.Serve(); err != nil {
		tb.Fatal(err)
	}
	return server, l.Address()
}

// guard is the foreign broker's hook that lets clients in.
type guard struct {
	mochi.HookBase
	username, password string // "" for anyone
	read               bool   // whether clients may subscribe
}

func (*guard) ID() string { return "guard" }

func (*guard) Provides(b byte) bool {
	return b == mochi.OnConnectAuthenticate || b == mochi.OnACLCheck
}

func (g *guard) OnConnectAuthenticate(_ *mochi.Client, pk packets.Packet) bool {
	return g.username == "" || string(pk.Connect.Username) == g.username && string(pk.Connect.Password) == g.password
}

func (g *guard) OnACLCheck(_ *mochi.Client, _ string, write bool) bool { return write || g.read }

// mosquitto is a foreign broker in a process of its own.
type mosquitto struct {
	t       testing.TB
	config  string
	address string
	process *exec.Cmd
}

// startMosquitto runs mosquitto with the settings on a free port; %PORT% in
// them stands for it. The test is skipped where the program is missing.
func startMosquitto(tb testing.TB, settings ...string) *mosquitto {
	tb.Helper()
	if _, err := exec.LookPath("mosquitto"); err != nil {
		missing(tb, "mosquitto is not installed")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		tb.Fatal(err)
	}
	m := &mosquitto{t: tb, address: l.Addr().String(), config: filepath.Join(tb.TempDir(), "mosquitto.conf")}
	_ = l.Close()
	_, port, _ := net.SplitHostPort(m.address)
	lines := append([]string{"listener " + port + " 127.0.0.1", "max_queued_messages 0", "user root"}, settings...)
	if !strings.Contains(strings.Join(settings, "\n"), "allow_anonymous") {
		lines = append(lines, "allow_anonymous true")
	}
	if err := os.WriteFile(m.config, []byte(strings.Join(lines, "\n")+"\n"), 0o600); err != nil {
		tb.Fatal(err)
	}
	m.start()
	tb.Cleanup(m.stop)
	return m
}

// missing skips a test for want of a program, or fails it where all must be
// there.
func missing(tb testing.TB, what string) {
	tb.Helper()
	if os.Getenv("PARSTEAD_REQUIRE_TOOLS") == "1" {
		tb.Fatal(what)
	}
	tb.Skip(what)
}

func (m *mosquitto) start() {
	m.t.Helper()
	var said bytes.Buffer
	m.process = exec.Command("mosquitto", "-c", m.config)
	m.process.Stdout, m.process.Stderr = &said, &said
	if err := m.process.Start(); err != nil {
		m.t.Fatal(err)
	}
	for range 200 {
		conn, err := net.Dial("tcp", m.address)
		if err == nil {
			_ = conn.Close()
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	m.stop()
	if strings.Contains(strings.ToLower(said.String()), "websockets support not available") {
		missing(m.t, "this mosquitto was built without web sockets")
	}
	m.t.Fatalf("mosquitto does not answer: %s", said.String())
}

func (m *mosquitto) stop() {
	_ = m.process.Process.Kill()
	_ = m.process.Wait()
}

// end lets the broker write its sessions to disk first.
func (m *mosquitto) end() {
	m.t.Helper()
	if err := m.process.Process.Signal(os.Interrupt); err != nil {
		m.t.Fatal(err)
	}
	_ = m.process.Wait()
}

func (m *mosquitto) url() string { return "tcp://" + m.address }

// store is a sink in memory. Like one on disk it keeps a reading with its own
// time once.
type store struct {
	mu       sync.Mutex
	readings []light.Reading
	own      map[light.Reading]bool
	commits  int
	fail     error
	gate     chan struct{} // where set, a commit takes one from it
	failures int           // commits that failed
	changed  chan struct{}
}

func newStore() *store {
	return &store{changed: make(chan struct{}, 1), own: map[light.Reading]bool{}}
}

func (s *store) Append(ctx context.Context, group []light.Reading) ([]light.Fate, error) {
	if s.gate != nil {
		select {
		case <-s.gate:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fail != nil {
		s.failures++
		return nil, s.fail
	}
	fates := make([]light.Fate, len(group))
	for i, r := range group {
		if r.Mark&light.OwnTime != 0 {
			same := light.Reading{Sensor: r.Sensor, At: r.At, Value: r.Value}
			if s.own[same] {
				fates[i] = light.Duplicate
				continue
			}
			s.own[same] = true
		}
		s.readings = append(s.readings, r)
	}
	s.commits++
	select {
	case s.changed <- struct{}{}:
	default:
	}
	return fates, nil
}

func (s *store) setFail(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.fail = err
}

func (s *store) failed() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.failures
}

func (s *store) all() []light.Reading {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]light.Reading(nil), s.readings...)
}

// wait returns the readings once there are n.
func (s *store) wait(tb testing.TB, n int) []light.Reading {
	tb.Helper()
	late := time.After(20 * time.Second)
	for {
		if all := s.all(); len(all) >= n {
			return all
		}
		select {
		case <-s.changed:
		case <-late:
			tb.Fatalf("%d readings stored, want %d", len(s.all()), n)
		}
	}
}

func feed(name, topic string) ingest.Feed {
	return ingest.Feed{Topic: topic, Sensor: light.Sensor{
		Name: name, Measures: light.QuantityLux, Every: time.Minute, Scale: 1, High: 150000,
	}}
}

func intake(tb testing.TB, sink ingest.Sink, feeds ...ingest.Feed) *ingest.Intake {
	tb.Helper()
	in, err := ingest.New(ingest.Config{
		Sink: sink, Feeds: feeds, Clock: ingest.SystemClock(), Log: quiet, LingerWaited: -1,
	})
	if err != nil {
		tb.Fatal(err)
	}
	return in
}

// running runs something until the test ends or stop is called, and checks that
// it ends well.
func running(tb testing.TB, run func(context.Context) error) (stop func()) {
	tb.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- run(ctx) }()
	stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			tb.Error(err)
		}
	})
	tb.Cleanup(stop)
	return stop
}

// connect runs a session and waits until it is connected.
func connect(tb testing.TB, in *ingest.Intake, remote ingest.Remote) (s *ingest.Session, stop func()) {
	tb.Helper()
	if remote.ClientID == "" {
		remote.ClientID = "parstead-test"
	}
	s, err := ingest.NewSession(ingest.SessionConfig{Remote: remote, Filters: in.Filters(), Taker: in, Log: quiet})
	if err != nil {
		tb.Fatal(err)
	}
	s.Hurry()
	stop = running(tb, s.Run)
	waitConnected(tb, s)
	return s, stop
}

func waitConnected(tb testing.TB, s *ingest.Session) {
	tb.Helper()
	eventually(tb, "the session is connected", s.Connected)
}

// eventually waits until something holds that gives no signal of its own.
func eventually(tb testing.TB, what string, holds func() bool) {
	tb.Helper()
	for deadline := time.Now().Add(20 * time.Second); !holds(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(deadline) {
			tb.Fatalf("not within 20 s: %s", what)
		}
	}
}

// publisher is a sensor: a client that waits for its acknowledgements.
func publisher(tb testing.TB, url string, change ...func(*paho.ClientOptions)) paho.Client {
	tb.Helper()
	o := paho.NewClientOptions().AddBroker(url).SetClientID(fmt.Sprintf("chip-%d", time.Now().UnixNano())).SetAutoReconnect(false)
	for _, c := range change {
		c(o)
	}
	c := paho.NewClient(o)
	if token := c.Connect(); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		tb.Fatalf("publisher: %v", token.Error())
	}
	tb.Cleanup(func() { c.Disconnect(100) })
	return c
}

func publish(tb testing.TB, c paho.Client, topic string, qos byte, retain bool, payload string) {
	tb.Helper()
	if token := c.Publish(topic, qos, retain, payload); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		tb.Fatalf("publish %s: %v", topic, token.Error())
	}
}
