package ingest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net"
	"net/url"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"

	"parstead/ingest/wire"
)

// SessionConfig says what a session connects to and whom it gives what comes.
type SessionConfig struct {
	Remote  Remote
	Filters []string // topic filters to subscribe to
	Taker   Taker
	Clock   Clock // left out: the machine's
	Log     *slog.Logger

	// OnState is called with each change of the state, from the goroutine of Run;
	// nil for nobody.
	OnState func(State)

	// Passing makes a session that the broker forgets and that acknowledges at
	// once: for looking on.
	Passing bool

	// Presence, where not nil, is how other sessions are known of.
	Presence *Presence
}

// State is how a session stands.
type State struct {
	Connected bool
	Since     time.Time
	Err       error // why it is not connected, or what is wrong though it is
	TakenOver bool  // most likely another client uses the same client id
	Forgot    bool  // connected again, and the broker knows nothing of the session before: it kept nothing
}

// Session is a persistent MQTT 3.1.1 session with another broker. A delivery is
// acknowledged once the taker says that it is on disk; a failure drops the connection,
// and the broker sends again what was not acknowledged.
type Session struct {
	SessionConfig
	url *url.URL

	mu       sync.Mutex
	filters  []string
	retained map[string][]byte // published by us: again on each connection
	unsent   map[string]bool   // topics of those that this connection has not sent
	current  *connection       // nil while not connected
	state    State

	news   chan struct{} // something is unsent
	alone  bool          // the broker lets nobody know of others; only in Run
	heard  time.Duration // uptime when the broker was last heard in a session; negative: never; only in Run
	closed []time.Time   // when the broker closed connections that it had accepted; only in Run

	firstWait, longWait, heldWait time.Duration // between connections

	dial func(context.Context, *url.URL) (net.Conn, error)
}

// Between connections, and how it is recognised that another client takes the
// session over: each of the two makes the broker close the other's connection
// (MQTT 3.1.1, section 3.1.4), which it does not explain.
const (
	takeovers      = 3
	takeoverWithin = 2 * time.Minute
)

// ErrTakenOver says that the broker keeps closing the connection.
var ErrTakenOver = errors.New("the broker accepts and then closes the connection, again and again: most likely another client uses the same client_id; stop it, or give this trial its own")

// ErrEnded is why a session whose Run has returned is not connected, and
// ErrRefused why one that is connected does not get everything.
var (
	ErrEnded   = errors.New("the session has ended")
	ErrRefused = errors.New("the broker refuses the subscription")
)

// NewSession prepares a session. It does no I/O.
func NewSession(c SessionConfig) (*Session, error) {
	u, err := c.Remote.check()
	if err != nil {
		return nil, err
	}
	if c.Clock.Uptime == nil {
		c.Clock = SystemClock()
	}
	return &Session{
		SessionConfig: c, url: u, filters: c.Filters, heard: -1, dial: c.Remote.open,
		retained: map[string][]byte{}, unsent: map[string]bool{}, news: make(chan struct{}, 1),
		state:     State{Err: errors.New("not connected yet")},
		firstWait: time.Second, longWait: time.Minute, heldWait: time.Minute,
	}, nil
}

// State is how the session stands now.
func (s *Session) State() State {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.state
}

// Connected tells whether readings can come in.
func (s *Session) Connected() bool { return s.State().Connected }

func (s *Session) setState(st State) {
	st.Since = time.Now()
	s.mu.Lock()
	s.state = st
	s.mu.Unlock()
	if s.OnState != nil {
		s.OnState(st)
	}
}

// connection is one connection of a session: the publisher that an intake
// answers.
type connection struct {
	session *Session
	client  mqtt.Client
	number  uint64
	wire    atomic.Pointer[wire.Conn]
	ready   chan struct{} // closed once away is known
	away    time.Duration
	forgot  bool         // the session that there was before
	heard   atomic.Int64 // uptime in nanoseconds
	lost    chan error
}

var connections atomic.Uint64

// Acknowledge acknowledges committed deliveries.
func (c *connection) Acknowledge(ids []uint16) {
	if err := c.wire.Load().Acknowledge(ids); err != nil {
		c.Drop(err)
	}
}

// Drop ends the connection.
func (c *connection) Drop(err error) {
	select {
	case c.lost <- err:
	default: // it is going down already
	}
	c.wire.Load().Abort()
}

// Run keeps the session connected until ctx is cancelled.
func (s *Session) Run(ctx context.Context) error {
	for wait := s.firstWait; ctx.Err() == nil; {
		wait = s.hold(ctx, wait)
	}
	s.setState(State{Err: ErrEnded})
	return nil
}

// hold connects, stays connected as long as it can, and then waits. It returns
// how long to wait the next time.
func (s *Session) hold(ctx context.Context, wait time.Duration) time.Duration {
	began := time.Now()
	accepted, err := s.connect(ctx)
	if ctx.Err() != nil {
		return wait
	}
	held := s.takenOver(accepted, err)
	if held {
		err = ErrTakenOver
	}
	s.setState(State{Err: err, TakenOver: held})
	switch {
	case held:
		wait = s.heldWait
	case time.Since(began) > s.longWait:
		wait = s.firstWait
	}
	s.Log.Error("broker connection lost", "broker", s.url.Redacted(), "error", err, "retry", wait)
	select {
	case <-time.After(wait):
	case <-ctx.Done():
	}
	return min(2*wait, s.longWait)
}

// takenOver tells whether the broker has closed connections so often that
// another client must be at work.
func (s *Session) takenOver(accepted bool, err error) bool {
	// What was being written then fails too, and may be noticed first.
	closed := func(by error) bool { return errors.Is(err, by) }
	if !accepted || !slices.ContainsFunc([]error{io.EOF, syscall.ECONNRESET, syscall.EPIPE, net.ErrClosed}, closed) {
		return false
	}
	now := time.Now()
	s.closed = append(s.closed, now)
	s.closed = slices.DeleteFunc(s.closed, func(t time.Time) bool { return now.Sub(t) > takeoverWithin })
	return len(s.closed) >= takeovers
}

// prepare makes a connection that is not opened yet.
func (s *Session) prepare(ctx context.Context, password string) *connection {
	c := &connection{
		session: s, number: connections.Add(1),
		ready: make(chan struct{}), lost: make(chan error, 1),
	}
	options := mqtt.NewClientOptions().
		AddBroker(s.url.String()).
		SetClientID(s.Remote.ClientID).
		SetUsername(s.Remote.Username).SetPassword(password).
		SetCleanSession(s.Passing).
		SetProtocolVersion(4).
		SetAutoReconnect(false).
		SetAutoAckDisabled(true).
		SetOrderMatters(true).
		SetKeepAlive(30 * time.Second).SetPingTimeout(10 * time.Second).
		SetConnectTimeout(dialTime).SetWriteTimeout(dialTime).
		SetStore(&outgoing{mqtt.NewMemoryStore()}).
		SetDefaultPublishHandler(c.deliver).
		SetConnectionLostHandler(func(_ mqtt.Client, err error) {
			select {
			case c.lost <- err:
			default: // a better reason is there
			}
		}).
		SetCustomOpenConnectionFn(func(u *url.URL, _ mqtt.ClientOptions) (net.Conn, error) {
			conn, err := s.dial(ctx, u)
			if err != nil {
				return nil, err
			}
			w := wire.Wrap(conn, 64<<10, 16<<20)
			w.Heard = func() { c.heard.Store(int64(s.Clock.Uptime())) }
			c.wire.Store(w)
			return w, nil
		})
	if p := s.Presence; p != nil && p.Topic != "" {
		options.SetBinaryWill(p.Topic, nil, 1, true)
	}
	c.client = mqtt.NewClient(options)
	return c
}

// connect holds one connection until it is lost or ctx is cancelled.
func (s *Session) connect(ctx context.Context) (accepted bool, err error) {
	password, err := s.Remote.password()
	if err != nil {
		return false, err
	}
	c := s.prepare(ctx, password)
	token := c.client.Connect().(*mqtt.ConnectToken)
	select {
	case <-token.Done():
	case <-ctx.Done():
		if w := c.wire.Load(); w != nil {
			w.Abort()
		}
		<-token.Done()
	}
	if w := c.wire.Load(); w != nil {
		defer func() {
			c.client.Disconnect(250)
			_ = w.Close() // never fails
			<-w.Done()
			if accepted { // who is not let in has nobody queue for it
				s.heard = time.Duration(c.heard.Load())
			}
		}()
	}
	if err := token.Error(); err != nil {
		close(c.ready)
		return false, fmt.Errorf("connect to %s: %w", s.url.Redacted(), err)
	}
	switch {
	case s.heard >= 0: // the broker's queue, and what publishers queue while it is down
		c.away = s.Clock.Uptime() - s.heard
		c.forgot = !token.SessionPresent() && !s.Passing
	case token.SessionPresent():
		c.away = math.MaxInt64
	}
	close(c.ready)
	s.Log.Info("broker connected", "broker", s.url.Redacted(), "session_present", token.SessionPresent())
	return true, s.serve(ctx, c)
}

// serve subscribes and publishes on an accepted connection until it is lost or ctx
// is cancelled, and says why.
func (s *Session) serve(ctx context.Context, c *connection) error {
	s.mu.Lock()
	s.current = c
	filters := s.filters
	for topic := range s.retained {
		s.unsent[topic] = true
	}
	s.mu.Unlock()
	defer func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.current = nil
	}()
	err := c.subscribe(filters)
	if err != nil {
		s.Log.Error("broker subscription", "error", err)
	}
	s.setState(State{Connected: true, Err: err, Forgot: c.forgot})
	if s.Presence != nil && !s.alone {
		s.alone = c.refused(s.Presence, s.Log)
	}
	for {
		s.send(c)
		select {
		case <-s.news:
		case err := <-c.lost:
			return err
		case <-c.wire.Load().Done():
			select {
			case err := <-c.lost: // the reason follows at once
				return err
			case <-time.After(time.Second):
				return net.ErrClosed
			}
		case <-ctx.Done():
			if s.Presence != nil {
				c.leave(s.Presence)
			}
			return ctx.Err()
		}
	}
}

// send publishes what the connection has not sent.
func (s *Session) send(c *connection) {
	s.mu.Lock()
	unsent := map[string][]byte{}
	for topic := range s.unsent {
		unsent[topic] = s.retained[topic]
	}
	clear(s.unsent)
	s.mu.Unlock()
	for topic, payload := range unsent {
		c.client.Publish(topic, 1, true, payload) // what fails is sent on the next connection
	}
}

// deliver is the handler of everything that comes: before the first
// subscription of this process too, since the broker keeps those of the session.
func (c *connection) deliver(_ mqtt.Client, m mqtt.Message) {
	<-c.ready
	d := Delivery{
		Topic: m.Topic(), Payload: m.Payload(),
		// A broker sets the retain flag only on what it had kept (3.3.1.3).
		Retained: m.Retained(), Again: m.Duplicate(),
		Link: c.number, Away: c.away, ID: m.MessageID(),
	}
	if m.Qos() > 0 {
		d.From = c
	}
	c.session.Taker.Take(d)
}

// subscribe asks for the filters at QoS 1, or 0 for one that passes by.
func (c *connection) subscribe(filters []string) error {
	qos := byte(1)
	if c.session.Passing {
		qos = 0
	}
	var refused []string
	for some := range slices.Chunk(filters, 100) {
		wanted := map[string]byte{}
		for _, f := range some {
			wanted[f] = qos
		}
		token := c.client.SubscribeMultiple(wanted, nil).(*mqtt.SubscribeToken)
		if !token.WaitTimeout(dialTime) {
			return errors.New("the broker does not answer a subscription")
		}
		if err := token.Error(); err != nil {
			return fmt.Errorf("subscribe: %w", err)
		}
		for f, code := range token.Result() {
			if code == 0x80 { // failure (3.9.3)
				refused = append(refused, f)
			}
		}
	}
	if len(refused) > 0 {
		slices.Sort(refused)
		who := "anonymous clients"
		if name := c.session.Remote.Username; name != "" {
			who = fmt.Sprintf("user %q", name)
		}
		return fmt.Errorf("%w to %s: give %s the right to read it", ErrRefused, strings.Join(refused, ", "), who)
	}
	return nil
}

// SetFilters changes what the session is subscribed to.
func (s *Session) SetFilters(filters []string) error {
	s.mu.Lock()
	old, c := s.filters, s.current
	s.filters = filters
	s.mu.Unlock()
	if c == nil {
		return nil // the next connection subscribes
	}
	var gone, fresh []string
	for _, f := range old {
		if !slices.Contains(filters, f) {
			gone = append(gone, f)
		}
	}
	for _, f := range filters {
		if !slices.Contains(old, f) {
			fresh = append(fresh, f)
		}
	}
	if err := c.subscribe(fresh); err != nil {
		return err
	}
	if len(gone) == 0 {
		return nil
	}
	token := c.client.Unsubscribe(gone...)
	if !token.WaitTimeout(dialTime) {
		return errors.New("the broker does not answer the end of a subscription")
	}
	return token.Error()
}

// Publish keeps a message at the broker for every subscriber of the topic, now
// and later; an empty payload ends that. It does not wait: without a connection
// the message goes out on the next one, so there is never an error.
func (s *Session) Publish(topic string, payload []byte) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.retained[topic] = payload
	s.unsent[topic] = true
	select {
	case s.news <- struct{}{}:
	default:
	}
	return nil
}

// outgoing is a store for what is published by us. What comes in is not stored
// by the client: the broker sends again whatever was not acknowledged.
type outgoing struct{ *mqtt.MemoryStore }

func (o *outgoing) Put(key string, m packets.ControlPacket) {
	if !strings.HasPrefix(key, "i.") {
		o.MemoryStore.Put(key, m)
	}
}
