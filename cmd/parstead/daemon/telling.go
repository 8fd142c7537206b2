package daemon

import (
	"context"
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"time"

	"parstead/cmd/parstead/tell"
	"parstead/cmd/parstead/trial"
	"parstead/ingest/broker"
	"parstead/light/watch"
)

// toldFile is where the trial's folder keeps what the grower was told.
const toldFile = "told.json"

func newTeller(t *trial.Trial, o Options) (*tell.Teller, error) {
	ways, err := tellWays(t)
	if ways == nil || err != nil {
		return nil, err
	}
	return tell.New(tell.Config{Ways: ways, Now: o.Clock.Now, Log: o.Log, File: filepath.Join(t.Dir, toldFile)}), nil
}

// tellWays are the trial's means of telling the grower; nil where it has none.
func tellWays(t *trial.Trial) ([]tell.Way, error) {
	if t.Tell == nil {
		return nil, nil
	}
	m := t.Tell.Mail
	if m == nil {
		return []tell.Way{tell.Command(t.Tell.Command)}, nil
	}
	password := ""
	if m.Password != "" {
		var err error
		if password, err = m.Password.Read(); err != nil {
			return nil, fmt.Errorf("[tell] mail password_file: %w", err)
		}
	}
	return []tell.Way{tell.Mail{
		To: m.To, From: m.From, Host: m.Host, Port: m.Port, Username: m.Username, Password: password,
		Zone: t.Rack.Zone, Plain: broker.Loopback(net.JoinHostPort(m.Host, "25")),
	}}, nil
}

var errNobodyToTell = errors.New("trial.toml has no [tell]: add a command or mail to it, then try again")

// TestMessage sends one message now and says whether that worked.
func TestMessage(ctx context.Context, t *trial.Trial, now time.Time) error {
	ways, err := tellWays(t)
	if err != nil {
		return err
	}
	if ways == nil {
		return errNobodyToTell
	}
	m := tell.Message{
		Trial: t.Name,
		Condition: watch.Condition{
			Kind: tell.Test, Since: now.UTC(),
			Says: "This is a test: messages from parstead reach you.", Do: "Nothing is to be done.",
		},
	}
	for _, way := range ways {
		if err := way.Send(ctx, m); err != nil {
			return err
		}
	}
	return nil
}
