package main

import (
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
)

// command runs a command line and returns what it wrote and its exit status.
func command(t *testing.T, now time.Time, stdin string, args ...string) (status int, stdout, stderr string) {
	t.Helper()
	var out, talk strings.Builder
	err := runAt(&env{t.Context(), strings.NewReader(stdin), &out, &talk, func() time.Time { return now }}, args)
	status = exitCode(err, &talk)
	return status, out.String(), talk.String()
}

// must is command for one that has to succeed.
func must(t *testing.T, now time.Time, stdin string, args ...string) (stdout string) {
	t.Helper()
	status, out, talk := command(t, now, stdin, args...)
	if status != 0 {
		t.Fatalf("parstead %s: exit status %d: %s", strings.Join(args, " "), status, talk)
	}
	return out
}

// narrow demands that text for people fits a terminal of 80 columns.
func narrow(t *testing.T, text string) {
	t.Helper()
	for line := range strings.Lines(text) {
		if n := len([]rune(strings.TrimRight(line, "\n"))); n > 80 {
			t.Errorf("a line of %d columns: %q", n, line)
		}
	}
}

var (
	march      = racktest.March
	rackFolder = racktest.RackTrial
	writeFiles = racktest.WriteFiles
)

const ownBroker = racktest.OwnBroker
