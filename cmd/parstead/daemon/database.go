package daemon

import (
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"time"

	"parstead/light/watch"
	"parstead/store"
)

// database is what the daemon knows of the file that it keeps readings in: whether
// it is still the one at its path, and whether it is found damaged.
type database struct {
	inPlace func() error
	folder  func() string
	now     func() time.Time

	mu     sync.Mutex
	since  time.Time // by now; zero while all is well
	cause  error
	damage error // for good
}

// look looks at the file, and tells whether that found something new.
func (x *database) look() (news bool) {
	cause := x.inPlace()
	x.mu.Lock()
	defer x.mu.Unlock()
	if cause == nil {
		cause = x.damage
	}
	if news = (cause == nil) != (x.cause == nil); news {
		x.since = x.now()
	}
	x.cause = cause
	return news
}

// damaged notes what was met while reading or writing.
func (x *database) damaged(err error) {
	x.mu.Lock()
	defer x.mu.Unlock()
	x.damage = err
}

// condition tells that the file was taken away, or is damaged. It looks first.
func (x *database) condition(time.Time) (c watch.Condition, ok bool) {
	x.look()
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.cause == nil {
		return c, false
	}
	c = watch.Condition{Kind: watch.Database, Since: x.since}
	folder := absolute(x.folder())
	var gone *store.DisplacedError
	switch {
	case !errors.As(x.cause, &gone):
		c.Says = fmt.Sprintf("%s is damaged: readings can't be kept (%v).", filepath.Join(folder, store.FileName), x.cause)
		c.Do = "The daemon ends. Set the file aside, then bring a backup back (parstead restore) or what can still be read (parstead restore --salvage)."
	case gone.Held:
		c.Says = fmt.Sprintf("%s %s while the daemon runs: readings can't be kept.", filepath.Join(folder, store.FileName), gone.What)
		c.Do = "Don't stop the daemon yet: it still holds all that it kept. If the file was only moved, move it back, and all is well. Else copy what the daemon holds: parstead backup " +
			folder + " FILE; then stop it, put the copy into a new folder (parstead restore FILE NEW) and go on there."
	default:
		c.Says = fmt.Sprintf("%s %s while the daemon runs: readings can't be kept.", filepath.Join(folder, store.FileName), gone.What)
		c.Do = "Stop the daemon, see that the right file is in its place (parstead restore brings a backup's), and start it again."
	}
	return c, true
}

// endsOn tells whether an error of the store is one after which only a restart
// helps. A daemon whose file was taken away goes on: it may hold the only copy.
func endsOn(err error) bool {
	var gone *store.DisplacedError
	return !errors.As(err, &gone) && (errors.Is(err, store.ErrFailed) || errors.Is(err, store.ErrDamaged))
}

// ready tells why the daemon can't do its work; nil if it can.
func (d *Daemon) ready() error {
	if c, is := d.database.condition(d.options.Clock.Now()); is {
		return errors.New(c.Says + " " + c.Do)
	}
	if c, is := d.keeper.condition(d.trial.Load().Dir); is {
		return errors.New(c.Says + " " + c.Do)
	}
	return d.totals.ready()
}
