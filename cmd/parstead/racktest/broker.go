package racktest

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// NeedTool skips the test where an optional program is missing.
func NeedTool(t *testing.T, name string) {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		if os.Getenv("PARSTEAD_REQUIRE_TOOLS") == "1" {
			t.Fatal(name + " is not installed")
		}
		t.Skip(name + " is not installed")
	}
}

// FreeAddress is a loopback address that nobody listens on.
func FreeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	return l.Addr().String()
}

// ForeignBroker is mosquitto in a process of its own, keeping its sessions on
// disk.
type ForeignBroker struct {
	t       *testing.T
	Address string
	config  string
	process *exec.Cmd
}

// NewForeignBroker starts one, which ends with the test. It keeps so many messages for
// a client that is away; 0: all.
func NewForeignBroker(t *testing.T, keeps int) *ForeignBroker {
	t.Helper()
	NeedTool(t, "mosquitto")
	b := &ForeignBroker{t: t, Address: FreeAddress(t), config: filepath.Join(t.TempDir(), "mosquitto.conf")}
	_, port, _ := net.SplitHostPort(b.Address)
	text := fmt.Sprintf("listener %s 127.0.0.1\nallow_anonymous true\npersistence true\npersistence_location %s/\nmax_queued_messages %d\n", port, t.TempDir(), keeps)
	if os.Geteuid() == 0 {
		text += "user root\n"
	}
	if err := os.WriteFile(b.config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	b.Start()
	t.Cleanup(b.Stop)
	return b
}

// Start starts it anew where it is stopped.
func (b *ForeignBroker) Start() {
	b.t.Helper()
	b.process = exec.Command("mosquitto", "-c", b.config)
	if err := b.process.Start(); err != nil {
		b.t.Fatal(err)
	}
	Eventually(b.t, "mosquitto answers", func() bool {
		c, err := net.Dial("tcp", b.Address)
		if err == nil {
			_ = c.Close()
		}
		return err == nil
	})
}

// Pid is its process's number.
func (b *ForeignBroker) Pid() int { return b.process.Process.Pid }

// Stop kills it.
func (b *ForeignBroker) Stop() {
	if b.process != nil {
		_ = b.process.Process.Kill()
		_ = b.process.Wait()
		b.process = nil
	}
}

// Client connects to a broker.
func Client(t *testing.T, address, id string) mqtt.Client {
	t.Helper()
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + address).SetClientID(id).SetAutoReconnect(false))
	Eventually(t, "the broker takes a connection", func() bool {
		token := c.Connect()
		return token.WaitTimeout(time.Second) && token.Error() == nil
	})
	t.Cleanup(func() { c.Disconnect(0) })
	return c
}

// Send publishes a reading and waits for its acknowledgement.
func Send(tb testing.TB, c mqtt.Client, topic string, value float64) {
	tb.Helper()
	if token := c.Publish(topic, 1, false, fmt.Sprint(value)); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		tb.Fatalf("publish: %v", token.Error())
	}
}
