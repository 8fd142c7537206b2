package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"log/slog"
	"math"
	"math/rand/v2"
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

	"parstead/cmd/parstead/racktest"
	"parstead/light"
	"parstead/store"
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
// memory of both at rest: with four days of two sensors, and with a database of
// 500 MB, which both open.
func BenchmarkStart(b *testing.B) {
	b.Run("small", func(b *testing.B) {
		dir := racktest.SmallTrial(b, "")
		racktest.Lived(b, dir, racktest.Midday, 4, 100)
		compareStarts(b, dir, func() string { return filepath.Join(b.TempDir(), "bare.db") })
	})
	b.Run("500MB", func(b *testing.B) {
		dir := racktest.SmallTrial(b, "")
		racktest.Lived(b, dir, racktest.Midday, 4, 100)
		path := filepath.Join(dir, "readings.db")
		const sensors = 130
		for week := 0; size(b, path) < 500e6; week++ {
			weekOfReadings(b, path, sensors, racktest.Midday.AddDate(0, 0, -7*(week+1)), rand.Float64)
		}
		b.ReportMetric(float64(size(b, path))/1e6, "file-MB")
		compareStarts(b, dir, func() string { return path })
	})
}

// compareStarts starts the daemon of a folder and the bare program in turn.
func compareStarts(b *testing.B, dir string, bareFile func() string) {
	b.Helper()
	address := listenHere(b, dir)
	ours := func() *exec.Cmd { return program(b, nil, "run", dir) }
	theirs := func() *exec.Cmd { return program(b, []string{asBare + "=" + address + " " + bareFile()}) }
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

// listenHere has a trial's page listen at an address that is free now.
func listenHere(tb testing.TB, dir string) (address string) {
	tb.Helper()
	unused, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		tb.Fatal(err)
	}
	address = unused.Addr().String()
	if err := unused.Close(); err != nil {
		tb.Fatal(err)
	}
	config := filepath.Join(dir, "trial.toml")
	text, err := os.ReadFile(config)
	if err != nil {
		tb.Fatal(err)
	}
	listens := strings.Replace(string(text), "[page]\nlisten = \"127.0.0.1:0\"", "[page]\nlisten = \""+address+"\"", 1)
	if listens == string(text) {
		tb.Fatal("the trial's page listens elsewhere")
	}
	if err := os.WriteFile(config, []byte(listens), 0o600); err != nil {
		tb.Fatal(err)
	}
	return address
}

// weekOfReadings appends a week of readings a minute of numbered sensors, some
// sensors at a time, and packs it.
func weekOfReadings(tb testing.TB, path string, sensors int, from time.Time, value func() float64) {
	tb.Helper()
	db, err := store.Open(path, store.Options{})
	if err != nil {
		tb.Fatal(err)
	}
	defer db.Close() //nolint:errcheck // all was committed
	const week = 7 * 24 * 60
	group := make([]light.Reading, 0, 10*week)
	for first := 1; first <= sensors; first += 10 {
		group = group[:0]
		for sensor := first; sensor < min(first+10, sensors+1); sensor++ {
			name := fmt.Sprintf("sensor %d", sensor)
			for i := range week {
				at := from.Add(time.Duration(i) * time.Minute)
				group = append(group, light.Reading{Sensor: name, At: at, Value: value(), Arrived: at, Boot: 1, Uptime: at.Sub(from)})
			}
		}
		if _, err := db.Append(tb.Context(), group); err != nil {
			tb.Fatal(err)
		}
		if err := db.Pack(tb.Context(), from.AddDate(0, 0, 8)); err != nil {
			tb.Fatal(err)
		}
	}
}

func size(tb testing.TB, path string) int64 {
	tb.Helper()
	info, err := os.Stat(path)
	if err != nil {
		tb.Fatal(err)
	}
	return info.Size()
}

func median(x []float64) float64 {
	slices.Sort(x)
	return x[len(x)/2]
}

// started starts a program, waits for its metrics, and returns how long that
// took and its memory in KiB a second later.
func started(tb testing.TB, begin func() *exec.Cmd, address string) (took time.Duration, memory map[string]float64) {
	tb.Helper()
	begun := time.Now()
	p := begin()
	for !answers(tb, "http://"+address+"/metrics") {
		if time.Since(begun) > 20*time.Second {
			tb.Fatal("no metrics within 20 s")
		}
		time.Sleep(200 * time.Microsecond)
	}
	took = time.Since(begun)
	time.Sleep(time.Second)
	memory = memoryOf(tb, p)
	_ = p.Process.Kill()
	_ = p.Wait() // by the kill
	return took, memory
}

// answers tells whether a request gets 200.
func answers(tb testing.TB, url string) bool {
	tb.Helper()
	ctx, cancel := context.WithTimeout(tb.Context(), 5*time.Second)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		tb.Fatal(err)
	}
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	answer, err := client.Do(r)
	if err != nil {
		return false
	}
	_, err = io.Copy(io.Discard, answer.Body)
	_ = answer.Body.Close()
	return err == nil && answer.StatusCode == http.StatusOK
}

// memoryOf is what the system says of a process's memory, in KiB.
func memoryOf(tb testing.TB, p *exec.Cmd) map[string]float64 {
	tb.Helper()
	f, err := os.Open(fmt.Sprintf("/proc/%d/status", p.Process.Pid))
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close() //nolint:errcheck // it was only read
	memory := map[string]float64{}
	for lines := bufio.NewScanner(f); lines.Scan(); {
		name, value, _ := strings.Cut(lines.Text(), ":")
		var kib float64
		if _, err := fmt.Sscanf(strings.TrimSpace(value), "%f kB", &kib); err == nil {
			memory[name] = kib
		}
	}
	return memory
}

// BenchmarkLargeTrial starts the daemon at the end of a trial of 162 sensors ×
// 200 days (46.9 M readings) and watches its memory until the light of all
// days is known, and a second longer: the most that was anonymous, and the most
// that was resident over what a small trial's daemon takes at rest and the file.
func BenchmarkLargeTrial(b *testing.B) {
	small := racktest.SmallTrial(b, "")
	racktest.Lived(b, small, racktest.Midday, 4, 100)
	at := listenHere(b, small)
	_, rest := started(b, func() *exec.Cmd { return program(b, nil, "run", small) }, at)

	const days, rows = 203, 9 // whole weeks
	dir := b.TempDir()
	now := time.Now().UTC().Truncate(time.Minute)
	from := now.AddDate(0, 0, -days)
	text := fmt.Sprintf("[trial]\nname = \"large\"\ntimezone = \"UTC\"\nstarts = %s\nends = %s\n[broker]\nlisten = \"127.0.0.1:0\"\n[page]\nlisten = \"127.0.0.1:0\"\n",
		from.Format(time.DateOnly), now.AddDate(0, 0, 7).Format(time.DateOnly))
	for bin := 1; bin <= 2; bin++ {
		text += fmt.Sprintf(binText, bin, rows, rows)
		for i := range rows * rows {
			n := (bin-1)*rows*rows + i + 1
			text += fmt.Sprintf("[[sensor]]\nname = \"sensor %d\"\nmeasures = \"ppfd\"\nbin = \"%d\"\nrow = %d\ncolumn = %d\ntopic = \"rack/%d\"\n",
				n, bin, i/rows+1, i%rows+1, n)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "trial.toml"), []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	path := filepath.Join(dir, "readings.db")
	for week := range days / 7 {
		minute := 0
		weekOfReadings(b, path, 2*rows*rows, from.AddDate(0, 0, 7*week), func() float64 {
			if minute++; minute%1440 > 14*60 {
				return 0
			}
			return math.Round(850+rand.NormFloat64()*4) / 10
		})
	}
	address := listenHere(b, dir)
	var anonymous, resident []float64
	var toReady time.Duration
	for range max(3, b.N) {
		begun := time.Now()
		p := program(b, nil, "run", dir)
		most := 0.0
		watch := func() { most = max(most, memoryOf(b, p)["RssAnon"]) }
		for ; !answers(b, "http://"+address+"/ready"); watch() {
			if time.Since(begun) > time.Minute {
				b.Fatal("not ready within a minute")
			}
		}
		toReady += time.Since(begun)
		for range 100 {
			watch()
			time.Sleep(10 * time.Millisecond)
		}
		anonymous, resident = append(anonymous, most/1024), append(resident, memoryOf(b, p)["VmHWM"]/1024)
		_ = p.Process.Kill()
		_ = p.Wait() // by the kill
	}
	file := float64(size(b, path)) / (1 << 20)
	b.ReportMetric(median(anonymous), "MiB-anonymous")
	b.ReportMetric(median(resident), "MiB-resident")
	b.ReportMetric(file, "MiB-file")
	b.ReportMetric(median(resident)/(rest["VmRSS"]/1024+file), "xlimit")
	b.ReportMetric(toReady.Seconds()*1e3/float64(len(anonymous)), "ms-to-ready")
	b.ReportMetric(0, "ns/op")
}
