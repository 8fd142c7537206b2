package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"parstead/cmd/parstead/backup"
	"parstead/cmd/parstead/trial"
	"parstead/light"
	"parstead/light/watch"
)

const (
	backupGrace = 26 * time.Hour // how long after it was due a backup may be missing
	backupRetry = time.Hour      // after one that failed
	backupLook  = time.Minute
)

// nightly is what the daemon knows of the backups that [backup] asks for.
type nightly struct {
	trial func() *trial.Trial // that is in force
	now   func() time.Time
	log   *slog.Logger

	mu      sync.Mutex
	since   time.Time // the daemon's start
	newest  time.Time // of the backups that are there; zero for none
	failure error     // of the last attempt; nil if it went well
	tried   time.Time
}

// run makes backups when they are due, until ctx ends. One that the
// machine slept through is made up for.
func (n *nightly) run(ctx context.Context) error {
	tick := time.NewTicker(backupLook)
	defer tick.Stop()
	for {
		if t := n.trial(); t.Backup != nil {
			n.keep(ctx, t, n.now())
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// keep makes a backup if one is due and none has been made or has failed since.
func (n *nightly) keep(ctx context.Context, t *trial.Trial, now time.Time) {
	there, err := backupsIn(t.Backup.Folder, t.Name)
	newest := time.Time{}
	for _, at := range there {
		if !at.After(now) { // else a wrong clock dated it
			newest = at
		}
	}
	n.mu.Lock()
	if err == nil {
		n.newest = newest
	}
	resting := n.failure != nil && now.Sub(n.tried).Abs() < backupRetry
	n.mu.Unlock()
	if resting || err == nil && !newest.Before(lastDue(t, now)) {
		return
	}
	if err == nil {
		_, err = backup.Write(ctx, t.Dir, filepath.Join(t.Backup.Folder, backupName(t.Name, now)), now)
	}
	if ctx.Err() != nil {
		return
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	n.failure, n.tried = err, now
	if err != nil {
		n.log.Error("no backup made", "folder", t.Backup.Folder, "error", err)
		return
	}
	n.newest = now
	n.log.Info("backup made", "folder", t.Backup.Folder)
	if err := prune(t); err != nil {
		n.log.Warn("old backups not removed", "folder", t.Backup.Folder, "error", err)
	}
}

// lastDue is the latest moment, up to now, at which a backup was due.
func lastDue(t *trial.Trial, now time.Time) time.Time {
	today := light.DateOf(now.In(t.Rack.Zone))
	if at := t.Backup.At.On(today, t.Rack.Zone); !at.After(now) {
		return at
	}
	return t.Backup.At.On(today.Add(-1), t.Rack.Zone)
}

// nextDue is the first moment after the given one at which a backup is due.
func nextDue(t *trial.Trial, after time.Time) time.Time {
	day := light.DateOf(after.In(t.Rack.Zone))
	if at := t.Backup.At.On(day, t.Rack.Zone); at.After(after) {
		return at
	}
	return t.Backup.At.On(day.Add(1), t.Rack.Zone)
}

// condition tells that the newest backup is too old.
func (n *nightly) condition(now time.Time) (c watch.Condition, ok bool) {
	t := n.trial()
	if t.Backup == nil {
		return c, false
	}
	n.mu.Lock()
	newest, failure, since := n.newest, n.failure, n.since
	n.mu.Unlock()
	says, from := "The newest backup in %s is of %s.", newest
	if newest.IsZero() {
		says, from = "There is no backup in %s; one was due on %s.", since
		if begun := t.Rack.Trial().From; failure != nil && begun.Before(since) {
			from = begun // it may have failed at many starts
		}
	}
	due := nextDue(t, from)
	if now.Sub(due) < backupGrace {
		return c, false
	}
	named := newest
	if newest.IsZero() {
		named = due
	}
	c = watch.Condition{
		Kind: watch.Backup, Since: due,
		Says: fmt.Sprintf(says, t.Backup.Folder, named.In(t.Rack.Zone).Format("2 January, 15:04")),
		Do:   watch.Backup.Do(),
	}
	if failure != nil {
		c.Says += " The last attempt failed: " + failure.Error() + "."
	}
	return c, true
}

// backupTime is how a backup's name tells when it was made.
const backupTime = "20060102T150405Z"

// slug makes a trial's name a part of a file's.
func slug(name string) string {
	return strings.Map(func(r rune) rune {
		if r == '-' || r == '_' || '0' <= r && r <= '9' || 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z' {
			return r
		}
		return '-'
	}, name)
}

func backupName(trial string, at time.Time) string {
	return "parstead-" + slug(trial) + "-" + at.UTC().Format(backupTime) + ".zip"
}

// backupsIn lists when the trial's backups in a folder were made, by their
// names, oldest first.
func backupsIn(folder, trial string) ([]time.Time, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, fmt.Errorf("look into the folder of backups: %w", err)
	}
	var made []time.Time
	for _, e := range entries {
		text, ok := strings.CutPrefix(e.Name(), "parstead-"+slug(trial)+"-")
		text, whole := strings.CutSuffix(text, ".zip")
		if at, err := time.Parse(backupTime, text); ok && whole && err == nil && e.Type().IsRegular() {
			made = append(made, at)
		}
	}
	slices.SortFunc(made, time.Time.Compare)
	return made, nil
}

// prune removes the trial's own backups beyond the newest few.
func prune(t *trial.Trial) error {
	made, err := backupsIn(t.Backup.Folder, t.Name)
	if err != nil {
		return err
	}
	for len(made) > t.Backup.Keep {
		if err := os.Remove(filepath.Join(t.Backup.Folder, backupName(t.Name, made[0]))); err != nil {
			return fmt.Errorf("remove an old backup: %w", err)
		}
		made = made[1:]
	}
	return nil
}
