package daemon

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"sync"
	"time"

	"parstead/cmd/parstead/trial"
	"parstead/light"
	"parstead/light/account"
	"parstead/light/field"
	"parstead/store"
)

// totals is the light of the whole trial up to the running day, kept so that the
// page need only compute today and yesterday.
type totals struct {
	trialInForce func() *trial.Trial
	db           *store.DB
	maps         field.Kept // of the trial's bins

	mu      sync.Mutex
	known   bool
	trial   *trial.Trial // that the totals are of
	day     light.Date   // the running day: totals go to the day before
	entry   uint64       // newest of the log that the totals have seen
	touched time.Time    // earliest reading that came since; zero for none
	lasted  time.Duration
	ended   time.Time // of the last sum, by the machine's clock
	sums    map[light.Position]light.DLI
}

var errTotals = errors.New("the light of the days so far is being added up; ask again in a moment")

func (s *totals) ready() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.known {
		return errTotals
	}
	return nil
}

// touch notes that readings came which reach back to at.
func (s *totals) touch(at time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.touched.IsZero() || at.Before(s.touched) {
		s.touched = at
	}
}

// restBetween is how many times as long as the sum of the days took the next
// one waits while late readings go on coming in.
const restBetween = 20

// due tells whether the finished days are to be added up anew: when a day has
// ended, the files have changed, something was logged (a note can reach back
// over any day) or readings came for a finished day.
func (s *totals) due(t *trial.Trial, day light.Date, entry uint64) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.known || s.trial != t || s.day != day || s.entry != entry {
		return true
	}
	if s.touched.IsZero() || !s.touched.Before(t.Rack.Day(day).From) {
		s.touched = time.Time{}
		return false
	}
	return time.Since(s.ended) > restBetween*s.lasted
}

// carry keeps the totals for a trial whose rack is as it was.
func (s *totals) carry(old, fresh *trial.Trial) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.trial == old {
		s.trial = fresh
	}
}

// passed keeps the totals for an entry of the log that is not about light.
func (s *totals) passed(entry uint64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.entry == entry-1 {
		s.entry = entry
	}
}

// daysAtOnce bounds the memory that adding up takes, however long the trial.
const daysAtOnce = 28

// update adds the finished days up anew if that is due. It is cheap if not.
func (s *totals) update(ctx context.Context, now time.Time) error {
	t := s.trialInForce()
	day := t.Rack.DateAt(now)
	entry := s.db.LastEvent()
	if !s.due(t, day, entry) {
		return nil
	}
	begun := time.Now()
	s.mu.Lock()
	s.touched = time.Time{} // what comes from here on may be missing in the view
	s.mu.Unlock()
	view, err := s.db.View()
	if err != nil {
		return fmt.Errorf("open a view: %w", err)
	}
	defer view.Close() //nolint:errcheck // it only read
	sums := map[light.Position]light.DLI{}
	season := account.New(&t.Rack, view, account.Options{Maps: s.maps.Maps})
	last := light.Earlier(day.Add(-1), t.Rack.Ends)
	for from := t.Rack.Starts; !last.Before(from); from = from.Add(daysAtOnce) {
		days, err := season.Days(ctx, from, light.Earlier(from.Add(daysAtOnce-1), last))
		if err != nil {
			return err
		}
		for _, x := range days {
			if x.Known {
				sums[x.Position] += x.DLI
			}
		}
		debug.FreeOSMemory() // once a day: a small board has little
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.known, s.trial, s.day, s.entry, s.sums = true, t, day, entry, sums
	s.ended, s.lasted = time.Now(), time.Since(begun)
	return nil
}

// byPosition is each position's light up to the day before the running one.
func (s *totals) byPosition() map[light.Position]light.DLI {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.sums
}
