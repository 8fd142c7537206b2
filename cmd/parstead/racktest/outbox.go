package racktest

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"parstead/cmd/parstead/tell"
)

// Outbox is a [tell] command that appends each message to a file.
type Outbox struct {
	tb   testing.TB
	path string
}

// NewOutbox is an empty one.
func NewOutbox(tb testing.TB) Outbox { return Outbox{tb, filepath.Join(tb.TempDir(), "out")} }

// Command is the key of [tell].
func (o Outbox) Command() string { return fmt.Sprintf(`command = ["sh", "-c", "cat >> %s"]`, o.path) }

// Messages lists what was sent, as "condition bin sensor", "over" in front of
// what has ended.
func (o Outbox) Messages() (short []string, all []tell.Message) {
	o.tb.Helper()
	text, err := os.ReadFile(o.path)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		o.tb.Fatal(err)
	}
	for in := json.NewDecoder(strings.NewReader(string(text))); ; {
		var m tell.Message
		if err := in.Decode(&m); err != nil {
			return short, all
		}
		words := string(m.Kind) + " " + m.Bin + " " + m.Sensor
		if m.Until != nil {
			words = "over " + words
		}
		short, all = append(short, strings.Join(strings.Fields(words), " ")), append(all, m)
	}
}
