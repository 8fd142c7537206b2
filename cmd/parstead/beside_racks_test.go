package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
	"parstead/cmd/parstead/trial"
)

// rackAt is the small trial, called name, with its broker and page as given.
func rackAt(t *testing.T, name, broker, page string) string {
	t.Helper()
	dir := racktest.SmallTrial(t, "")
	text := racktest.Text(t, dir, "trial.toml")
	text = strings.Replace(text, `"test rack"`, `"`+name+`"`, 1)
	text = strings.Replace(text, "[broker]\nlisten = \"127.0.0.1:0\"", "[broker]\n"+broker, 1)
	text = strings.Replace(text, "[page]\nlisten = \"127.0.0.1:0\"", "[page]\nlisten = \""+page+"\"", 1)
	if err := os.WriteFile(filepath.Join(dir, "trial.toml"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return dir
}

// Racks in one another's way are told before any of them runs.
func TestRacksInOneAnothersWay(t *testing.T) {
	t.Parallel()
	const url = `url = "tcp://broker.example:1883"`
	for name, c := range map[string]struct {
		first, second []string // name, broker, page
		errors        int
		says          []string
	}{
		"well apart":         {[]string{"north", url, "127.0.0.1:8621"}, []string{"south", `url = "tcp://other.example:1883"`, "127.0.0.1:8622"}, 0, nil},
		"one page":           {[]string{"north", `listen = "127.0.0.1:1883"`, "127.0.0.1:8621"}, []string{"south", `listen = "127.0.0.1:1884"`, "127.0.0.1:8621"}, 1, []string{"its page listens at 127.0.0.1:8621"}},
		"one broker of two":  {[]string{"north", `listen = "127.0.0.1:1883"`, "127.0.0.1:8621"}, []string{"south", `listen = "127.0.0.1:1883"`, "127.0.0.1:8622"}, 1, []string{"its broker listens at 127.0.0.1:1883"}},
		"one name":           {[]string{"north", url, "127.0.0.1:8621"}, []string{"north", url + "\nclient_id = \"b\"", "127.0.0.1:8622"}, 0, []string{`is called "north"`, "rack/upper, rack/lower"}},
		"one client_id":      {[]string{"north", url + "\nclient_id = \"a\"", "127.0.0.1:8621"}, []string{"south", url + "\nclient_id = \"a\"", "127.0.0.1:8622"}, 1, []string{`calls itself "a"`, "client_id of its own"}},
		"one name, no id":    {[]string{"north", url, "127.0.0.1:8621"}, []string{"north", url, "127.0.0.1:8622"}, 1, []string{`calls itself "parstead-north"`}},
		"one topic":          {[]string{"north", url, "127.0.0.1:8621"}, []string{"south", url, "127.0.0.1:8622"}, 0, []string{"light sensors count here and in ", "topics of their own"}},
		"ports drawn at run": {[]string{"north", `listen = "127.0.0.1:0"`, "127.0.0.1:0"}, []string{"south", `listen = "127.0.0.1:0"`, "127.0.0.1:0"}, 0, nil},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			a, b := rackAt(t, c.first[0], c.first[1], c.first[2]), rackAt(t, c.second[0], c.second[1], c.second[2])
			status, out, _ := command(t, time.Now(), "", "check", "--json", a, b)
			var list []trial.Problem
			if err := json.Unmarshal([]byte(out), &list); err != nil {
				t.Fatal(err)
			}
			faults, beside := 0, ""
			for _, p := range list {
				if p.Level == trial.LevelError {
					faults++
				}
				if p.File == filepath.Join(b, "trial.toml") && strings.Contains(p.Says+p.Mend, a) || strings.Contains(p.Says, "as that of") {
					beside += p.Error() + "\n"
				}
			}
			if faults != c.errors || (faults > 0) != (status == 1) {
				t.Errorf("exit status %d, %d errors, want %d: %s", status, faults, c.errors, out)
			}
			for _, want := range c.says {
				if !strings.Contains(beside, want) {
					t.Errorf("not %q in %q", want, beside)
				}
			}
			if len(c.says) == 0 && beside != "" {
				t.Errorf("told: %s", beside)
			}
		})
	}
}

// The list of the racks is made from their folders, unless they are in one another's way.
func TestListOfRacks(t *testing.T) {
	t.Parallel()
	a, b := rackAt(t, "north", `listen = "127.0.0.1:0"`, "127.0.0.1:8621"), rackAt(t, "south", `listen = "127.0.0.1:0"`, "127.0.0.1:8622")
	dir := t.TempDir()
	must(t, time.Now(), "", "run", "--metrics-files", dir, a, b)
	if text := racktest.Text(t, dir, "parstead-racks.json"); !strings.Contains(text, `"127.0.0.1:8622"`) || !strings.Contains(text, `"rack": "`+filepath.Base(b)+`"`) {
		t.Error(text)
	}
	if scrape := racktest.Text(t, dir, "parstead-scrape.yml"); !strings.Contains(scrape, filepath.Join(dir, "parstead-racks.json")) {
		t.Error(scrape)
	}
	c := rackAt(t, "west", `listen = "127.0.0.1:0"`, "127.0.0.1:8622")
	if status, _, talk := command(t, time.Now(), "", "run", "--metrics-files", dir, a, b, c); status != 1 || !strings.Contains(talk, "its page listens at 127.0.0.1:8622, where that of "+b+" does") {
		t.Error(status, talk)
	}
	if status, _, talk := command(t, time.Now(), "", "run", a, b); status != 2 || !strings.Contains(talk, "one for each") {
		t.Error(status, talk)
	}
}
