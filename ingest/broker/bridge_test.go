package broker

import (
	"bytes"
	"fmt"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"parstead/ingest"
)

// lines is a log that may be read meanwhile.
type lines struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *lines) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(b)
}

func (l *lines) has(words string) int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Count(l.text.String(), words)
}

// A bridge of another broker brings readings, with two lines of its configuration;
// without them the log says which one is missing, once.
func TestABridgeOfAnotherBroker(t *testing.T) {
	t.Parallel()
	program, err := exec.LookPath("mosquitto")
	if err != nil {
		if os.Getenv("PARSTEAD_REQUIRE_TOOLS") == "1" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	taker := newHold()
	taker.immediate = true
	var log lines
	b := start(t, Config{Taker: taker, Log: slog.New(slog.NewTextHandler(&log, nil))})
	waitServing(t, b)
	told := func(words string) {
		t.Helper()
		for i := 0; log.has(words) == 0; i++ {
			if i == 6000 {
				t.Fatalf("the log doesn't say %q", words)
			}
			time.Sleep(10 * time.Millisecond)
		}
		if n := log.has(words); n != 1 {
			t.Errorf("the log says %q %d times", words, n)
		}
	}
	bridge(t, program, b.Addr(), "")
	told("try_private false")
	bridge(t, program, b.Addr(), "try_private false")
	told("notifications false")
	from := bridge(t, program, b.Addr(), "try_private false\nnotifications false")
	chip := login(t, from, "chip", "", "")
	chip.send(publishPacket("rack/light", []byte("85.5"), 1, 1, 0))
	var got ingest.Delivery
	for _, d := range taker.wait(t, 1) {
		got = d
	}
	if got.Topic != "rack/light" || string(got.Payload) != "85.5" {
		t.Errorf("%+v", got)
	}
}

// bridge starts a broker that brings all under rack/ to another one, and returns where
// it listens.
func bridge(t *testing.T, program string, to net.Addr, lines string) (address string) {
	t.Helper()
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address = free.Addr().String()
	_ = free.Close()
	host, port, _ := strings.Cut(address, ":")
	file := filepath.Join(t.TempDir(), "bridge.conf")
	text := fmt.Sprintf("listener %s %s\nallow_anonymous true\npersistence false\nconnection rack\naddress %s\ntopic rack/# out 1\nrestart_timeout 1\n%s\n", port, host, to, lines)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	c := exec.Command(program, "-c", file)
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	for i := 0; ; i++ {
		if conn, err := net.Dial("tcp", address); err == nil {
			_ = conn.Close()
			return address
		}
		if i == 6000 {
			t.Fatal("the other broker does not listen")
		}
		time.Sleep(10 * time.Millisecond)
	}
}
