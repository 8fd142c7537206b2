package daemon

import (
	"io"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/backup"
	"parstead/cmd/parstead/racktest"
	"parstead/light"
	"parstead/store"
)

// taken are the ways in which a database was seen to go while a daemon had it open.
var taken = map[string]struct {
	take func(path, other string) error
	says string
	held bool // the daemon still holds all that it kept
	back bool // the file can be put back
}{
	"removed":  {func(path, _ string) error { return os.Remove(path) }, "was removed", true, false},
	"moved":    {func(path, _ string) error { return os.Rename(path, path+".away") }, "was removed", true, true},
	"replaced": {func(path, other string) error { return os.Rename(other, path) }, "was replaced by another file", true, false},
	"restored over": {func(path, other string) error {
		b, err := os.ReadFile(other)
		if err != nil {
			return err
		}
		return os.WriteFile(path, b, 0o600)
	}, "was written over", false, false},
	"emptied": {func(path, _ string) error { return os.Truncate(path, 0) }, "was written over", false, false},
}

func done(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// otherDatabase makes one with a reading of another trial.
func otherDatabase(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), store.FileName)
	db, err := store.Open(path, store.Options{})
	done(t, err)
	_, err = db.Append(t.Context(), []light.Reading{{Sensor: "elsewhere", At: racktest.Midday, Value: 7}})
	done(t, err)
	done(t, db.Close())
	return path
}

// The database goes while the daemon runs: it is told at once, on every way; no
// reading is acknowledged from then on, while it may go on being read; a backup
// brings all that was acknowledged, or says why not.
func TestADatabaseThatIsTakenAwayIsTold(t *testing.T) {
	t.Parallel()
	if runtime.GOOS == "windows" {
		t.Skip("an open file can't be removed, renamed or cut there")
	}
	for name, c := range taken {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			out := racktest.NewOutbox(t)
			dir := racktest.SmallTrial(t, "[tell]\n"+out.Command())
			clock := racktest.NewClock(racktest.Midday)
			w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
			sensor := w.device("upper")
			racktest.Send(t, sensor, "rack/upper", 100)
			racktest.Eventually(t, "the first look", w.judged)
			path := filepath.Join(dir, store.FileName)
			done(t, c.take(path, otherDatabase(t)))

			racktest.Eventually(t, "the condition, without a reading and without the clock moving", func() bool {
				return strings.Contains(w.get("/metrics"), `parstead_condition_active{bin="",condition="database",sensor=""} 1`)
			})
			if token := sensor.Publish("rack/upper", 1, false, "101"); token.WaitTimeout(500*time.Millisecond) && token.Error() == nil {
				t.Error("a reading was acknowledged that is in no database")
			}
			if page := w.get("/"); !strings.Contains(page, c.says) || strings.Contains(page, "All well") || !strings.Contains(page, "parstead restore") {
				t.Errorf("the page: %s", page)
			}
			answer, err := http.Get("http://" + w.page.Addr().String() + "/ready")
			done(t, err)
			text, err := io.ReadAll(answer.Body)
			done(t, err)
			done(t, answer.Body.Close())
			if answer.StatusCode != http.StatusServiceUnavailable || !strings.Contains(string(text), c.says) {
				t.Errorf("ready: %d %s", answer.StatusCode, text)
			}
			racktest.Eventually(t, "the message", func() bool { short, _ := out.Messages(); return slices.Contains(short, "database") })

			backupAfter(t, dir, c.held, c.says)
			if c.back {
				done(t, os.Rename(path+".away", path))
				racktest.Eventually(t, "the end of it", func() bool { short, _ := out.Messages(); return slices.Contains(short, "over database") })
				racktest.Send(t, w.device("upper"), "rack/upper", 102)
			}
			w.stop()
		})
	}
}

// backupAfter makes a backup of a trial whose database was taken away, and looks
// for the reading that was acknowledged before.
func backupAfter(t *testing.T, dir string, held bool, says string) {
	t.Helper()
	file, into := filepath.Join(t.TempDir(), "copy.zip"), filepath.Join(t.TempDir(), "into")
	_, err := backup.Write(t.Context(), dir, file, racktest.Midday)
	if !held {
		if err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("a backup of what was written over: %v", err)
		}
		return
	}
	done(t, err)
	_, err = backup.Restore(t.Context(), file, into)
	done(t, err)
	view, err := store.OpenFolder(t.Context(), into)
	done(t, err)
	defer view.Close() //nolint:errcheck // it only read
	var kept light.Series
	done(t, view.Series(t.Context(), "upper", light.Span{}, &kept))
	if kept.Len() == 0 || kept.Values[0] != 100 {
		t.Errorf("the backup holds %v of upper", kept.Values)
	}
}
