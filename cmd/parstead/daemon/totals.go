package daemon

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"sync"
	"time"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/trial"
	"parstead/light"
	"parstead/light/account"
	"parstead/light/daylight"
	"parstead/light/field"
	"parstead/light/watch"
	"parstead/store"
)

// totals is the light of the whole trial up to the running day, kept so that the
// page need only compute today and yesterday, and that a view costs the same
// however long the trial is.
type totals struct {
	trialInForce func() *trial.Trial
	db           *store.DB
	maps         field.Kept    // of the trial's bins
	suns         daylight.Kept // the same

	mu      sync.Mutex
	known   bool
	trial   *trial.Trial // that the totals are of
	day     light.Date   // the running day: totals go to the day before
	entry   uint64       // newest of the log that the totals have seen
	touched time.Time    // earliest reading that came since; zero for none
	lasted  time.Duration
	ended   time.Time // of the last sum, by the machine's clock
	sums    map[light.Position]light.DLI
	seasons map[string]*page.Season // by bin
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
	log, err := view.Events(ctx)
	if err != nil {
		return fmt.Errorf("read the log: %w", err)
	}
	sums := map[light.Position]light.DLI{}
	seasons := newSeasons(&t.Rack, light.Standing(log))
	s.suns.Forget() // what made the sums due may show the sun too
	season := account.New(&t.Rack, view, account.Options{Now: func() time.Time { return now }, Maps: s.maps.Maps, Suns: &s.suns})
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
		addDays(&t.Rack, seasons, days)
		debug.FreeOSMemory() // once a day: a small board has little
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.known, s.trial, s.day, s.entry, s.sums, s.seasons = true, t, day, entry, sums, seasons
	s.ended, s.lasted = time.Now(), time.Since(begun)
	return nil
}

// newSeasons begins the seasons of the rack's bins.
func newSeasons(rack *light.Rack, standing []light.Event) map[string]*page.Season {
	seasons := map[string]*page.Season{}
	for _, bin := range rack.Bins {
		var events []light.Event
		for _, e := range standing {
			if !e.Kind.Programs() && e.Kind != light.Mute && e.Kind != light.ClockStepped && e.Plant == "" && account.Concerns(rack, e, bin.Name) {
				events = append(events, e)
			}
		}
		seasons[bin.Name] = page.NewSeason(bin, rack, events)
	}
	return seasons
}

// addDays adds days to the seasons of their bins.
func addDays(rack *light.Rack, seasons map[string]*page.Season, days []account.Day) {
	for _, d := range account.PerBin(days) {
		seasons[d.Bin].Days = append(seasons[d.Bin].Days, d)
	}
	for _, d := range days {
		bin, _ := rack.Bin(d.Position.Bin)
		seasons[bin.Name].AddPlace(bin.Index(d.Position), d)
	}
}

// season is a bin's light on the days that are over; nil before it is known.
func (s *totals) season(bin string) *page.Season {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.seasons[bin]
}

// finished is a bin's light on the days that are over, as it is held against the
// bin's target.
func (s *totals) finished(bin string) []watch.BinDay {
	season := s.season(bin)
	if season == nil {
		return nil
	}
	days := make([]watch.BinDay, len(season.Days))
	for i, d := range season.Days {
		days[i] = watch.BinDay{Date: d.Date, Known: d.Known, Mean: d.Mean, Missing: d.Missing}
	}
	return days
}

// byPosition is each position's light up to the day before the running one.
func (s *totals) byPosition() map[light.Position]light.DLI {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.sums
}
