package daemon

import (
	"context"
	"errors"
	"path/filepath"
	"time"

	"parstead/cmd/parstead/tell"
	"parstead/cmd/parstead/trial"
	"parstead/light/watch"
)

// toldFile is where the trial's folder keeps what the grower was told.
const toldFile = "told.json"

// newTeller sends by the trial's way; nil where it has none.
func newTeller(t *trial.Trial, o Options) *tell.Teller {
	if t.Tell == nil {
		return nil
	}
	return tell.New(tell.Config{Way: t.Tell.Way, Now: o.Clock.Now, Log: o.Log, File: filepath.Join(t.Dir, toldFile)})
}

var errNobodyToTell = errors.New("trial.toml has no [tell]: add a command or mail to it, then try again")

// TestMessage sends one message now and says whether that worked.
func TestMessage(ctx context.Context, t *trial.Trial, now time.Time) error {
	if t.Tell == nil {
		return errNobodyToTell
	}
	return t.Tell.Way.Send(ctx, tell.Message{
		Trial: t.Name,
		Condition: watch.Condition{
			Kind: tell.Test, Since: now.UTC(),
			Says: "This is a test: messages from parstead reach you.", Do: "Nothing is to be done.",
		},
	})
}
