package daemon

import (
	"context"
	"errors"
	"path/filepath"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
)

// Datagrams as sd_notify(3) and sd_watchdog_enabled(3) describe them: a daemon
// says when it is ready and that it ends, and gives signs of life in between
// while its parts move.
func TestServiceManagerHearsTheDaemon(t *testing.T) {
	t.Parallel()
	path, next := racktest.ServiceManager(t)
	s := &service{socket: path, within: 30 * time.Millisecond}
	ctx, cancel := context.WithCancel(t.Context())
	well := make(chan error, 1)
	well <- nil
	done := make(chan error)
	go func() {
		done <- s.keepAwake(ctx, func() error {
			select {
			case err := <-well:
				return err
			default:
				return errors.New("a commit hangs")
			}
		})
	}()
	if got := next(); got != "WATCHDOG=1" {
		t.Errorf("first: %q", got)
	}
	if got := next(); got != "STATUS=a commit hangs" {
		t.Errorf("a daemon that hangs says %q", got)
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	(&service{}).say("READY=1")                                    // to nobody
	(&service{socket: filepath.Join(t.TempDir(), "gone")}).say("") // nor here
}

func TestUnitWord(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"/srv/trial": "/srv/trial", "/srv/my trial": `"/srv/my trial"`, "/srv/100%": "/srv/100%%", `/srv/a"b\c`: `"/srv/a\"b\\c"`,
	} {
		if got := unitWord(in); got != want {
			t.Errorf("%q: got %s, want %s", in, got, want)
		}
	}
}
