package ingest_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"parstead/ingest"
	"parstead/ingest/broker"
	"parstead/light"
)

// The tests of this file run this test binary as a child that takes readings in
// through the whole path, and kill it at seeded moments. SIGKILL is not a loss
// of power: what the system holds for the disk survives it.

const (
	childRole = "PARSTEAD_INGEST_CHILD" // "embedded", the url of another broker, or "publish"
	childFile = "PARSTEAD_INGEST_FILE"  // for "publish": the broker's address
)

// file is a sink of one line per reading, synchronised after each group.
type file struct{ *os.File }

// openFile opens the sink and cuts off the line that a kill left unfinished.
func openFile(name string) (*file, error) {
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	content, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	end := int64(bytes.LastIndexByte(content, '\n') + 1)
	if err := f.Truncate(end); err != nil {
		return nil, err
	}
	_, err = f.Seek(end, 0)
	return &file{f}, err
}

func (f *file) Append(_ context.Context, group []light.Reading) ([]light.Fate, error) {
	var b []byte
	for _, r := range group {
		b = fmt.Appendf(b, "%s %v\n", r.Sensor, r.Value)
	}
	if _, err := f.Write(b); err != nil {
		return nil, err
	}
	return make([]light.Fate, len(group)), f.Sync()
}

// child is the daemon that gets killed. It says on standard output when it is
// ready, and where.
func child() int {
	err := func() error {
		if os.Getenv(childRole) == "publish" {
			n, err := strconv.Atoi(os.Getenv("PARSTEAD_INGEST_COUNT"))
			if err != nil {
				return err
			}
			if err := sendAll(os.Getenv(childFile), 4, n/4, 2000); err != nil {
				return err
			}
			os.Exit(0)
		}
		sink, err := openFile(os.Getenv(childFile))
		if err != nil {
			return err
		}
		in, err := ingest.New(ingest.Config{
			Sink: sink, Feeds: []ingest.Feed{feed("a", "rack/a")}, Clock: ingest.SystemClock(),
			Log: slog.New(slog.NewTextHandler(os.Stderr, nil)), LingerWaited: 50 * time.Millisecond,
		})
		if err != nil {
			return err
		}
		ctx := context.Background()
		go func() { _ = in.Run(ctx) }() // ends with the process
		url := os.Getenv(childRole)
		if url == "embedded" {
			b, err := broker.Open(broker.Config{Listen: "127.0.0.1:0", Taker: in, Log: quiet})
			if err != nil {
				return err
			}
			fmt.Println(b.Addr())
			return b.Run(ctx)
		}
		s, err := ingest.NewSession(ingest.SessionConfig{
			Remote: ingest.Remote{URL: url, ClientID: "parstead-kill"}, Filters: in.Filters(), Taker: in, Log: quiet,
		})
		if err != nil {
			return err
		}
		go func() {
			for !s.Connected() {
				time.Sleep(time.Millisecond)
			}
			fmt.Println("ready")
		}()
		return s.Run(ctx)
	}()
	fmt.Fprintln(os.Stderr, err)
	return 1
}

// spawn starts a child and returns its first line.
func spawn(t *testing.T, role, name string) (kill func(), ready string) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(self)
	c.Env = append(os.Environ(), childRole+"="+role, childFile+"="+name)
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	c.Stderr = &said
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	kill = sync.OnceFunc(func() {
		_ = c.Process.Kill()
		_ = c.Wait()
	})
	t.Cleanup(kill)
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		kill()
		t.Fatalf("the child: %v: %s", err, said.String())
	}
	return kill, strings.TrimSpace(line)
}

// stored counts the values in the file.
func stored(t *testing.T, name string) map[int]int {
	t.Helper()
	content, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	values := map[int]int{}
	lines := strings.Split(string(content), "\n")
	for _, l := range lines[:len(lines)-1] { // the last is unfinished or empty
		_, value, _ := strings.Cut(l, " ")
		v, err := strconv.Atoi(value)
		if err != nil {
			t.Fatalf("line %q: %v", l, err)
		}
		values[v]++
	}
	return values
}

// numbers publishes ever new values and notes which were acknowledged.
type numbers struct {
	last  int
	mu    sync.Mutex
	acked map[int]bool
}

func (n *numbers) count() int {
	n.mu.Lock()
	defer n.mu.Unlock()
	return len(n.acked)
}

// publish sends values, with up to a window of them in flight, until the
// connection breaks or enough are acknowledged.
func (n *numbers) publish(address string, qos byte, enough int) {
	c, err := dialRaw(address, "chip")
	if err != nil {
		return // killed before we came
	}
	defer func() { _ = c.Close() }()
	const window = 20
	sent := map[uint16]int{}
	for id := uint16(1); enough > 0; {
		for len(sent) < window {
			n.last++
			sent[id] = n.last
			if _, err := c.Write(publishPacket("rack/a", strconv.Itoa(n.last), qos, id)); err != nil {
				return
			}
			id = id%60000 + 1
		}
		got, err := c.acknowledged()
		if err != nil {
			return
		}
		n.mu.Lock()
		n.acked[sent[got]] = true
		n.mu.Unlock()
		delete(sent, got)
		enough--
	}
}

func (n *numbers) check(t *testing.T, name string) (lost int) {
	t.Helper()
	have := stored(t, name)
	for v := range n.acked {
		if have[v] == 0 {
			lost++
		}
	}
	for v := range have {
		if v < 1 || v > n.last {
			t.Errorf("%d is stored but was never sent", v)
		}
	}
	return lost
}

func TestKilledWithTheEmbeddedBroker(t *testing.T) {
	t.Parallel()
	killEmbedded(t, 8)
}

func killEmbedded(t *testing.T, kills int) {
	t.Helper()
	rng := rand.New(rand.NewPCG(1, 2))
	name := filepath.Join(t.TempDir(), "readings")
	n := &numbers{acked: map[int]bool{}}
	for i := range kills {
		kill, address := spawn(t, "embedded", name)
		enough, pause := n.count()+rng.IntN(200), time.Duration(rng.IntN(20000))*time.Microsecond
		done := make(chan struct{})
		go func() {
			defer close(done)
			n.publish(address, byte(1+i%3/2), 1<<30) // every third round QoS 2
		}()
		for until := time.Now().Add(5 * time.Second); n.count() < enough && time.Now().Before(until); {
			time.Sleep(100 * time.Microsecond)
		}
		time.Sleep(pause)
		kill()
		<-done
		if lost := n.check(t, name); lost > 0 {
			t.Fatalf("%d of %d acknowledged readings are lost", lost, len(n.acked))
		}
	}
	t.Logf("%d kills, %d readings acknowledged, none lost", kills, len(n.acked))
	if len(n.acked) < kills {
		t.Errorf("only %d readings were acknowledged at all", len(n.acked))
	}
}

func TestKilledWithAnotherBroker(t *testing.T) {
	t.Parallel()
	killRemote(t, 6)
}

func killRemote(t *testing.T, kills int) {
	t.Helper()
	m := startMosquitto(t)
	rng := rand.New(rand.NewPCG(3, 4))
	name := filepath.Join(t.TempDir(), "readings")
	n := &numbers{acked: map[int]bool{}}
	kill, _ := spawn(t, m.url(), name) // the broker keeps the session from here on
	for range kills {
		enough, pause := rng.IntN(300), time.Duration(rng.IntN(20000))*time.Microsecond
		done := make(chan struct{})
		go func() {
			defer close(done)
			n.publish(m.address, 1, enough)
		}()
		time.Sleep(pause)
		kill()
		<-done
		kill, _ = spawn(t, m.url(), name)
	}
	for range 500 {
		if n.check(t, name) == 0 {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if lost := n.check(t, name); lost > 0 {
		t.Fatalf("%d of %d acknowledged readings are lost", lost, len(n.acked))
	}
	kill()
	t.Logf("%d kills, %d readings acknowledged, none lost", kills, len(n.acked))
}
