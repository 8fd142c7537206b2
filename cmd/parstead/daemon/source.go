package daemon

import (
	"context"
	"fmt"
	"log/slog"

	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/ingest/broker"
)

// source is where messages come from: the embedded broker or a session with
// another one.
type source interface {
	Run(context.Context) error
	Connected() bool
	Publish(topic string, payload []byte) error
	// SetFilters names the topics that are wanted from now on.
	SetFilters(filters []string) error
	// Address is where readings are published.
	Address() string
	Close() error
}

// listening is who is told of what is seen at the broker.
type listening struct {
	noted  func(ingest.State) // how it stands with another one
	others *ingest.Presence   // at another one
	twins  func(id string)    // at the embedded one
}

// openSource opens the trial's broker, which hands what comes to the taker.
func openSource(t *trial.Trial, taker ingest.Taker, filters []string, clock ingest.Clock, to listening, log *slog.Logger) (source, error) {
	if !t.Broker.Embedded {
		session, err := ingest.NewSession(ingest.SessionConfig{
			Remote: t.Remote(), Filters: filters, Taker: taker, Clock: clock, Log: log, OnState: to.noted, Presence: to.others,
		})
		if err != nil {
			return nil, fmt.Errorf("[broker]: %w", err)
		}
		return remote{session, t.Broker.URL}, nil
	}
	secure, err := serverTLS(t.Broker.CertFile, t.Broker.KeyFile, log)
	if err != nil {
		return nil, fmt.Errorf("[broker] %w", err)
	}
	config := broker.Config{Listen: t.Broker.Listen, Secure: secure, Taker: taker, Log: log, OnTwins: to.twins}
	if config.Sensors, config.Readers, err = t.Broker.Logins(); err != nil {
		return nil, err
	}
	b, err := broker.Open(config)
	if err != nil {
		return nil, err
	}
	return embedded{b}, nil
}

// embedded is the daemon's own broker, at which sensors publish what they will.
type embedded struct{ *broker.Broker }

func (embedded) SetFilters([]string) error { return nil }
func (e embedded) Address() string         { return e.Addr().String() }

// remote is a session with another broker: it holds nothing before it runs.
type remote struct {
	*ingest.Session
	url string
}

func (r remote) Address() string { return r.url }
func (remote) Close() error      { return nil }
