package daemon

import (
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
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

// adoption is what adoptChanges remembers between two looks.
type adoption struct {
	mu      sync.Mutex
	looked  time.Time // by the machine's clock
	adopted map[string]stamp
	seen    map[string]stamp
}

// filesLooked is how often the folder is looked at, in rounds of keepHouse.
const filesLooked = 10

// adoptChanges takes changed files into use once they have stood still for one
// look and are free of errors; else the old ones stay in force and the
// condition "files" says why. It tells whether either has come about.
func (d *Daemon) adoptChanges() (news bool) {
	a := &d.adoption
	a.mu.Lock()
	defer a.mu.Unlock()
	if time.Since(a.looked) < filesLooked*d.options.tick {
		return false
	}
	a.looked = time.Now()
	now := stamps(d.trial.Load().Dir)
	if a.adopted == nil {
		a.adopted, a.seen = now, now
		return false
	}
	settled := maps.Equal(now, a.seen)
	a.seen = now
	if !settled || maps.Equal(now, a.adopted) {
		return false
	}
	d.takeFiles(now)
	return true
}

// adoptOwn takes the sheets into use that the daemon itself has just written.
func (d *Daemon) adoptOwn() {
	a := &d.adoption
	a.mu.Lock()
	defer a.mu.Unlock()
	d.takeFiles(stamps(d.trial.Load().Dir))
}

// takeFiles takes the folder's files into use. The caller holds d.adoption.mu.
func (d *Daemon) takeFiles(now map[string]stamp) {
	t := d.trial.Load()
	d.adoption.adopted, d.adoption.seen = now, now
	fresh, err := trial.OpenToRun(t.Dir)
	if err == nil {
		err = d.adopt(t, fresh)
	}
	if err != nil {
		d.options.Log.Error("changed files not adopted", "error", err)
		d.alarms.filesAre(&watch.Condition{
			Kind: watch.Files, Since: d.options.Clock.Now(),
			Says: "The trial's files have changed and can't be used; the old ones stay in force.",
			Do:   err.Error() + " Then the daemon takes them by itself. parstead check " + filepath.Base(t.Dir) + " lists everything.",
		})
		return
	}
	d.alarms.filesAre(nil)
	d.options.Log.Info("changed files adopted")
}

func (d *Daemon) adopt(old, fresh *trial.Trial) error {
	if err := d.setCode(fresh); err != nil {
		return err
	}
	if err := d.intake.SetFeeds(fresh.Feeds); err != nil {
		return err
	}
	if session, ok := d.source.(away); ok {
		if err := session.SetFilters(d.intake.Filters()); err != nil {
			d.options.Log.Warn("topics not subscribed to now", "error", err)
		}
	}
	d.trial.Store(fresh)
	if reflect.DeepEqual(old.Rack, fresh.Rack) { // a sheet of plants: light and baselines are as they were
		d.live.carry(old, fresh)
	} else {
		d.alarms.renew(watch.New(&fresh.Rack))
	}
	was, is := old.Page, fresh.Page
	was.Code, is.Code = "", "" // in use already
	if old.Broker != fresh.Broker || was != is {
		d.options.Log.Warn("a changed [broker] or [page] takes effect at the next start")
	}
	return nil
}
