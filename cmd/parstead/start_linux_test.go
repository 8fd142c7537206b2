package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	bolt "go.etcd.io/bbolt"
)

// asBare, in the environment, makes this test binary the bare program: the
// database, the broker and the metrics, and nothing of ours. Its value is the
// page's address and the database's path.
const asBare = "PARSTEAD_TEST_AS_BARE"

func init() {
	if spec := os.Getenv(asBare); spec != "" {
		page, path, _ := strings.Cut(spec, " ")
		fmt.Fprintln(os.Stderr, bare(page, path))
		os.Exit(1)
	}
}

// openDoor lets everyone do everything.
type openDoor struct{ mqtt.HookBase }

func (openDoor) Provides(b byte) bool {
	return b == mqtt.OnConnectAuthenticate || b == mqtt.OnACLCheck
}
func (openDoor) OnConnectAuthenticate(*mqtt.Client, packets.Packet) bool { return true }
func (openDoor) OnACLCheck(*mqtt.Client, string, bool) bool              { return true }

func bare(page, path string) error {
	db, err := bolt.Open(path, 0o600, nil)
	if err != nil {
		return err
	}
	err = db.Update(func(tx *bolt.Tx) error { _, err := tx.CreateBucketIfNotExists([]byte("b")); return err })
	if err != nil {
		return err
	}
	server := mqtt.New(&mqtt.Options{Logger: slog.New(slog.DiscardHandler)})
	if err := server.AddHook(new(openDoor), nil); err != nil {
		return err
	}
	if err := server.AddListener(listeners.NewTCP(listeners.Config{ID: "t", Address: "127.0.0.1:0"})); err != nil {
		return err
	}
	if err := server.Serve(); err != nil {
		return err
	}
	registry := prometheus.NewRegistry()
	registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return http.ListenAndServe(page, promhttp.HandlerFor(registry, promhttp.HandlerOpts{}))
}

// BenchmarkStart starts the daemon and the bare program in turn, in processes of
// their own, and compares the time to the first 200 on /metrics, and then the
// memory of both at rest.
func BenchmarkStart(b *testing.B) {
	dir := smallTrial(b, "")
	lived(b, dir, midday, 4, 100)
	unused, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	address := unused.Addr().String()
	if err := unused.Close(); err != nil {
		b.Fatal(err)
	}
	config := filepath.Join(dir, "trial.toml")
	text, err := os.ReadFile(config)
	if err != nil {
		b.Fatal(err)
	}
	listens := strings.Replace(string(text), "[page]\nlisten = \"127.0.0.1:0\"", "[page]\nlisten = \""+address+"\"", 1)
	if err := os.WriteFile(config, []byte(listens), 0o600); err != nil {
		b.Fatal(err)
	}
	ours := func() *exec.Cmd { return program(b, nil, "run", dir) }
	theirs := func() *exec.Cmd {
		return program(b, []string{asBare + "=" + address + " " + filepath.Join(b.TempDir(), "bare.db")})
	}
	var starts, rss, anonymous []float64
	for range max(5, b.N) {
		us, ourMemory := started(b, ours, address)
		them, theirMemory := started(b, theirs, address)
		starts = append(starts, float64(us)/float64(them))
		rss = append(rss, ourMemory["VmRSS"]/theirMemory["VmRSS"])
		anonymous = append(anonymous, ourMemory["RssAnon"]/1024)
	}
	b.ReportMetric(median(starts), "xbare")
	b.ReportMetric(median(rss), "xbareRSS")
	b.ReportMetric(median(anonymous), "MiB-anonymous")
	b.ReportMetric(0, "ns/op")
}

func median(x []float64) float64 {
	slices.Sort(x)
	return x[len(x)/2]
}

// started starts a program, waits for its metrics, and returns how long that
// took and its memory in KiB a second later.
func started(tb testing.TB, begin func() *exec.Cmd, address string) (took time.Duration, memory map[string]float64) {
	tb.Helper()
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	begun := time.Now()
	p := begin()
	for {
		ctx, cancel := context.WithTimeout(tb.Context(), 5*time.Second)
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+address+"/metrics", nil)
		if err != nil {
			tb.Fatal(err)
		}
		answer, err := client.Do(r)
		if err == nil {
			_, err = io.Copy(io.Discard, answer.Body)
			_ = answer.Body.Close()
		}
		cancel()
		if err == nil && answer.StatusCode == http.StatusOK {
			break
		}
		if time.Since(begun) > 20*time.Second {
			tb.Fatal("no metrics within 20 s: ", err)
		}
		time.Sleep(200 * time.Microsecond)
	}
	took = time.Since(begun)
	time.Sleep(time.Second)
	memory = map[string]float64{}
	f, err := os.Open(fmt.Sprintf("/proc/%d/status", p.Process.Pid))
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close() //nolint:errcheck // it was only read
	for lines := bufio.NewScanner(f); lines.Scan(); {
		name, value, _ := strings.Cut(lines.Text(), ":")
		var kib float64
		if _, err := fmt.Sscanf(strings.TrimSpace(value), "%f kB", &kib); err == nil {
			memory[name] = kib
		}
	}
	_ = p.Process.Kill()
	_ = p.Wait() // by the kill
	return took, memory
}
