package daemon

import (
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"parstead/cmd/parstead/atomicfile"
	"parstead/cmd/parstead/trial"
	"parstead/light/watch"
	"parstead/store"
)

// stamp tells one state of a file from another.
type stamp struct {
	size     int64
	modified time.Time
}

// stamps are those of the folder's files, the daemon's own left out.
func stamps(folder string) map[string]stamp {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil
	}
	found := map[string]stamp{}
	for _, e := range entries {
		switch e.Name() {
		case store.FileName, store.SocketName, toldFile:
			continue
		}
		if e.IsDir() || strings.HasSuffix(e.Name(), atomicfile.Ending) {
			continue
		}
		if info, err := e.Info(); err == nil {
			found[e.Name()] = stamp{info.Size(), info.ModTime()}
		}
	}
	return found
}

// adoption takes the trial's files into use when they have changed.
type adoption struct {
	trial func() *trial.Trial                 // that is in force
	use   func(old, fresh *trial.Trial) error // puts another in force
	now   func() time.Time
	log   *slog.Logger

	mu      sync.Mutex
	looked  time.Time // by the machine's clock
	adopted map[string]stamp
	seen    map[string]stamp
	wrong   atomic.Pointer[watch.Condition] // the files can't be used; nil while they can
	since   atomic.Pointer[moment]          // they are being read; nil while they are not
	reading func()                          // tests hold it up
}

// moment is one moment by the machine's clock and by the daemon's.
type moment struct{ machine, clock time.Time }

// look takes changed files into use once they have stood still for one look and
// are free of errors; else the old ones stay in force and the condition "files"
// says why. It tells whether either has come about. It looks so often at most.
func (a *adoption) look(every time.Duration) (news bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if time.Since(a.looked) < every {
		return false
	}
	a.looked = time.Now()
	now := stamps(a.trial().Dir)
	if a.adopted == nil {
		a.adopted, a.seen = now, now
		return false
	}
	still := maps.Equal(now, a.seen)
	a.seen = now
	if !still || maps.Equal(now, a.adopted) {
		return false
	}
	a.take(now)
	return true
}

// own takes the sheets into use that the daemon itself has just written.
func (a *adoption) own() {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.take(stamps(a.trial().Dir))
}

// take takes the folder's files into use. The caller holds a.mu.
func (a *adoption) take(now map[string]stamp) {
	t := a.trial()
	a.adopted, a.seen = now, now
	a.since.Store(&moment{time.Now(), a.now()})
	defer a.since.Store(nil)
	if a.reading != nil {
		a.reading()
	}
	fresh, err := trial.OpenToRun(t.Dir)
	if err == nil {
		err = a.use(t, fresh)
	}
	if err != nil {
		a.log.Error("changed files not adopted", "error", err)
		a.wrong.Store(&watch.Condition{
			Kind: watch.Files, Since: a.now(),
			Says: "The trial's files have changed and can't be used; the old ones stay in force.",
			Do:   err.Error() + " Then the daemon takes them by itself. parstead check " + filepath.Base(t.Dir) + " lists everything.",
		})
		return
	}
	a.wrong.Store(nil)
	a.log.Info("changed files adopted")
}

// longestReading is how long the trial's files may be read before it is told.
const longestReading = time.Minute

// condition tells that the files can't be used.
func (a *adoption) condition(time.Time) (watch.Condition, bool) {
	wrong := a.wrong.Load()
	if since := a.since.Load(); since != nil && time.Since(since.machine) > longestReading {
		return watch.Condition{
			Kind: watch.Files, Since: since.clock,
			Says: "The trial's files have changed and are being read for more than a minute; the old ones stay in force.",
			Do:   "Look whether the disk or the network folder that holds " + absolute(a.trial().Dir) + " answers.",
		}, true
	}
	if wrong == nil {
		return watch.Condition{}, false
	}
	return *wrong, true
}
