package store

import (
	"bufio"
	"context"
	"encoding/gob"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"syscall"
	"time"

	"parstead/light"
	"parstead/store/rights"
)

// What the socket serves. Bodies of readings and events are gob: both ends are
// this program, and the socket is open to nobody else than may write in the folder.
const (
	pathSnapshot = "/v1/snapshot"
	pathReadings = "/v1/readings"
	pathEvents   = "/v1/events"

	maxRequest  = 64 << 20         // bytes of a request's body
	slowest     = 10 * time.Minute // for a snapshot to be taken, or a group to be sent
	socketGrace = 5 * time.Second  // for requests in progress when the daemon ends
)

// Listen opens the socket at path, for this user, and its folder's group where that may
// write there. A socket that nobody
// answers any more is replaced; one that answers is ErrInUse.
func Listen(path string) (net.Listener, error) {
	if n, most := len(path), maxSocketPath(); n > most {
		return nil, fmt.Errorf("the path %s has %d bytes, a socket's path may have %d here: move the trial to a folder with a shorter path", path, n, most)
	}
	if err := removeStale(path); err != nil {
		return nil, err
	}
	config := net.ListenConfig{Control: func(_, _ string, c syscall.RawConn) error {
		return c.Control(restrictSocket)
	}}
	l, err := config.Listen(context.Background(), "unix", path)
	if err != nil {
		return nil, fmt.Errorf("open the socket: %w", err)
	}
	if err := os.Chmod(path, rights.In(filepath.Dir(path), 0o600)); err != nil {
		return nil, errors.Join(fmt.Errorf("restrict the socket: %w", err), l.Close())
	}
	return l, nil
}

// maxSocketPath is what the address of a unix socket holds, its final zero
// taken off: 108 bytes on Linux and Windows, 104 elsewhere.
func maxSocketPath() int {
	if runtime.GOOS == "linux" || runtime.GOOS == "windows" {
		return 107
	}
	return 103
}

func removeStale(path string) error {
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("look at the socket: %w", err)
	}
	if info.Mode()&fs.ModeSocket == 0 {
		return fmt.Errorf("%s is no socket: move it away, the daemon needs the name", path)
	}
	c, err := net.DialTimeout("unix", path, time.Second)
	switch {
	case err == nil:
		return errors.Join(fmt.Errorf("%s is %w: a daemon answers there", path, ErrInUse), c.Close())
	case Refused(err):
		return os.Remove(path)
	default:
		return fmt.Errorf("see who holds the socket: %w", err)
	}
}

// Serve answers other processes at the socket until the context ends.
func (db *DB) Serve(ctx context.Context, socketPath string) error {
	l, err := Listen(socketPath)
	if err != nil {
		return err
	}
	return db.ServeOn(ctx, l)
}

// ServeOn answers other processes on an open listener, which it closes when
// the context ends; requests in progress are given a few seconds.
func (db *DB) ServeOn(ctx context.Context, l net.Listener) error {
	server := &http.Server{
		Handler: db, ReadHeaderTimeout: socketGrace, ReadTimeout: slowest, WriteTimeout: slowest,
		ErrorLog: slog.NewLogLogger(db.log.Handler(), slog.LevelWarn),
	}
	served := make(chan error, 1)
	go func() { served <- server.Serve(l) }()
	select {
	case err := <-served:
		return fmt.Errorf("serve the socket: %w", err)
	case <-ctx.Done():
	}
	patience, cancel := context.WithTimeout(context.WithoutCancel(ctx), socketGrace)
	defer cancel()
	err := server.Shutdown(patience)
	if errors.Is(err, context.DeadlineExceeded) {
		err = server.Close()
	}
	if e := <-served; !errors.Is(e, http.ErrServerClosed) {
		err = errors.Join(err, e)
	}
	return err
}

// ServeHTTP hands out snapshots and takes readings and log entries; the rest is
// left to Options.Socket.
func (db *DB) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	switch r.Method + " " + r.URL.Path {
	case "GET " + pathSnapshot:
		db.serveSnapshot(w)
	case "POST " + pathReadings:
		serveRequest(db, w, r, func(group []light.Reading) ([]light.Fate, error) {
			return db.Append(r.Context(), group)
		})
	case "POST " + pathEvents:
		serveRequest(db, w, r, func(e light.Event) (uint64, error) {
			return db.AddEvent(r.Context(), e)
		})
	default:
		if db.socket != nil {
			db.socket.ServeHTTP(w, r)
			return
		}
		http.Error(w, "the daemon is of another version: stop it and start it again", http.StatusNotFound)
	}
}

func (db *DB) serveSnapshot(w http.ResponseWriter) {
	s, err := db.View()
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	defer s.Close() //nolint:errcheck // a reading transaction
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Header().Set("Content-Length", strconv.FormatInt(s.Size(), 10))
	buffered := bufio.NewWriterSize(struct{ io.Writer }{w}, copyBuffer)
	_, err = s.WriteTo(buffered)
	if err == nil {
		err = buffered.Flush()
	}
	if err != nil { // the reader sees it by the missing bytes
		db.log.Warn("snapshot not sent to its end", "file", db.path, "error", err)
	}
}

// serveRequest decodes a request, does it and encodes the answer.
func serveRequest[Q, A any](db *DB, w http.ResponseWriter, r *http.Request, do func(Q) (A, error)) {
	var request Q
	if err := gob.NewDecoder(http.MaxBytesReader(w, r.Body, maxRequest)).Decode(&request); err != nil {
		http.Error(w, "request can't be read: "+err.Error(), http.StatusBadRequest)
		return
	}
	answer, err := do(request)
	if err != nil {
		http.Error(w, err.Error(), http.StatusUnprocessableEntity)
		return
	}
	if err := gob.NewEncoder(w).Encode(answer); err != nil {
		db.log.Warn("answer not sent", "path", r.URL.Path, "error", err)
	}
}
