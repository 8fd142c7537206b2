// Package broker is the MQTT broker within the daemon. A sensor's PUBLISH is
// taken out of the broker's own handling, and its acknowledgement waits for the
// commit, so that a reading seen acknowledged is on disk.
package broker

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync/atomic"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"

	"parstead/ingest"
)

// Login is a name and password that a client must give.
type Login struct{ Username, Password string }

// Config says how the broker listens and whom it lets in. Taker and Log must be
// given.
type Config struct {
	Listen string      // address; "": 127.0.0.1:1883
	Secure *tls.Config // clients have to speak TLS; nil: they speak in the clear
	Taker  ingest.Taker
	Log    *slog.Logger

	Sensors *Login // nil: anyone may publish; only for loopback addresses
	Readers *Login // may also subscribe to what is told of the trial, and publish nothing; nil: nobody

	OnTwins func(id string) // told of an id that most likely two clients use; nil for nobody

	PacketLimit int     // bytes of one packet; 0: 64 KiB
	Clients     int     // connected at once; 0: 1024
	PerAddress  int     // connections from one address or IPv6 network; 0: 64
	Rate        float64 // messages a second that one client may publish for long; 0: 5000
}

// What no client may write, and only Readers may read: all that lies under
// parstead/TRIAL/ and one of these.
const (
	Conditions = "conditions"
	DLI        = "dli"
	DLILastDay = "dli_last_day"
)

// Present is where, at another broker, a trial keeps word that it is there.
const Present = "present"

// Broker is an embedded MQTT broker (3.1, 3.1.1 and 5).
type Broker struct {
	Config
	server   *mqtt.Server
	hook     *hook
	listener *listener
	serving  atomic.Bool
	links    atomic.Uint64
	refused  refusedOnes
}

// Open listens; Run serves. An address beyond this machine needs Sensors.
func Open(c Config) (*Broker, error) {
	if c.Listen == "" {
		c.Listen = "127.0.0.1:1883"
	}
	setDefault(&c.PacketLimit, 64<<10)
	setDefault(&c.Clients, 1024)
	setDefault(&c.PerAddress, perAddress)
	setDefault(&c.Rate, 5000)
	if c.Sensors == nil && !Loopback(c.Listen) {
		return nil, fmt.Errorf("broker: listen on %s: an address beyond this machine needs username and password_file", c.Listen)
	}
	b := &Broker{Config: c}
	capabilities := mqtt.NewDefaultServerCapabilities()
	capabilities.MaximumPacketSize = uint32(c.PacketLimit)
	capabilities.MaximumClients = int64(c.Clients)
	capabilities.MaximumSessionExpiryInterval = uint32(24 * time.Hour / time.Second)
	capabilities.MaximumMessageExpiryInterval = 0 // retained conditions stay until they are over
	capabilities.MaximumClientWritesPending = 1024
	capabilities.MaximumInflight = maxUnanswered + 1 // the hook refuses first, without a line in the log each
	b.server = mqtt.New(&mqtt.Options{
		Capabilities:            capabilities,
		InlineClient:            true,
		Logger:                  slog.New(calm{c.Log.Handler()}),
		SysTopicResendInterval:  3600, // each one stops the world
		ClientNetReadBufferSize: 8 << 10,
	})
	b.hook = &hook{broker: b}
	if err := b.server.AddHook(b.hook, nil); err != nil {
		return nil, fmt.Errorf("broker: %w", err)
	}
	b.listener = &listener{broker: b, links: map[*link]bool{}, from: crowd{}}
	if err := b.server.AddListener(b.listener); err != nil {
		return nil, fmt.Errorf("broker: listen on %s: %w", c.Listen, err)
	}
	return b, nil
}

func setDefault[T int | float64](v *T, value T) {
	if *v == 0 {
		*v = value
	}
}

// Loopback tells whether the address can be reached from this machine only.
func Loopback(address string) bool {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// Addr is the address that the broker listens on.
func (b *Broker) Addr() net.Addr { return b.listener.net.Addr() }

// Run serves clients until ctx is cancelled, then closes their connections and
// waits for them.
func (b *Broker) Run(ctx context.Context) error {
	if err := b.server.Serve(); err != nil {
		return fmt.Errorf("broker: %w", err)
	}
	b.serving.Store(true)
	<-ctx.Done()
	b.serving.Store(false)
	return b.server.Close()
}

// Close frees the address of a broker that was opened but never run.
func (b *Broker) Close() error { return b.listener.net.Close() }

// Connected tells whether sensors can connect.
func (b *Broker) Connected() bool { return b.serving.Load() }

// ErrNotServing is the error of publishing before or after Run.
var ErrNotServing = errors.New("broker: not serving")

// Publish keeps a message for every subscriber that may read the topic, now and
// later; an empty payload ends that.
func (b *Broker) Publish(topic string, payload []byte) error {
	if !b.serving.Load() {
		return ErrNotServing
	}
	if err := b.server.Publish(topic, payload, true, 1); err != nil {
		return fmt.Errorf("broker: publish %s: %w", topic, err)
	}
	return nil
}
