package main

import (
	"archive/zip"
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"parstead/store"
)

func TestBackupComesBack(t *testing.T) {
	t.Parallel()
	dir := rackFolder(t, march, ownBroker)
	must(t, march, airRows(), "import", dir, "-")
	must(t, march, "", "note", dir, "wiped the lamp", "--kind", "lamp_cleaned")
	if err := os.Mkdir(filepath.Join(dir, "photos"), 0o700); err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{
		"plants.csv": "plant,species\nA1,fern\n", "photos/A1-2026-03-04-1.jpg": "a picture", "photos/mine.txt": "mine", "entry-code": "secret", "old.zip": "a backup of before", "notes.txt": "mine",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	file, again := filepath.Join(t.TempDir(), "rack.zip"), filepath.Join(t.TempDir(), "new", "rack")
	narrow(t, strings.ReplaceAll(must(t, march, "", "backup", dir, file), file, "FILE"))
	if info, err := os.Stat(file); err != nil || info.Mode().Perm()&0o077 != 0 {
		t.Errorf("%v, %v", info, err)
	}
	z, err := zip.OpenReader(file)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range z.File {
		names = append(names, f.Name)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	if want := []string{"plants.csv", "trial.toml", "photos/A1-2026-03-04-1.jpg", "readings.db", "contents.json"}; !slices.Equal(names, want) {
		t.Errorf("the backup holds %q, want %q", names, want)
	}
	must(t, march, "", "restore", file, again)
	for _, ask := range [][]string{{"dli"}, {"climate"}, {"note"}} {
		a := must(t, march, "", ask[0], dir, "--json")
		if b := must(t, march, "", ask[0], again, "--json"); a != b || len(a) < 100 {
			t.Errorf("%s differs after restoring", ask[0])
		}
	}
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"backup", dir, file}, "exists already"},
		{[]string{"restore", file, again}, "is not empty"},
		{[]string{"backup", t.TempDir(), file + "2"}, "holds no trial.toml"},
		{[]string{"backup", dir, filepath.Join(dir, "none", "rack.zip")}, "is not there: make it, or see that its stick"},
		{[]string{"restore", "--salvage", filepath.Join(dir, "readings.db"), dir}, "move it away first"},
		{[]string{"restore", "--salvage", file, rackFolder(t, march, ownBroker)}, "bring back a backup, which needs no --salvage"},
		{[]string{"restore", filepath.Join(dir, "trial.toml"), filepath.Join(t.TempDir(), "x")}, "no whole backup"},
		{[]string{"restore", filepath.Join(dir, "none.zip"), filepath.Join(t.TempDir(), "x")}, "none.zip"},
	} {
		status, _, talk := command(t, march, "", c.args...)
		if status != 1 || !strings.Contains(talk, c.says) || strings.Count(talk, "\n") != 1 {
			t.Errorf("%q: exit status %d, %q", c.args, status, talk)
		}
	}
	left, err := os.ReadDir(filepath.Dir(file))
	if err != nil || len(left) != 1 {
		t.Errorf("left beside the backup: %v, %v", left, err)
	}
}

// What meets a damaged database says so, with the database's name and the way
// out, in one line, and leaves it as it is.
func TestADamagedDatabaseIsNamed(t *testing.T) {
	t.Parallel()
	dir := rackFolder(t, march, ownBroker)
	must(t, march, airRows(), "import", dir, "-")
	path := filepath.Join(dir, "readings.db")
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	flipped := bytes.Clone(whole)
	head := []byte{'G', 1} // of a record of readings, see package store
	for i := bytes.Index(whole, head); i >= 0; {
		if i+40 < len(flipped) {
			flipped[i+40] ^= 1
		}
		next := bytes.Index(whole[i+1:], head)
		if next < 0 {
			break
		}
		i += 1 + next
	}
	for name, damaged := range map[string][]byte{"cut": whole[:3*os.Getpagesize()], "a byte": flipped} {
		if err := os.WriteFile(path, damaged, 0o600); err != nil {
			t.Fatal(err)
		}
		for _, args := range [][]string{
			{"climate", dir},
			{"export", dir, filepath.Join(t.TempDir(), "out")},
			{"backup", dir, filepath.Join(t.TempDir(), "rack.zip")},
			{"note", dir, "looked in"},
			{"run", dir},
		} {
			status, _, talk := command(t, march, "", args...)
			if status != 1 || strings.Count(talk, "\n") != 1 || !strings.Contains(talk, path+" is damaged and was left as it is") || !strings.Contains(talk, "restore --salvage") {
				t.Fatalf("%s, %q: exit status %d, %s", name, args[0], status, talk) // run would not end
			}
		}
		if now, err := os.ReadFile(path); err != nil || !bytes.Equal(now, damaged) {
			t.Errorf("%s: the damaged database was changed, %v", name, err)
		}
	}
}

// A backup with any byte changed is refused, and leaves no folder.
func TestDamagedBackupIsRefused(t *testing.T) {
	t.Parallel()
	dir := rackFolder(t, march, ownBroker)
	must(t, march, airRows(), "import", dir, "-")
	file := filepath.Join(t.TempDir(), "rack.zip")
	must(t, march, "", "backup", dir, file)
	whole, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	refused := 0
	for i := range 40 {
		at := i * len(whole) / 40
		broken := bytes.Clone(whole)
		broken[at] ^= 0x20
		bad, into := filepath.Join(t.TempDir(), "bad.zip"), filepath.Join(t.TempDir(), "into")
		if err := os.WriteFile(bad, broken, 0o600); err != nil {
			t.Fatal(err)
		}
		if status, _, _ := command(t, march, "", "restore", bad, into); status == 1 {
			refused++
			if _, err := os.Stat(into); err == nil {
				t.Errorf("byte %d: there is a folder", at)
			}
			continue
		}
		// A byte of zip's own that nothing depends on, such as a date: all is there.
		if a, b := must(t, march, "", "dli", dir, "--json"), must(t, march, "", "dli", into, "--json"); a != b {
			t.Errorf("byte %d changed: restored, and not the same", at)
		}
	}
	if refused < 30 {
		t.Errorf("only %d of 40 refused", refused)
	}
	for _, n := range []int{0, 10, len(whole) / 2, len(whole) - 1} {
		bad := filepath.Join(t.TempDir(), "cut.zip")
		if err := os.WriteFile(bad, whole[:n], 0o600); err != nil {
			t.Fatal(err)
		}
		if status, _, talk := command(t, march, "", "restore", bad, filepath.Join(t.TempDir(), "into")); status != 1 {
			t.Errorf("cut at %d: exit status %d, %s", n, status, talk)
		}
	}
}

// What no backup holds is missed at once, and the next step says so.
func TestRestoreAsksForCodes(t *testing.T) {
	t.Parallel()
	dir := rackFolder(t, march, ownBroker)
	config := filepath.Join(dir, "trial.toml")
	text, err := os.ReadFile(config)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "plain.zip")
	must(t, march, "", "backup", dir, file)
	if said := must(t, march, "", "restore", file, filepath.Join(t.TempDir(), "plain")); strings.Contains(said, "put back") {
		t.Errorf("nothing is missing: %s", said)
	}
	writeFiles(t, dir, map[string]string{"trial.toml": strings.Replace(string(text), "[page]\n", "[page]\ncode_file = \"entry-code\"\n", 1), "entry-code": "secret"})
	file = filepath.Join(t.TempDir(), "coded.zip")
	must(t, march, "", "backup", dir, file)
	if said := must(t, march, "", "restore", file, filepath.Join(t.TempDir(), "coded")); !strings.Contains(said, "put back by hand entry-code (no backup holds passwords") {
		t.Errorf("the code is missing: %s", said)
	}
}

// The drill: a damaged database is told, set aside, and salvaged.
func TestSalvage(t *testing.T) {
	t.Parallel()
	dir := rackFolder(t, march, ownBroker)
	must(t, march, airRows(), "import", dir, "-")
	must(t, march, "", "note", dir, "wiped the lamp", "--kind", "lamp_cleaned")
	before := must(t, march, "", "climate", dir, "--json")
	path := filepath.Join(dir, store.FileName)
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	page := os.Getpagesize() // bbolt's; the first two pages say where everything is
	clear(content[:2*page])
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	status, _, talk := command(t, march, "", "climate", dir)
	if status != 1 || !strings.Contains(talk, "salvage") || strings.Count(talk, "\n") != 1 {
		t.Errorf("with a damaged database: exit status %d, %s", status, talk)
	}
	if status, _, talk := command(t, march, "", "restore", "--salvage", path, dir); status != 1 || !strings.Contains(talk, "exists already") {
		t.Errorf("over what is there: %d, %s", status, talk)
	}
	aside := filepath.Join(t.TempDir(), "damaged.db")
	if err := os.Rename(path, aside); err != nil {
		t.Fatal(err)
	}
	said := must(t, march, "", "restore", "--salvage", aside, dir)
	narrow(t, strings.ReplaceAll(said, dir, "FOLDER"))
	if lost := !strings.Contains(said, "could not be read: 0\n"); lost != strings.Contains(said, "parstead import "+dir) {
		t.Errorf("what is lost and how it comes back: %s", said)
	}
	if after := must(t, march, "", "climate", dir, "--json"); after != before {
		t.Error("the climate is not the same after salvaging")
	}
	if log := must(t, march, "", "note", dir); !strings.Contains(log, "wiped the lamp") {
		t.Errorf("the log: %s", log)
	}
}
