package store

import (
	"bytes"
	"context"
	"encoding/gob"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"parstead/light"
)

// serve runs a daemon's share of the socket in a folder of its own.
func serve(tb testing.TB) (db *DB, folder string) {
	tb.Helper()
	folder, err := os.MkdirTemp("", "parstead") //nolint:usetesting // a socket's path must be short
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { _ = os.RemoveAll(folder) })
	db = openAt(tb, filepath.Join(folder, FileName))
	l, err := Listen(filepath.Join(folder, SocketName))
	if err != nil {
		tb.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	served := make(chan error)
	go func() { served <- db.ServeOn(ctx, l) }()
	tb.Cleanup(func() {
		stop()
		if err := <-served; err != nil {
			tb.Error(err)
		}
		if _, err := os.Lstat(filepath.Join(folder, SocketName)); !errors.Is(err, os.ErrNotExist) {
			tb.Errorf("the socket is left behind: %v", err)
		}
	})
	return db, folder
}

// While the daemon runs, another process reads and writes through its socket.
func TestOtherProcess(t *testing.T) {
	t.Parallel()
	db, folder := serve(t)
	mustAppend(t, db, own("a", 0, 1))
	cmd, out := child(t, "client", folder)
	text, err := io.ReadAll(out)
	if err := errors.Join(err, cmd.Wait()); err != nil {
		t.Fatal(err)
	}
	if want := "fates [1 0 2], event 1, readings [1 7 3], log moved the lamp\n"; string(text) != want {
		t.Errorf("the other process says %q, want %q", text, want)
	}
	if got := series(t, db, "a", light.Span{}); got.Len() != 3 {
		t.Errorf("%d readings arrived", got.Len()-1)
	}
}

func childClient(arguments []string) error {
	ctx, folder := context.Background(), arguments[0]
	w, err := OpenWriter(ctx, folder, Options{})
	if err != nil {
		return err
	}
	fates, err := w.Append(ctx, []light.Reading{own("a", 0, 1), own("a", time.Minute, 3), own("a", 0, 7)})
	if err != nil {
		return err
	}
	id, err := w.AddEvent(ctx, light.Event{Kind: light.LampMoved, Text: "moved the lamp"})
	if err != nil {
		return err
	}
	if _, err := w.AddEvent(ctx, light.Event{Kind: light.Withdrawn, Withdraws: 99}); err == nil || !strings.Contains(err.Error(), "no log entry 99") {
		return fmt.Errorf("the daemon's refusal did not get through: %w", err)
	}
	s, err := OpenFolder(ctx, folder)
	if err != nil {
		return err
	}
	var got light.Series
	if err := s.Series(ctx, "a", light.Span{}, &got); err != nil {
		return err
	}
	log, err := s.Events(ctx)
	if err != nil {
		return err
	}
	fmt.Printf("fates %v, event %d, readings %v, log %s\n", fates, id, got.Values, log[0].Text)
	return errors.Join(s.Close(), w.Close())
}

// Without a daemon the file itself is opened; without a file there is nothing.
func TestFolderWithoutDaemon(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	s, err := OpenFolder(t.Context(), folder)
	if err != nil {
		t.Fatal(err)
	}
	if names, err := s.Sensors(); err != nil || len(names) != 0 {
		t.Errorf("an empty folder has sensors %v, %v", names, err)
	}
	if got := seriesOf(t, s, "a", light.Span{}); got.Len() != 0 {
		t.Error("an empty folder has readings")
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if entries, err := os.ReadDir(folder); err != nil || len(entries) != 0 {
		t.Errorf("looking made %v, %v", entries, err)
	}
	for range 2 {
		w, err := OpenWriter(t.Context(), folder, Options{})
		if err != nil {
			t.Fatal(err)
		}
		mustAppend(t, w, own("a", 0, 1))
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
	}
	w, err := OpenWriter(t.Context(), folder, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := OpenFolder(t.Context(), folder); !errors.Is(err, ErrInUse) {
		t.Errorf("while it is being written to, without a socket: %v", err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if s, err = OpenFolder(t.Context(), folder); err != nil {
		t.Fatal(err)
	}
	if names, err := s.Sensors(); err != nil || len(names) != 1 || names[0] != "a" {
		t.Errorf("sensors %v, %v", names, err)
	}
	if got := seriesOf(t, s, "a", light.Span{}); got.Len() != 1 {
		t.Errorf("%d readings", got.Len())
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestSocket(t *testing.T) {
	t.Parallel()
	_, folder := serve(t)
	path := filepath.Join(folder, SocketName)
	if info, err := os.Lstat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	if _, err := Listen(path); !errors.Is(err, ErrInUse) {
		t.Errorf("a second daemon: %v", err)
	}
	c := dial(folder)
	defer c.Close() //nolint:errcheck // lets go of connections
	for _, request := range []struct{ method, path, body, says string }{
		{"GET", "/v0/snapshot", "", "another version"},
		{"GET", pathReadings, "", "another version"},
		{"POST", pathReadings, "no gob at all", "can't be read"},
		{"POST", pathEvents, strings.Repeat("x", 100), "can't be read"},
	} {
		if _, err := c.do(t.Context(), request.method, request.path, strings.NewReader(request.body)); err == nil || !strings.Contains(err.Error(), request.says) {
			t.Errorf("%s %s: %v", request.method, request.path, err)
		}
	}
	if s, err := OpenFolder(t.Context(), folder); err != nil {
		t.Errorf("after bad requests: %v", err)
	} else if err := s.Close(); err != nil {
		t.Error(err)
	}

	long := filepath.Join(folder, strings.Repeat("long", 30))
	if _, err := Listen(long); err == nil || !strings.Contains(err.Error(), "shorter path") {
		t.Errorf("a path too long: %v", err)
	}
	plain := filepath.Join(folder, "plain")
	if err := os.WriteFile(plain, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Listen(plain); err == nil || !strings.Contains(err.Error(), "no socket") {
		t.Errorf("a plain file in the way: %v", err)
	}
	if b, err := os.ReadFile(plain); err != nil || string(b) != "mine" {
		t.Error("the plain file was touched")
	}

	stale := filepath.Join(folder, "stale")
	l, err := net.ListenUnix("unix", &net.UnixAddr{Name: stale, Net: "unix"})
	if err != nil {
		t.Fatal(err)
	}
	l.SetUnlinkOnClose(false)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := Listen(stale)
	if err != nil {
		t.Fatalf("a stale socket: %v", err)
	}
	if err := again.Close(); err != nil {
		t.Error(err)
	}
}

// A snapshot that breaks off is never taken for a whole one.
func TestBrokenSnapshot(t *testing.T) {
	t.Parallel()
	folder, err := os.MkdirTemp("", "parstead") //nolint:usetesting // a socket's path must be short
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(folder) })
	l, err := Listen(filepath.Join(folder, SocketName))
	if err != nil {
		t.Fatal(err)
	}
	server := &http.Server{ReadHeaderTimeout: time.Second, Handler: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Length", "100000")
		_, _ = w.Write(make([]byte, 5000))
	})}
	served := make(chan error)
	go func() { served <- server.Serve(l) }()
	if s, err := OpenFolder(t.Context(), folder); err == nil {
		t.Errorf("opened %v", s)
	}
	if err := Backup(t.Context(), folder, filepath.Join(folder, "copy")); err == nil {
		t.Error("backed up")
	}
	if err := server.Close(); err != nil {
		t.Error(err)
	}
	if err := <-served; !errors.Is(err, http.ErrServerClosed) {
		t.Error(err)
	}
	left, err := filepath.Glob(filepath.Join(folder, "*cop*"))
	partial, err2 := filepath.Glob(filepath.Join(folder, ".parstead*"))
	if err := errors.Join(err, err2); err != nil || len(left)+len(partial) > 0 {
		t.Errorf("left behind: %v %v, %v", left, partial, err)
	}
}

// FuzzRequest posts anything at all to the socket's handler: it answers, and
// nothing but whole readings and entries gets in.
func FuzzRequest(f *testing.F) {
	var readings, event bytes.Buffer
	if err := errors.Join(
		gob.NewEncoder(&readings).Encode([]light.Reading{own("a", 0, 1), arrival("b", 0, 2)}),
		gob.NewEncoder(&event).Encode(light.Event{Kind: light.Other, Text: "x"}),
	); err != nil {
		f.Fatal(err)
	}
	f.Add(true, readings.Bytes())
	f.Add(false, event.Bytes())
	f.Add(true, event.Bytes())
	db := openAt(f, filepath.Join(f.TempDir(), FileName))
	f.Fuzz(func(t *testing.T, toReadings bool, body []byte) {
		path := pathEvents
		if toReadings {
			path = pathReadings
		}
		w := httptest.NewRecorder()
		db.ServeHTTP(w, httptest.NewRequest(http.MethodPost, path, bytes.NewReader(body)))
		switch w.Code {
		case http.StatusOK, http.StatusBadRequest, http.StatusUnprocessableEntity:
		default:
			t.Errorf("status %d: %s", w.Code, w.Body)
		}
		s, err := db.View()
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	})
}
