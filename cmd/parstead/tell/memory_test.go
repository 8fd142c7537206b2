package tell

import (
	"bytes"
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"parstead/light/watch"
)

// restarted is a bench whose Teller keeps what it told in a file.
func restarted(file string, now time.Time, log *bytes.Buffer) *bench {
	b := &bench{way: &recorder{}, now: now}
	b.Teller = New(Config{Way: b.way, Now: func() time.Time { return b.now }, Log: slog.New(slog.NewTextHandler(log, &slog.HandlerOptions{Level: slog.LevelWarn})), File: file})
	return b
}

func told(b *bench) (causes []string) {
	for _, m := range b.Told() {
		causes = append(causes, string(m.Kind)+" "+m.Bin)
	}
	return causes
}

// A restart repeats nothing that was told, and tells that it is over.
func TestARestartRepeatsNothing(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "told.json")
	var log bytes.Buffer
	first := restarted(file, time.Date(2026, 8, 1, 9, 0, 0, 0, time.UTC), &log)
	since := first.now
	first.on("dark_when_due", "upper")
	first.on(string(Test), "")
	first.wait(time.Minute)
	first.on("silent", "lower")
	if d := cmp.Diff([]string{"dark_when_due upper", "silent lower"}, told(first)); d != "" {
		t.Error(d)
	}

	second := restarted(file, first.now.Add(time.Minute), &log)
	if d := cmp.Diff([]string{"dark_when_due upper", "silent lower"}, told(second)); d != "" {
		t.Error(d)
	}
	second.Tell(Message{Condition: watch.Condition{Kind: "dark_when_due", Bin: "upper", Since: since}})
	second.Flush(context.Background())
	second.over("silent", "lower")
	if d := cmp.Diff([]string{"silent lower over"}, second.way.got); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"dark_when_due upper"}, told(second)); d != "" {
		t.Error(d)
	}

	second.wait(2 * quiet) // what is long over is forgotten
	second.on("silent", "upper")
	text, err := os.ReadFile(file)
	if err != nil || strings.Contains(string(text), "lower") || log.Len() > 0 {
		t.Errorf("%s %v\n%s", text, err, &log)
	}
}

// What is told is kept for the daemon's own user, written as a whole: a draft that
// was left is no hindrance, and a link in its place is not followed.
func TestWhatWasToldIsKeptSafely(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	file, trap := filepath.Join(dir, "told.json"), filepath.Join(dir, "trap")
	if err := os.WriteFile(trap, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(trap, file+".new"); err != nil {
		t.Fatal(err)
	}
	var log bytes.Buffer
	restarted(file, time.Unix(0, 0), &log).on("silent", "upper")
	if text, err := os.ReadFile(trap); err != nil || string(text) != "mine" {
		t.Errorf("the link was followed: %q %v", text, err)
	}
	if info, err := os.Lstat(file); err != nil || !info.Mode().IsRegular() || info.Mode().Perm() != 0o600 || log.Len() > 0 {
		t.Errorf("%v %v\n%s", info, err, &log)
	}
}

// A file that can't be read or written costs a message told twice, and is logged.
func TestALostMemoryIsLogged(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "told.json")
	if err := os.WriteFile(file, []byte("[{"), 0o600); err != nil {
		t.Fatal(err)
	}
	var log bytes.Buffer
	b := restarted(file, time.Unix(0, 0), &log)
	if b.on("silent", "upper"); !strings.Contains(log.String(), "what was told before is not known") || len(b.way.got) != 1 {
		t.Errorf("%q\n%s", b.way.got, &log)
	}
	log.Reset()
	b = restarted(filepath.Join(file, "told.json"), time.Unix(0, 0), &log)
	if b.on("silent", "upper"); !strings.Contains(log.String(), "a restart may repeat it") || len(b.way.got) != 1 {
		t.Errorf("%q\n%s", b.way.got, &log)
	}
}

// signalled is a way that says on a channel what it was given.
type signalled chan string

func (s signalled) Send(_ context.Context, m Message) error {
	s <- string(m.Kind)
	return nil
}

// A message leaves as soon as it is told, not at the next beat, and Run ends with
// its context.
func TestRunSendsAtOnce(t *testing.T) {
	t.Parallel()
	way := make(signalled)
	teller := New(Config{Way: way, Now: time.Now, Log: slog.New(slog.DiscardHandler)})
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- teller.Run(ctx) }()
	began := time.Now()
	for _, kind := range []string{"silent", "dark_when_due"} {
		teller.Tell(Message{Condition: watch.Condition{Kind: watch.Kind(kind), Since: began}})
		if got := <-way; got != kind {
			t.Errorf("sent %q, want %q", got, kind)
		}
	}
	if took := time.Since(began); took >= firstRetry {
		t.Errorf("it took %v", took)
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}
