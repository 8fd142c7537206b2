package main

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"parstead/cmd/parstead/racktest"
	"parstead/light"
	"parstead/store"
)

// The tests of this file run the whole program as a process and kill it at
// seeded moments while a sensor publishes. SIGKILL is not a loss of power: what
// the system holds for the disk survives it.

// process is the program running as a daemon.
type process struct {
	t    *testing.T
	cmd  *exec.Cmd
	said *bytes.Buffer
}

// runProgram starts parstead with these arguments.
func runProgram(t *testing.T, args ...string) *process {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	p := &process{t, exec.Command(self, args...), &bytes.Buffer{}}
	p.cmd.Env = append(os.Environ(), asProgram+"=1")
	p.cmd.Stderr = p.said
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.kill)
	return p
}

func (p *process) kill() {
	if p.cmd.ProcessState == nil {
		_ = p.cmd.Process.Kill()
		_ = p.cmd.Wait()
	}
}

// interrupt tells the program to end and returns its exit status.
func (p *process) interrupt() int {
	p.t.Helper()
	if err := p.cmd.Process.Signal(os.Interrupt); err != nil {
		p.t.Fatal(err)
	}
	_ = p.cmd.Wait()
	return p.cmd.ProcessState.ExitCode()
}

// liveFolder writes a trial that runs now and serves its page at an address that
// is known beforehand.
func liveFolder(t *testing.T, broker string) (dir, page string) {
	t.Helper()
	dir, page = rackFolder(t, time.Now(), broker), racktest.FreeAddress(t)
	path := filepath.Join(dir, "trial.toml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	before, after, _ := strings.Cut(string(text), "[page]\nlisten = \"127.0.0.1:0\"")
	text = fmt.Appendf(nil, "%s[page]\nlisten = %q%s", before, page, after)
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return dir, page
}

// fetch asks the page at an address; "" while nobody answers.
func fetch(url string) (status int, body string) {
	answer, err := http.Get(url)
	if err != nil {
		return 0, ""
	}
	defer func() { _ = answer.Body.Close() }()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		return 0, ""
	}
	return answer.StatusCode, string(text)
}

func (p *process) ready(page string) {
	p.t.Helper()
	deadline := time.Now().Add(30 * time.Second)
	for {
		if _, text := fetch("http://" + page + "/metrics"); strings.Contains(text, "\nparstead_broker_connected 1\n") {
			return
		}
		if time.Now().After(deadline) {
			p.kill()
			p.t.Fatalf("the daemon isn't connected: %s", p.said)
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// sender publishes numbers with QoS 1 over a connection of its own and takes
// down which were acknowledged (MQTT 3.1.1, section 4.3.2). Odd numbers go out
// with a time of their own.
type sender struct {
	from time.Time
	last int

	mu    sync.Mutex
	acked map[int]bool
}

func newSender() *sender {
	return &sender{from: time.Now().Add(-time.Hour).UTC().Truncate(time.Second), acked: map[int]bool{}}
}

func (s *sender) count() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.acked)
}

func (s *sender) at(n int) time.Time { return s.from.Add(time.Duration(n) * time.Millisecond) }

func (s *sender) packet(n int, id uint16) []byte {
	topic, payload := "rack/light", fmt.Sprint(n)
	if n%2 == 1 {
		topic, payload = "rack/air", fmt.Sprintf(`{"at":%q,"celsius":%d,"humidity":50}`, s.at(n).Format(time.RFC3339Nano), n)
	}
	body := binary.BigEndian.AppendUint16(nil, uint16(len(topic)))
	body = append(body, topic...)
	body = binary.BigEndian.AppendUint16(body, id)
	body = append(body, payload...)
	return append(binary.AppendUvarint([]byte{0x32}, uint64(len(body))), body...)
}

// connectPacket asks for a session named chip (MQTT 3.1.1, section 3.1).
var connectPacket = []byte("\x10\x10\x00\x04MQTT\x04\x02\x00\x00\x00\x04chip")

// publish sends new numbers, twenty at a time in flight, until the connection
// breaks or so many are acknowledged.
func (s *sender) publish(address string, enough int) error {
	c, err := net.Dial("tcp", address)
	if err != nil {
		return err
	}
	defer func() { _ = c.Close() }()
	if _, err := c.Write(connectPacket); err != nil {
		return err
	}
	in := bufio.NewReader(c)
	var answer [4]byte
	if _, err := io.ReadFull(in, answer[:]); err != nil || answer != [4]byte{0x20, 2, 0, 0} {
		return fmt.Errorf("connect: % x, %w", answer, err)
	}
	flying, id := map[uint16]int{}, uint16(0)
	for enough > 0 {
		for len(flying) < 20 {
			s.last++
			id = id%60000 + 1
			flying[id] = s.last
			if _, err := c.Write(s.packet(s.last, id)); err != nil {
				return err
			}
		}
		if _, err := io.ReadFull(in, answer[:]); err != nil {
			return err
		}
		acked := binary.BigEndian.Uint16(answer[2:])
		n, known := flying[acked]
		if answer[0] != 0x40 || !known {
			return fmt.Errorf("not an acknowledgement that is due: % x", answer)
		}
		delete(flying, acked)
		s.mu.Lock()
		s.acked[n] = true
		s.mu.Unlock()
		enough--
	}
	return nil
}

// missing lists what is wrong with what is stored: an acknowledged number that is
// not there, one that nobody sent, one with its own time that is there twice.
func (s *sender) missing(t *testing.T, dir string) (wrong []string) {
	t.Helper()
	view, err := store.OpenFolder(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer view.Close() //nolint:errcheck // it only read
	times := map[int]int{}
	for _, sensor := range []string{"quantum", "air"} {
		var series light.Series
		if err := view.Series(t.Context(), sensor, light.Span{}, &series); err != nil {
			t.Fatal(err)
		}
		for i, v := range series.Values {
			n := int(v)
			times[n]++
			if n < 1 || n > s.last || (sensor == "air") != (n%2 == 1) {
				wrong = append(wrong, fmt.Sprintf("%v of %s was never sent", v, sensor))
			}
			if sensor == "air" && (times[n] > 1 || series.Times[i] != s.at(n).UnixNano()) {
				wrong = append(wrong, fmt.Sprintf("%d is there %d times, at %v", n, times[n], time.Unix(0, series.Times[i])))
			}
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for n := range s.acked {
		if times[n] == 0 {
			wrong = append(wrong, fmt.Sprintf("%d was acknowledged and is lost", n))
		}
	}
	slices.Sort(wrong)
	return wrong[:min(len(wrong), 30)]
}

// whole checks the database that a daemon left.
func whole(t *testing.T, dir string) {
	t.Helper()
	db, err := bolt.Open(filepath.Join(dir, store.FileName), 0o600, &bolt.Options{ReadOnly: true, Timeout: 10 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = db.Close() }()
	if err := db.View(func(tx *bolt.Tx) error {
		var all []error
		for err := range tx.Check() {
			all = append(all, err)
		}
		return errors.Join(all...)
	}); err != nil {
		t.Fatal(err)
	}
}

func TestKilledProgramKeepsWhatItAcknowledged(t *testing.T) {
	t.Parallel()
	address := racktest.FreeAddress(t)
	dir, page := liveFolder(t, fmt.Sprintf("listen = %q", address))
	random := rand.New(rand.NewPCG(20260302, 1))
	s := newSender()
	for range programKills {
		p := runProgram(t, "run", dir)
		p.ready(page)
		before := s.count()
		ended := make(chan error, 1)
		go func() { ended <- s.publish(address, 1<<30) }()
		racktest.Eventually(t, "the first acknowledgement", func() bool { return s.count() > before })
		time.Sleep(time.Duration(random.IntN(60_000)) * time.Microsecond)
		p.kill()
		if err := <-ended; err == nil {
			t.Fatal("the sender ended by itself")
		}
		whole(t, dir)
		if wrong := s.missing(t, dir); len(wrong) > 0 {
			t.Fatalf("after a kill: %q", wrong)
		}
	}
	t.Logf("%d kills, %d acknowledged of %d sent", programKills, s.count(), s.last)
}

func TestKilledProgramKeepsWhatAnotherBrokerTook(t *testing.T) {
	t.Parallel()
	b := racktest.NewForeignBroker(t, 0)
	dir, page := liveFolder(t, fmt.Sprintf("url = \"tcp://%s\"", b.Address))
	random := rand.New(rand.NewPCG(20260302, 2))
	s := newSender()
	p := runProgram(t, "run", dir)
	first := p
	p.ready(page) // from now on the broker keeps its session
	ended, enough := make(chan error, 1), make(chan struct{})
	go func() {
		for {
			select {
			case <-enough:
				ended <- nil
				return
			default:
			}
			if err := s.publish(b.Address, 30); err != nil {
				ended <- err
				return
			}
			time.Sleep(3 * time.Millisecond) // a backlog that drains in seconds
		}
	}()
	for range programKills {
		before := s.count()
		racktest.Eventually(t, "more is published", func() bool { return s.count() > before+50 })
		time.Sleep(time.Duration(random.IntN(60_000)) * time.Microsecond)
		p.kill()
		whole(t, dir)
		p = runProgram(t, "run", dir)
		p.ready(page)
	}
	close(enough)
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	var wrong []string
	defer func() {
		if t.Failed() {
			t.Logf("%d acknowledged of %d sent: %q\nthe first: %s\nthe last: %s", s.count(), s.last, wrong, first.said, p.said)
		}
	}()
	racktest.Eventually(t, "the backlog is stored", func() bool {
		wrong = s.missing(t, dir)
		return len(wrong) == 0
	})
	if status := p.interrupt(); status != 0 {
		t.Errorf("exit status %d: %s", status, p.said)
	}
	if wrong = s.missing(t, dir); len(wrong) > 0 {
		t.Errorf("%q", wrong)
	}
	t.Logf("%d kills, %d acknowledged of %d sent", programKills, s.count(), s.last)
}

// What is published while the daemon is away comes in when it is back.
func TestBacklogOfAnotherBroker(t *testing.T) {
	t.Parallel()
	b := racktest.NewForeignBroker(t, 0)
	dir, page := liveFolder(t, fmt.Sprintf("url = \"tcp://%s\"", b.Address))
	p := runProgram(t, "run", dir)
	p.ready(page)
	if status := p.interrupt(); status != 0 {
		t.Fatalf("exit status %d: %s", status, p.said)
	}
	s := newSender()
	if err := s.publish(b.Address, 500); err != nil {
		t.Fatal(err)
	}
	p = runProgram(t, "run", dir)
	p.ready(page)
	racktest.Eventually(t, "the backlog is stored", func() bool { return len(s.missing(t, dir)) == 0 })
	if status := p.interrupt(); status != 0 {
		t.Errorf("exit status %d: %s", status, p.said)
	}
	// Its own time makes a reading of the backlog good; without one nobody knows
	// when it was measured.
	files := filepath.Join(t.TempDir(), "files")
	must(t, time.Now(), "", "export", dir, files)
	for file, sensor := range map[string]string{"readings.csv": ",air,", "set_aside.csv": ",quantum,"} {
		text, err := os.ReadFile(filepath.Join(files, file))
		if n := strings.Count(string(text), sensor); err != nil || n < 250 {
			t.Errorf("%s: %v, %d readings%s", file, err, n, sensor)
		}
	}
}
