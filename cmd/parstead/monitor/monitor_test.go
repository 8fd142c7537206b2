package monitor

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/version"
	"parstead/ingest"
	"parstead/light"
	"parstead/light/watch"
)

// program finds a program that a test needs.
func program(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("PARSTEAD_REQUIRE_TOOLS") == "1" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	return path
}

// The rules are what the metrics server takes, and each alert fires when it should and
// is over when it should, by that server's own tool.
func TestRules(t *testing.T) {
	t.Parallel()
	tool := program(t, "promtool")
	for _, args := range [][]string{
		{"check", "rules", "files/parstead-alerts.yml", "files/parstead-recording.yml"},
		{"test", "rules", "testdata/alerts_test.yml"},
	} {
		if out, err := exec.Command(tool, args...).CombinedOutput(); err != nil || !strings.Contains(string(out), "SUCCESS") {
			t.Errorf("promtool %v: %v\n%s", args, err, out)
		}
	}
	alerts, err := os.ReadFile("files/parstead-alerts.yml")
	if err != nil {
		t.Fatal(err)
	}
	tests, err := os.ReadFile("testdata/alerts_test.yml")
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range regexp.MustCompile(`alert: (\w+)`).FindAllStringSubmatch(string(alerts), -1) {
		if !strings.Contains(string(tests), "alertname: "+m[1]+"\n        exp_alerts:") {
			t.Errorf("%s is never seen to fire", m[1])
		}
	}
}

// names are those of the metrics that are registered.
type names map[string]bool

func (n names) Register(c prometheus.Collector) error { n.MustRegister(c); return nil }
func (n names) Unregister(prometheus.Collector) bool  { return false }

func (n names) MustRegister(all ...prometheus.Collector) {
	for _, c := range all {
		ch := make(chan *prometheus.Desc, 100)
		c.Describe(ch)
		close(ch)
		for d := range ch {
			if m := regexp.MustCompile(`fqName: "(\w+)"`).FindStringSubmatch(d.String()); m != nil {
				n[m[1]] = true
			}
		}
	}
}

// Rules and console ask for metrics that the daemon has.
func TestNamesOfMetrics(t *testing.T) {
	t.Parallel()
	known := names{}
	known.MustRegister(page.NewCollector(nil), version.Metric())
	if _, err := ingest.New(ingest.Config{Clock: ingest.SystemClock(), Log: slog.New(slog.DiscardHandler), Register: known}); err != nil {
		t.Fatal(err)
	}
	ingest.RegisterConnected(known, func() bool { return true })
	asked := 0
	for _, file := range []string{"parstead-alerts.yml", "parstead-recording.yml", "parstead.html"} {
		text, err := files.ReadFile("files/" + file)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range regexp.MustCompile(`parstead_\w+`).FindAllString(string(text), -1) {
			if asked++; !known[name] {
				t.Errorf("%s asks for %s, which is no metric", file, name)
			}
		}
	}
	if asked < 20 {
		t.Errorf("only %d names were found", asked)
	}
}

// On a real metrics server that scrapes a page's own metrics the rules are evaluated
// without an error, an alert is raised, and the console page shows the rack.
func TestOnARealServer(t *testing.T) {
	t.Parallel()
	server := program(t, "prometheus")
	dir := t.TempDir()
	rack := httptest.NewServer(rackMetrics(t))
	t.Cleanup(rack.Close)
	if _, err := Write(dir, []Rack{{Name: `the "north" rack`, Listen: rack.Listener.Addr().String()}}); err != nil {
		t.Fatal(err)
	}
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := free.Addr().String()
	_ = free.Close()
	job, err := os.ReadFile(filepath.Join(dir, "parstead-scrape.yml"))
	if err != nil {
		t.Fatal(err)
	}
	scrape := strings.ReplaceAll(string(job), "30s", "1s")
	config := "global: {evaluation_interval: 1s}\nrule_files: [" + dir + "/parstead-alerts.yml, " + dir + "/parstead-recording.yml]\nscrape_configs:\n" + scrape
	if err := os.WriteFile(filepath.Join(dir, "server.yml"), []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	c := exec.Command(server, "--config.file="+filepath.Join(dir, "server.yml"), "--storage.tsdb.path="+filepath.Join(dir, "data"),
		"--web.listen-address="+address, "--web.console.templates="+dir, "--web.console.libraries="+dir)
	var said strings.Builder
	c.Stderr = &said
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	asks := func(path string, wants ...string) {
		t.Helper()
		text := ""
		for range 600 {
			text = fetched("http://" + address + path)
			missing := false
			for _, w := range wants {
				missing = missing || !strings.Contains(text, w)
			}
			if !missing {
				return
			}
			time.Sleep(100 * time.Millisecond)
		}
		t.Fatalf("%s: not %q in\n%s", path, wants, text)
	}
	asks("/api/v1/alerts", `"alertname":"ParsteadDarkWhenDue"`, `"bin":"upper \"shelf\""`)
	asks("/api/v1/query?query=parstead:dli_last_day:of_target", `,"0.5"]`)
	asks("/consoles/parstead.html", "<h2>the &#34;north&#34; rack</h2>", "dark_when_due in upper &#34;shelf&#34;", "<td>upper &#34;shelf&#34;</td>", `<td class="n">2.00</td>`, `<td class="n">4.00</td>`, `<td class="n">50 %</td>`, "<td>a</td><td class=\"n\">never</td>")
	if rules := fetched("http://" + address + "/api/v1/rules"); !strings.Contains(rules, `"health":"ok"`) || strings.Contains(rules, `"health":"err"`) {
		t.Errorf("rules: %s", rules)
	}
}

func fetched(url string) string {
	answer, err := http.Get(url)
	if err != nil {
		return err.Error()
	}
	defer answer.Body.Close() //nolint:errcheck // it was only read
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		return err.Error()
	}
	return string(text)
}

// rackMetrics are those of a page that shows one bin, which got half of its light.
func rackMetrics(t *testing.T) http.Handler {
	t.Helper()
	state := &page.State{Trial: "spring", Now: time.Now(), Sensors: []page.Sensor{{Sensor: light.Sensor{Name: "a", Every: time.Minute}}}}
	bin := page.Bin{Bin: light.Bin{Name: `upper "shelf"`, Rows: 1, Columns: 1, TargetDLI: 4}}
	bin.Cells = []page.Cell{{Yesterday: page.Figure{Known: true, DLI: 2}}}
	state.Bins = append(state.Bins, bin)
	state.Conditions = append(state.Conditions, watch.Condition{Kind: watch.DarkWhenDue, Bin: bin.Name})
	registry := prometheus.NewRegistry()
	registry.MustRegister(page.NewCollector(func(context.Context) (*page.State, error) { return state, nil }))
	return promhttp.HandlerFor(registry, promhttp.HandlerOpts{})
}

// What is written is what is checked here; what a grower has changed is not replaced, but
// the list of racks is.
func TestWrite(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "rules")
	racks := []Rack{{Name: "north", Listen: "0.0.0.0:8621"}, {Name: "south", Listen: "[::1]:8622", Secure: true}}
	for n := range 2 {
		written, err := Write(dir, racks[:n+1])
		if err != nil || len(written) != 5 {
			t.Fatal(written, err)
		}
	}
	text, err := os.ReadFile(filepath.Join(dir, RacksFile))
	if err != nil {
		t.Fatal(err)
	}
	// The form is that of the metrics server's documentation of file_sd_config, from memory.
	want := `[{"targets":["127.0.0.1:8621"],"labels":{"rack":"north"}},{"targets":["[::1]:8622"],"labels":{"__scheme__":"https","rack":"south"}}]`
	if got := strings.NewReplacer("\n", "", " ", "").Replace(string(text)); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	if _, err := Write(dir, []Rack{{Name: "north", Listen: "127.0.0.1:0"}}); err == nil || !strings.Contains(err.Error(), "give it one under [page]") {
		t.Error(err)
	}
	name := filepath.Join(dir, "parstead-alerts.yml")
	if err := os.WriteFile(name, []byte("groups: []\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Write(dir, racks); err == nil || !strings.Contains(err.Error(), fmt.Sprintf("%s is there and was changed", name)) {
		t.Error(err)
	}
}
