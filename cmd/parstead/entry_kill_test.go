package main

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"parstead/cmd/parstead/atomicfile"
	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/racktest"
	"parstead/cmd/parstead/trial"
)

// entryKills is how often the program is killed while a phone sends entries.
const entryKills = 5 * programKills

// The whole program is killed at seeded moments while a phone sends what it has
// kept, each entry until it is told to be stored. In the end every entry stands
// in its sheet once, and the sheets are whole at any moment.
func TestKilledProgramKeepsWhatWasEntered(t *testing.T) {
	t.Parallel()
	dir, address := liveFolder(t, ownBroker)
	config := strings.Replace(racktest.Text(t, dir, "trial.toml"), "[page]\n", "[page]\ncode_file = \"entry-code\"\n", 1)
	for _, o := range []string{"leaves\"\nkind = \"count", "mass_g\"\nkind = \"measure"} {
		config += "[[outcome]]\nname = \"" + o + "\"\n"
	}
	writeFiles(t, dir, map[string]string{
		"trial.toml": config, "entry-code": "wet-hands-7", "layout.csv": "plant,bin,row,column\nP1,upper,1,1\nP2,upper,1,2\n",
	})
	random := rand.New(rand.NewPCG(20260302, 3))

	e := &enterer{owed: map[int]bool{}}
	for range entryKills {
		p := runProgram(t, "run", dir)
		p.ready(address)
		phone := racktest.NewPhone(t, "http://"+address, "")
		ended := make(chan error, 1)
		go func() {
			for {
				if err := e.send(phone, 1+e.made%2); err != nil {
					ended <- err
					return
				}
			}
		}()
		time.Sleep(time.Duration(random.IntN(80_000)) * time.Microsecond)
		p.kill()
		if err := <-ended; strings.Contains(err.Error(), "State") {
			t.Fatal(err)
		}
		if _, err := trial.Open(dir); err != nil {
			t.Fatalf("after a kill: %v", err)
		}
	}
	p := runProgram(t, "run", dir)
	p.ready(address)
	phone := racktest.NewPhone(t, "http://"+address, "")
	for len(e.owed) > 0 {
		if err := e.send(phone, 0); err != nil {
			t.Fatal(err)
		}
	}
	if status := p.interrupt(); status != 0 {
		t.Errorf("exit status %d: %s", status, p.said)
	}
	checkSheets(t, dir, e.made)
	if left, err := filepath.Glob(filepath.Join(dir, "*"+atomicfile.Ending)); err != nil || len(left) > 1 {
		t.Errorf("left behind: %v %v", left, err)
	}
	if log := must(t, time.Now(), "", "note", dir); strings.Contains(log, "is not put into the sheet") {
		t.Errorf("%s", log)
	}
	t.Logf("%d kills, %d entries", entryKills, e.made)
}

// enterer makes numbered entries and knows which are owed: made, and not told to be
// stored.
type enterer struct {
	mu   sync.Mutex
	made int
	owed map[int]bool
}

func (e *enterer) text(n int) string {
	if n%3 == 0 {
		return fmt.Sprintf("%08d harvest plant=P2 outcome=mass_g value=%d", n, n)
	}
	return fmt.Sprintf("%08d count plant=P1 outcome=leaves value=%d", n, n)
}

// mostOwed is from when on nothing fresh is made: what is owed at last must fit into
// what the page takes at once.
const mostOwed = 40

// send makes fresh entries and sends them with what is still owed.
func (e *enterer) send(p *racktest.Phone, fresh int) error {
	e.mu.Lock()
	if len(e.owed) > mostOwed {
		fresh = 0
	}
	for range fresh {
		e.made++
		e.owed[e.made] = true
	}
	due := slices.Sorted(maps.Keys(e.owed))
	e.mu.Unlock()
	due = due[:min(len(due), 5)]
	var texts []string
	for _, n := range due {
		texts = append(texts, e.text(n))
	}
	answers, err := p.Try(texts...)
	if err != nil {
		return err
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	for i, a := range answers {
		if a.State != page.Stored {
			return fmt.Errorf("%s: %+v", texts[i], a)
		}
		delete(e.owed, due[i])
	}
	return nil
}

// checkSheets looks for each of the entries made in the sheets, counts once and the
// last harvest.
func checkSheets(t *testing.T, dir string, made int) {
	t.Helper()
	read, err := trial.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[int]int{}
	for _, c := range read.Counts {
		seen[int(c.Value)]++
	}
	last := 0
	for n := 1; n <= made; n++ {
		if n%3 == 0 {
			last = n
		} else if seen[n] != 1 {
			t.Errorf("count %d stands in the sheet %d times", n, seen[n])
		}
		delete(seen, n)
	}
	if len(seen) > 0 {
		t.Errorf("nobody entered %v", seen)
	}
	if plant, _ := read.Plant("P2"); last > 0 && plant.Values["mass_g"].Value != float64(last) {
		t.Errorf("mass %v, want %d", plant.Values["mass_g"].Value, last)
	}
}
