package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"parstead/ingest"
	"parstead/store"
)

// listener passes deliveries on to the intake and, while parstead topics asks, notes
// what they hold: the embedded broker lets nobody else listen.
type listener struct {
	ingest.Taker
	feeds     func() []ingest.Feed             // that are set up now
	listening atomic.Pointer[ingest.Listening] // nil while nobody asks
}

// Take hands the delivery on.
func (e *listener) Take(d ingest.Delivery) {
	if l := e.listening.Load(); l != nil {
		noted := d
		noted.From = nil // the intake acknowledges
		l.Take(noted)
	}
	e.Taker.Take(d)
}

// What the socket serves beside the store's.
const (
	pathTopics    = "/v1/topics"
	LongestListen = 9 * time.Minute // less than the socket gives an answer
)

// Heard is what arrived while somebody listened: what arrived, and how many topics were too many.
type Heard struct {
	Found   []ingest.Found
	Dropped int
}

// ServeHTTP listens as long as the request's "for" says and answers what came.
func (e *listener) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if r.Method+" "+r.URL.Path != "GET "+pathTopics {
		http.Error(w, "the daemon is of another version: stop it and start it again", http.StatusNotFound)
		return
	}
	patience, err := time.ParseDuration(r.URL.Query().Get("for"))
	if err != nil || patience <= 0 || patience > LongestListen {
		http.Error(w, "for: not a duration up to "+LongestListen.String(), http.StatusBadRequest)
		return
	}
	l, err := ingest.Listen(ingest.SystemClock(), e.feeds())
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	if !e.listening.CompareAndSwap(nil, l) {
		http.Error(w, "somebody is listening already: ask again when that has ended", http.StatusConflict)
		return
	}
	timer := time.NewTimer(patience)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-r.Context().Done():
	}
	e.listening.Store(nil)
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(Heard{l.Found(), l.Dropped()}) // the other end may have gone
}

// ErrNone says that no daemon answers at the folder's socket.
var ErrNone = errors.New("no daemon answers")

// Ask asks the folder's daemon what arrives.
func Ask(ctx context.Context, folder string, patience time.Duration) (heard Heard, err error) {
	socket := filepath.Join(folder, store.SocketName)
	client := http.Client{Transport: &http.Transport{
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			return new(net.Dialer).DialContext(ctx, "unix", socket)
		},
	}}
	defer client.CloseIdleConnections()
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://daemon"+pathTopics+"?for="+patience.String(), nil)
	if err != nil {
		return heard, err
	}
	answer, err := client.Do(request)
	switch {
	case errors.Is(err, syscall.ENOENT), store.Refused(err):
		return heard, ErrNone
	case err != nil:
		return heard, fmt.Errorf("ask the daemon: %w", err)
	}
	defer answer.Body.Close() //nolint:errcheck // it only read
	if answer.StatusCode != http.StatusOK {
		says, _ := io.ReadAll(io.LimitReader(answer.Body, 1000)) // what came of it will do
		return heard, fmt.Errorf("ask the daemon: %s", strings.TrimSpace(string(says)))
	}
	if err := json.NewDecoder(answer.Body).Decode(&heard); err != nil {
		return heard, fmt.Errorf("ask the daemon: %w", err)
	}
	return heard, nil
}
