package daemon

import (
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/backup"
	"parstead/cmd/parstead/racktest"
	"parstead/cmd/parstead/trial"
	"parstead/light/watch"
)

const backupSetting = racktest.OwnBroker + "\n[backup]\nfolder = %q\nat = \"03:30\"\nkeep = 2\n"

func TestNightlyBackups(t *testing.T) {
	t.Parallel()
	stick := t.TempDir()
	dir := racktest.RackTrial(t, racktest.March, strings.Replace(backupSetting, "%q", `"`+stick+`"`, 1))
	racktest.Lived(t, dir, racktest.March, 1, 100)
	tr, err := trial.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	n := &nightly{trial: func() *trial.Trial { return tr }, log: slog.New(slog.DiscardHandler), since: racktest.March}
	other := "parstead-rack-of-another-20260301T000000Z.zip"
	if err := os.WriteFile(filepath.Join(stick, other), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	at := func(text string) time.Time {
		t.Helper()
		at, err := time.Parse("2006-01-02 15:04", text)
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	for _, c := range []struct{ now, want string }{
		{"2026-03-04 12:00", "20260304T120000Z"}, // the first at once
		{"2026-03-05 03:29", "20260304T120000Z"},
		{"2026-03-05 03:30", "20260304T120000Z 20260305T033000Z"},
		{"2026-03-05 03:31", "20260304T120000Z 20260305T033000Z"},
		{"2026-03-07 18:00", "20260305T033000Z 20260307T180000Z"}, // slept through; two are kept
		{"2026-03-08 03:30", "20260307T180000Z 20260308T033000Z"},
	} {
		n.keep(t.Context(), tr, at(c.now))
		made, err := backupsIn(stick, tr.Name)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, m := range made {
			got = append(got, m.Format(backupTime))
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("at %s there are %q, want %s", c.now, got, c.want)
		}
		if c, ok := n.condition(at(c.now)); ok {
			t.Errorf("condition %v", c)
		}
	}
	if _, err := os.Stat(filepath.Join(stick, other)); err != nil {
		t.Errorf("another's file: %v", err)
	}

	if _, err := backup.Restore(t.Context(), filepath.Join(stick, "parstead-rack-20260308T033000Z.zip"), filepath.Join(t.TempDir(), "again")); err != nil {
		t.Error(err)
	}

	// The stick is gone: told 26 hours after the next one was due.
	if err := os.Rename(stick, stick+"-gone"); err != nil {
		t.Fatal(err)
	}
	n.keep(t.Context(), tr, at("2026-03-09 03:30"))
	if _, ok := n.condition(at("2026-03-10 05:29")); ok {
		t.Error("told too early")
	}
	c, ok := n.condition(at("2026-03-10 05:30"))
	if !ok || c.Kind != watch.Backup || !strings.Contains(c.Says, "8 March, 03:30") || !strings.Contains(c.Says, "failed") {
		t.Errorf("%v, %+v", ok, c)
	}
	if err := os.Rename(stick+"-gone", stick); err != nil {
		t.Fatal(err)
	}
	n.keep(t.Context(), tr, at("2026-03-10 05:40"))
	if _, ok := n.condition(at("2026-03-10 05:41")); ok {
		t.Error("not over once a backup is made")
	}
}
