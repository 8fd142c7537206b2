package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"

	"go.uber.org/goleak"
)

// liveStarter is the starter trial as begin writes it, on free ports.
func liveStarter(t *testing.T) (dir, broker, page string) {
	t.Helper()
	dir, broker, page = filepath.Join(t.TempDir(), "rack"), racktest.FreeAddress(t), racktest.FreeAddress(t)
	must(t, time.Now(), "", "begin", dir)
	path := filepath.Join(dir, "trial.toml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	moved := strings.NewReplacer(`"127.0.0.1:1883"`, fmt.Sprintf("%q", broker), `"127.0.0.1:8620"`, fmt.Sprintf("%q", page)).Replace(string(text))
	if !strings.Contains(moved, "\nlisten = \""+broker) || !strings.Contains(moved, "\nlisten = \""+page) {
		t.Fatal("the starter's ports were not found")
	}
	if err := os.WriteFile(path, []byte(moved), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, time.Now(), "", "check", dir)
	return dir, broker, page
}

// The whole way of a trial's readings, by the program as users have it: begin,
// check, run, publish, look, note, import beside the daemon, end in order.
func TestEndToEnd(t *testing.T) {
	t.Parallel()
	dir, broker, page := liveStarter(t)
	p := runProgram(t, "run", dir)
	p.ready(page)
	racktest.Eventually(t, "readiness", func() bool { status, _ := fetch("http://" + page + "/ready"); return status == 200 })
	if status, _ := fetch("http://" + page + "/alive"); status != 200 {
		t.Errorf("/alive: %d", status)
	}
	c := racktest.Client(t, broker, "chip")
	for range 3 {
		racktest.Send(t, c, "rack/upper/light", 85.5*67) // lux; the starter's lamp has 67 lx per µmol m⁻² s⁻¹
		time.Sleep(1100 * time.Millisecond)              // arrival is kept in whole seconds
	}
	if token := c.Publish("rack/upper/air", 1, false, `{"celsius":"21.4","humidity":62}`); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		t.Fatal(token.Error())
	}
	if token := c.Publish("rack/lower/light", 1, false, "broken"); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		t.Fatal("a broken payload is not acknowledged")
	}

	checkMetrics(t, page)
	if status, text := fetch("http://" + page + "/"); status != 200 || !strings.Contains(text, "starter trial") {
		t.Errorf("the page: %d\n%s", status, text)
	}

	// Other commands work meanwhile, and see what each other writes.
	must(t, time.Now(), "", "note", dir, "lamp wiped", "--kind", "lamp_cleaned", "--bin", "upper")
	rows := "time,sensor,value\n"
	start := time.Now().UTC().Add(-20 * time.Minute).Truncate(time.Minute)
	for i := range 11 {
		rows += fmt.Sprintf("%s,lower light,6700\n", start.Add(time.Duration(i)*time.Minute).Format(time.RFC3339))
	}
	must(t, time.Now(), rows, "import", dir, "-")
	if log := must(t, time.Now(), "", "note", dir); !strings.Contains(log, "lamp wiped") || !strings.Contains(log, "started") {
		t.Errorf("the log: %s", log)
	}
	checkImported(t, dir, start)

	// A second daemon, and anything else that wants the database, is told.
	second := runProgram(t, "run", dir)
	_ = second.cmd.Wait()
	if status, says := second.cmd.ProcessState.ExitCode(), second.said.String(); status != 1 || !strings.Contains(says, "in use by another process") || strings.Count(says, "\n") != 1 {
		t.Errorf("a second daemon: exit status %d, %s", status, says)
	}
	if status := p.interrupt(); status != 0 {
		t.Errorf("exit status %d: %s", status, p.said)
	}
	if _, err := os.Stat(filepath.Join(dir, "parstead.sock")); err == nil {
		t.Error("the socket is left behind")
	}
	files := filepath.Join(t.TempDir(), "files")
	must(t, time.Now(), "", "export", dir, files)
	readings, err := os.ReadFile(filepath.Join(files, "readings.csv"))
	if err != nil || strings.Count(string(readings), "upper light,5728.5\n") != 3 || strings.Count(string(readings), "lower light,6700\n") != 11 {
		t.Errorf("exported: %v\n%s", err, readings)
	}
}

// checkMetrics looks for what was sent in the metrics.
func checkMetrics(t *testing.T, page string) {
	t.Helper()
	_, metrics := fetch("http://" + page + "/metrics")
	for _, want := range []string{
		`parstead_ppfd_micromoles_per_square_meter_second{bin="upper",column="`, "} 85.5\n",
		`parstead_readings_stored_total{sensor="upper light"} 3` + "\n",
		`parstead_readings_rejected_total{reason="no_number",sensor="lower light"} 1` + "\n",
		`parstead_temperature_celsius{bin="upper",sensor="upper air"} 21.4` + "\n",
		`parstead_humidity_ratio{bin="upper",sensor="upper humidity"} 0.62` + "\n",
	} {
		if !strings.Contains(metrics, want) {
			t.Errorf("the metrics lack %s", want)
		}
	}
	t.Run("promtool", func(t *testing.T) {
		racktest.NeedTool(t, "promtool")
		check := exec.CommandContext(t.Context(), "promtool", "check", "metrics")
		check.Stdin = strings.NewReader(metrics)
		if says, err := check.CombinedOutput(); err != nil || len(says) > 0 {
			t.Errorf("promtool check metrics: %v\n%s", err, says)
		}
	})
}

// checkImported looks for the light of what was imported, 6700 lx over ten minutes
// from start on.
func checkImported(t *testing.T, dir string, start time.Time) {
	t.Helper()
	var days []struct {
		Date, Bin, Source string
		Row, Column       int
		DLI, Filled       float64
	}
	today := start.Format(time.DateOnly)
	if err := json.Unmarshal([]byte(must(t, time.Now(), "", "dli", dir, "--json", "--from", today)), &days); err != nil {
		t.Fatal(err)
	}
	measured := 0.0
	for _, d := range days {
		if d.Bin == "lower" && d.Row == 2 && d.Column == 3 { // where the sensor stands
			measured = math.Max(measured, d.DLI*(1-d.Filled))
		}
	}
	// 100 µmol m⁻² s⁻¹ over ten minutes is 0.06 mol m⁻²; across midnight, part of it.
	if start.Add(10*time.Minute).Format(time.DateOnly) == today && math.Abs(measured-0.06) > 1e-9 {
		t.Errorf("the imported readings bring %v mol m⁻², want 0.06", measured)
	}
}

// An ended daemon leaves no goroutine. Not parallel: it looks at all of them.
func TestRunLeavesNothingBehind(t *testing.T) {
	ignore := goleak.IgnoreCurrent()
	dir, broker, page := liveStarter(t)
	ctx, end := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	var talk strings.Builder
	go func() { ended <- run(ctx, []string{"run", dir}, nil, &talk, &talk) }()
	racktest.Eventually(t, "readiness", func() bool { status, _ := fetch("http://" + page + "/ready"); return status == 200 })
	c := racktest.Client(t, broker, "chip")
	racktest.Send(t, c, "rack/upper/light", 85.5)
	c.Disconnect(10)
	end()
	if err := <-ended; err != nil {
		t.Errorf("%v\n%s", err, talk.String())
	}
	http.DefaultClient.CloseIdleConnections()
	goleak.VerifyNone(t, ignore)
}

func TestSocketPathTooLong(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), strings.Repeat("long", 40))
	must(t, time.Now(), "", "begin", dir)
	path := filepath.Join(dir, "trial.toml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	text = regexp.MustCompile(`127\.0\.0\.1:\d+`).ReplaceAll(text, []byte("127.0.0.1:0"))
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	status, _, talk := command(t, time.Now(), "", "run", dir)
	if status != 1 || !strings.Contains(talk, "a socket's path may have") || strings.Count(talk, "\n") != 1 {
		t.Errorf("exit status %d: %s", status, talk)
	}
	// What needs no daemon works there all the same.
	must(t, time.Now(), "", "note", dir, "written without a daemon")
	if log := must(t, time.Now(), "", "note", dir); !strings.Contains(log, "written without a daemon") {
		t.Errorf("%s", log)
	}
}
