package main

import (
	"maps"
	"os"
	"path/filepath"
	"time"

	"parstead/cmd/parstead/page"
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
		case store.FileName, store.SocketName, toldFile, toldFile + ".new":
			continue
		}
		if e.IsDir() {
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
	looked  time.Time // by the machine's clock
	adopted map[string]stamp
	seen    map[string]stamp
}

// filesLooked is how often the folder is looked at, in rounds of keepHouse.
const filesLooked = 10

// adoptChanges takes changed files into use once they have stood still for one
// look and are free of errors; else the old ones stay in force and the
// condition "files" says why. It tells whether either has come about.
func (d *daemon) adoptChanges() (news bool) {
	a := &d.adoption
	if time.Since(a.looked) < filesLooked*d.tick {
		return false
	}
	a.looked = time.Now()
	t := d.trial.Load()
	now := stamps(t.Dir)
	if a.adopted == nil {
		a.adopted, a.seen = now, now
		return false
	}
	settled := maps.Equal(now, a.seen)
	a.seen = now
	if !settled || maps.Equal(now, a.adopted) {
		return false
	}
	a.adopted = now
	fresh, err := trial.Open(t.Dir)
	if err == nil {
		err = d.adopt(t, fresh)
	}
	if err != nil {
		d.log.Error("changed files not adopted", "error", err)
		d.alarms.filesAre(&page.Condition{
			Condition: conditionFiles, Since: d.clock.Now(),
			Says: "The trial's files have changed and can't be used; the old ones stay in force.",
			Do:   err.Error() + " Then the daemon takes them by itself. parstead check " + filepath.Base(t.Dir) + " lists everything.",
		})
		return true
	}
	d.alarms.filesAre(nil)
	d.log.Info("changed files adopted")
	return true
}

func (d *daemon) adopt(old, fresh *trial.Trial) error {
	if err := d.intake.SetFeeds(fresh.Feeds); err != nil {
		return err
	}
	if session, ok := d.source.(away); ok {
		if err := session.SetFilters(d.intake.Filters()); err != nil {
			d.log.Warn("topics not subscribed to now", "error", err)
		}
	}
	d.trial.Store(fresh)
	d.alarms.renew(watch.New(&fresh.Rack))
	if old.Broker != fresh.Broker || old.Page != fresh.Page {
		d.log.Warn("a changed [broker] or [page] takes effect at the next start")
	}
	return nil
}
