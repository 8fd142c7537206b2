package store

import (
	"bytes"
	"cmp"
	"context"
	"encoding/gob"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"parstead/light"
)

// Writer takes readings and log entries, wherever the database is held.
// Append and AddEvent are those of DB.
type Writer interface {
	Append(ctx context.Context, group []light.Reading) ([]light.Fate, error)
	AddEvent(ctx context.Context, e light.Event) (uint64, error)
	Close() error
}

// OpenFolder opens a snapshot of a trial folder's database: from the daemon
// that holds it, where one answers at the socket, else from the file. A folder
// without a database has no readings and an empty log.
func OpenFolder(ctx context.Context, folder string) (*Snapshot, error) {
	return firstOf(folder,
		func() (*Snapshot, error) { return dial(folder).snapshot(ctx) },
		func() (*Snapshot, error) { return openFile(filepath.Join(folder, FileName)) })
}

// OpenWriter opens a trial folder's database for writing: through the daemon
// that holds it, where one answers at the socket, else by itself.
func OpenWriter(ctx context.Context, folder string, o Options) (Writer, error) {
	return firstOf(folder,
		func() (Writer, error) {
			c := dial(folder)
			if err := c.greet(ctx); err != nil {
				return nil, err
			}
			return c, nil
		},
		func() (Writer, error) { return Open(filepath.Join(folder, FileName), o) })
}

// AddEvent writes one entry into the folder's log, by way of the daemon where one
// runs, and returns its id.
func AddEvent(ctx context.Context, folder string, o Options, event light.Event) (uint64, error) {
	w, err := OpenWriter(ctx, folder, o)
	if err != nil {
		return 0, err
	}
	id, err := w.AddEvent(ctx, event)
	return id, cmp.Or(err, w.Close())
}

// firstOf asks the daemon, then opens the file, then, where that is held,
// asks the daemon once more: it may just have started.
func firstOf[T any](folder string, ask, open func() (T, error)) (T, error) {
	v, err := ask()
	if !errors.Is(err, errNobody) {
		return v, err
	}
	v, err = open()
	if !errors.Is(err, ErrInUse) {
		return v, err
	}
	if again, e := ask(); !errors.Is(e, errNobody) {
		return again, e
	}
	return v, fmt.Errorf("trial %s: %w", folder, err)
}

// openFile opens a snapshot of a database that no daemon holds.
func openFile(path string) (*Snapshot, error) {
	there, err := exists(path)
	if err != nil {
		return nil, fmt.Errorf("open the database: %w", err)
	}
	if !there { // not made yet
		return &Snapshot{}, nil
	}
	b, _, err := openBolt(path, true)
	if err != nil {
		return nil, err
	}
	s, err := snapshotOf(b, &logCache{})
	if err != nil {
		if errors.Is(err, ErrDamaged) {
			err = untouchedFile(path, err)
		}
		return nil, errors.Join(err, b.Close())
	}
	s.path, s.release = path, b.Close
	return s, nil
}

// errNobody says that no daemon answers at the socket.
var errNobody = errors.New("no daemon answers")

// client speaks to the daemon that holds a folder's database.
type client struct {
	socket string
	http   http.Client
}

func dial(folder string) *client {
	c := &client{socket: filepath.Join(folder, SocketName)}
	c.http.Transport = &http.Transport{
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			return new(net.Dialer).DialContext(ctx, "unix", c.socket)
		},
		ResponseHeaderTimeout: time.Minute,
		ReadBufferSize:        1 << 16,
	}
	return c
}

// Close lets go of the daemon.
func (c *client) Close() error {
	c.http.CloseIdleConnections()
	return nil
}

// greet tells whether a daemon answers.
func (c *client) greet(ctx context.Context) error {
	if len(c.socket) > maxSocketPath() { // then no daemon can have it
		return errNobody
	}
	conn, err := new(net.Dialer).DialContext(ctx, "unix", c.socket)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) || Refused(err) {
			return errNobody
		}
		return fmt.Errorf("ask the daemon at %s: %w", c.socket, err)
	}
	return conn.Close()
}

// do sends a request and hands back the answer's open body.
func (c *client) do(ctx context.Context, method, path string, body io.Reader) (*http.Response, error) {
	request, err := http.NewRequestWithContext(ctx, method, "http://parstead"+path, body)
	if err != nil {
		return nil, err
	}
	answer, err := c.http.Do(request)
	if err != nil {
		return nil, fmt.Errorf("ask the daemon at %s: %w", c.socket, err)
	}
	if answer.StatusCode == http.StatusOK {
		return answer, nil
	}
	text, err := io.ReadAll(io.LimitReader(answer.Body, 1<<12))
	err = errors.Join(err, answer.Body.Close())
	if err != nil {
		return nil, fmt.Errorf("daemon: %w", err)
	}
	return nil, fmt.Errorf("daemon: %s", strings.TrimSpace(string(text)))
}

// Append sends a group to the daemon.
func (c *client) Append(ctx context.Context, group []light.Reading) ([]light.Fate, error) {
	return ask[[]light.Reading, []light.Fate](ctx, c, pathReadings, group)
}

// AddEvent sends a log entry to the daemon.
func (c *client) AddEvent(ctx context.Context, e light.Event) (uint64, error) {
	return ask[light.Event, uint64](ctx, c, pathEvents, e)
}

func ask[Q, A any](ctx context.Context, c *client, path string, request Q) (answer A, err error) {
	var body bytes.Buffer
	if err := gob.NewEncoder(&body).Encode(request); err != nil {
		return answer, fmt.Errorf("write the request: %w", err)
	}
	r, err := c.do(ctx, http.MethodPost, path, &body)
	if err != nil {
		return answer, err
	}
	defer r.Body.Close() //nolint:errcheck // read to its end
	if err := gob.NewDecoder(r.Body).Decode(&answer); err != nil {
		return answer, fmt.Errorf("read the daemon's answer: %w", err)
	}
	return answer, nil
}

// snapshot fetches the daemon's database into a file of its own, which goes
// with the snapshot.
func (c *client) snapshot(ctx context.Context) (*Snapshot, error) {
	if err := c.greet(ctx); err != nil {
		return nil, err
	}
	f, err := os.CreateTemp("", "parstead-*.db") // 0600
	if err != nil {
		return nil, fmt.Errorf("room for a snapshot: %w", err)
	}
	remove := func() error {
		if err := os.Remove(f.Name()); !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		return nil
	}
	err = c.fetch(ctx, f)
	if err = errors.Join(err, f.Close()); err != nil {
		return nil, errors.Join(err, remove())
	}
	s, err := openFile(f.Name())
	if err != nil {
		return nil, errors.Join(err, remove())
	}
	s.path = filepath.Join(filepath.Dir(c.socket), FileName)
	_ = remove() // at once where the system lets an open file go
	release := s.release
	s.release = func() error { return errors.Join(release(), remove()) }
	return s, nil
}

// fetch writes the daemon's snapshot to w, whole or with an error.
func (c *client) fetch(ctx context.Context, w io.Writer) error {
	answer, err := c.do(ctx, http.MethodGet, pathSnapshot, nil)
	if err != nil {
		return err
	}
	n, err := io.CopyBuffer(struct{ io.Writer }{w}, answer.Body, make([]byte, copyBuffer))
	err = errors.Join(err, answer.Body.Close())
	c.http.CloseIdleConnections()
	if err == nil && n != answer.ContentLength {
		err = fmt.Errorf("it has %d bytes of %d", n, answer.ContentLength)
	}
	if err != nil {
		return fmt.Errorf("fetch the snapshot: %w", err)
	}
	return nil
}
