package store

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"parstead/light"
)

// childVariable tells a copy of the test program that it is a child, and what
// to do: a job and its arguments.
const childVariable = "PARSTEAD_STORE_CHILD"

var childJobs = map[string]func(arguments []string) error{
	"append": childAppends,
	"client": childClient,
	"full":   childFillsDisk,
}

// childMain does a child's job, if this process is one.
func childMain() bool {
	job := strings.Split(os.Getenv(childVariable), "|")
	do := childJobs[job[0]]
	if do == nil {
		return false
	}
	if err := do(job[1:]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	return true
}

// child starts a copy of the test program on a job.
func child(tb testing.TB, job ...string) (*exec.Cmd, io.Reader) {
	tb.Helper()
	program, err := os.Executable()
	if err != nil {
		tb.Fatal(err)
	}
	cmd := exec.Command(program)
	cmd.Env = append(os.Environ(), childVariable+"="+strings.Join(job, "|"))
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		tb.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		tb.Fatal(err)
	}
	return cmd, out
}

// killGroup is the nth group that a child appends: readings with their own
// time, and one dated by its arrival.
func killGroup(n int) []light.Reading {
	at := time.Duration(n) * time.Minute
	var group []light.Reading
	for i := range 3 {
		group = append(group, own("s"+strconv.Itoa((n+i)%5), at+time.Duration(i)*time.Second, float64(n*10+i)))
	}
	return append(group, arrival("s5", at, float64(n*10+9)))
}

// childAppends appends groups from the given number on, packs now and then, and
// prints each number once its group is committed.
func childAppends(arguments []string) error {
	db, err := Open(arguments[0], Options{})
	if err != nil {
		return err
	}
	first, err := strconv.Atoi(arguments[1])
	if err != nil {
		return err
	}
	for n := first; ; n++ {
		if _, err := db.Append(context.Background(), killGroup(n)); err != nil {
			return err
		}
		fmt.Println(n)
		if n%4 == 3 {
			if err := db.Pack(context.Background(), start.Add(time.Duration(n-2)*time.Minute)); err != nil {
				return err
			}
		}
	}
}

func TestKills(t *testing.T) {
	t.Parallel()
	killMany(t, 12, 1)
}

// killMany kills a process that appends and packs, at seeded moments, and looks
// after each kill whether the database is whole and holds what was acknowledged
// and nothing that was never sent. SIGKILL is not a loss of power: what the
// system had taken from the process still reaches the disk.
func killMany(t *testing.T, kills int, seed uint64) {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 2))
	path := filepath.Join(t.TempDir(), FileName)
	acknowledged := -1
	for range kills {
		cmd, out := child(t, "append", path, strconv.Itoa(acknowledged+1))
		lines := bufio.NewScanner(out)
		begun := false
		for lines.Scan() {
			if !begun { // it is at work: it has so long to live
				begun = true
				time.AfterFunc(time.Duration(r.IntN(30_000))*time.Microsecond, func() { _ = cmd.Process.Kill() })
			}
			n, err := strconv.Atoi(lines.Text())
			if err != nil {
				break // a line cut off by the kill
			}
			acknowledged = n
		}
		if err := cmd.Wait(); err == nil || !begun {
			t.Fatalf("the child ended by itself: %v", err)
		}
		checkKilled(t, path, acknowledged)
	}
	t.Logf("%d kills, %d groups acknowledged, all there", kills, acknowledged+1)
}

// checkKilled opens the database that a killed child left.
func checkKilled(t *testing.T, path string, acknowledged int) {
	t.Helper()
	db, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	checkPages(t, db)
	s, err := db.View()
	if err != nil {
		t.Fatal(err)
	}
	times := map[string]map[int64][]float64{}
	for i := range 6 {
		name := "s" + strconv.Itoa(i)
		got := seriesOf(t, s, name, light.Span{})
		times[name] = map[int64][]float64{}
		for k, at := range got.Times {
			times[name][at] = append(times[name][at], got.Values[k])
		}
	}
	for n := range acknowledged + 2 { // the last may have been kept, its acknowledgement lost
		for _, reading := range killGroup(n) {
			found := times[reading.Sensor][reading.At.UnixNano()]
			delete(times[reading.Sensor], reading.At.UnixNano())
			for _, v := range found {
				if v != reading.Value {
					t.Fatalf("group %d: a value %v that was never sent", n, v)
				}
			}
			if len(found) == 0 && n <= acknowledged {
				t.Fatalf("group %d was acknowledged and is lost", n)
			}
			if len(found) > 1 && reading.Mark&light.OwnTime != 0 {
				t.Fatalf("group %d: a reading with its own time is kept %d times", n, len(found))
			}
		}
	}
	for name, left := range times {
		if len(left) > 0 {
			t.Fatalf("sensor %s has readings that were never sent: %v", name, left)
		}
	}
	if err := errors.Join(s.Close(), db.Close()); err != nil {
		t.Fatal(err)
	}
}

// checkPages has bbolt look whether every page is in exactly one use.
func checkPages(tb testing.TB, db *DB) {
	tb.Helper()
	if err := db.bolt.View(func(tx *bolt.Tx) error {
		var all error
		for err := range tx.Check() {
			all = errors.Join(all, err)
		}
		return all
	}); err != nil {
		tb.Fatal(err)
	}
}
