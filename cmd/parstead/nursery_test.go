package main

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"parstead/cmd/parstead/racktest"
	"parstead/light"
	"parstead/store"
)

// The racks of the nursery: invented, of one pattern. A bin's walk rises from its first
// column to its last, from 0.8 to 1.2 of its sensor's light.
const (
	nurseryBins    = 10
	nurseryRows    = 5
	nurseryColumns = 10
	nurseryPlaces  = nurseryBins * nurseryRows * nurseryColumns
)

// nursery is racks that share one broker and one metrics server, all in processes of
// their own.
type nursery struct {
	t       *testing.T
	now     time.Time // when it began; what the sensors read up to then lies in the databases
	days    int       // of history
	broker  *racktest.ForeignBroker
	sensors mqtt.Client
	root    string // of the racks' folders
	folders []string
	dark    int    // the rack whose first bin is dark
	rules   string // the folder of the metrics server's files
	server  string // its address
	process *exec.Cmd
}

// newNursery starts a broker, and a metrics server that knows no rack yet.
func newNursery(t *testing.T, days int) *nursery {
	t.Helper()
	racktest.NeedTool(t, "prometheus")
	n := &nursery{t: t, now: time.Now().UTC().Truncate(time.Second), days: days, broker: racktest.NewForeignBroker(t, 0), root: t.TempDir(), rules: t.TempDir(), server: racktest.FreeAddress(t)}
	n.sensors = racktest.Client(t, n.broker.Address, "sensors")
	must(t, n.now, "", "run", "--metrics-files", n.rules)
	// What the files say in minutes goes in seconds here.
	quick := strings.NewReplacer("for: 1m", "for: 1s", "for: 2m", "for: 1s", "scrape_interval: 30s", "scrape_interval: 5s")
	config := "global: {evaluation_interval: 1s}\nrule_files: [parstead-alerts.yml, parstead-recording.yml]\nscrape_configs:\n" + quick.Replace(racktest.Text(t, n.rules, "parstead-scrape.yml"))
	racktest.WriteFiles(t, n.rules, map[string]string{"server.yml": config})
	alerts := racktest.Text(t, n.rules, "parstead-alerts.yml")
	data := t.TempDir()
	if err := os.WriteFile(filepath.Join(n.rules, "parstead-alerts.yml"), []byte(quick.Replace(alerts)), 0o600); err != nil {
		t.Fatal(err)
	}
	n.process = exec.Command("prometheus", "--config.file="+filepath.Join(n.rules, "server.yml"), "--storage.tsdb.path="+data, "--web.listen-address="+n.server)
	if err := n.process.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = n.process.Process.Kill(); _ = n.process.Wait() })
	// The list of racks is written beside the changed rules, which are not to be replaced.
	if err := os.WriteFile(filepath.Join(n.rules, "parstead-racks.json"), []byte("[]\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return n
}

// ppfd is the light of a bin's sensor while the lamp is on.
func ppfd(rack, bin int) float64 { return 100 + float64(rack) + 5*float64(bin) }

// lit tells whether the lamps are on: six hours around the hour of the beginning.
func (n *nursery) lit(at time.Time) bool { return (at.UTC().Hour()-n.now.Hour()+30)%24 < 12 }

// folder writes a rack's trial, its walk, and what its sensors have read so far.
func (n *nursery) folder(rack int) string {
	n.t.Helper()
	clock := func(shift int) string { return fmt.Sprintf("%02d:00", (n.now.Hour()+shift+24)%24) }
	first := light.DateOf(n.now).Add(-n.days)
	text := fmt.Sprintf(`[trial]
name = "rack %[1]d"
timezone = "UTC"
starts = %[2]s
ends = %[3]s
day_starts = %[4]q
[broker]
url = "tcp://%[5]s"
[page]
listen = %[6]q
[[lamp]]
name = "bar"
lux_per_ppfd = 67.0
on = %[7]q
off = %[8]q
`, rack, first, first.Add(120), clock(12), n.broker.Address, racktest.FreeAddress(n.t), clock(-6), clock(6))
	var bins, walk strings.Builder
	walk.WriteString("time,bin,row,column,ppfd\n")
	walked := time.Date(n.now.Year(), n.now.Month(), n.now.Day(), n.now.Hour(), 0, 0, 0, time.UTC).Add(-24 * time.Hour)
	for bin := range nurseryBins {
		fmt.Fprintf(&bins, "[[bin]]\nname = \"b%[1]d\"\nrows = %[2]d\ncolumns = %[3]d\npitch_cm = [6, 6]\nlamp = \"bar\"\ndaylight = false\n"+
			"[[sensor]]\nname = \"s%[1]d\"\nmeasures = \"ppfd\"\nbin = \"b%[1]d\"\ntopic = \"rack%[4]d/b%[1]d\"\nvalue = \"/ppfd\"\ntime = \"/at\"\n", bin, nurseryRows, nurseryColumns, rack)
		for place := range nurseryRows * nurseryColumns {
			row, column := place/nurseryColumns, place%nurseryColumns
			fmt.Fprintf(&walk, "%s,b%d,%d,%d,%.1f\n", walked.Add(time.Duration(bin*nurseryPlaces/nurseryBins+place)*5*time.Second).Format(time.RFC3339), bin, row+1, column+1, ppfd(rack, bin)*ofBin(column))
		}
	}
	dir := filepath.Join(n.root, fmt.Sprintf("rack%d", rack))
	if err := os.Mkdir(dir, 0o700); err != nil {
		n.t.Fatal(err)
	}
	racktest.WriteFiles(n.t, dir, map[string]string{"trial.toml": text + bins.String(), "survey.csv": walk.String()})
	n.history(dir, rack)
	return dir
}

// ofBin is a column's light as a share of its bin's mean.
func ofBin(column int) float64 { return 0.8 + 0.4*float64(column)/(nurseryColumns-1) }

// late is how far back the sensors' newest readings wait at the broker when the racks'
// daemons start.
const late = 40 * time.Minute

// history fills the folder's database with a reading each five minutes.
func (n *nursery) history(dir string, rack int) {
	n.t.Helper()
	w, err := store.OpenWriter(n.t.Context(), dir, store.Options{Now: func() time.Time { return n.now }})
	if err != nil {
		n.t.Fatal(err)
	}
	var group []light.Reading
	until := n.now.Add(-late)
	for at := until.Truncate(5*time.Minute).AddDate(0, 0, -n.days); at.Before(until); at = at.Add(5 * time.Minute) {
		for bin := range nurseryBins {
			r := light.Reading{Sensor: fmt.Sprintf("s%d", bin), At: at, Arrived: at}
			if n.lit(at) {
				r.Value = ppfd(rack, bin)
			}
			group = append(group, r)
		}
	}
	_, err = w.Append(n.t.Context(), group)
	if closed := w.Close(); err == nil {
		err = closed
	}
	if err != nil {
		n.t.Fatal(err)
	}
}

// grow starts racks until there are so many, and tells the metrics server of them by the
// file that it discovers them in.
func (n *nursery) grow(racks int) {
	n.t.Helper()
	began := len(n.folders)
	for len(n.folders) < racks {
		n.folders = append(n.folders, n.folder(len(n.folders)))
	}
	for _, dir := range n.folders[began:] {
		program(n.t, nil, "run", dir)
	}
	other := n.t.TempDir()
	must(n.t, n.now, "", append([]string{"run", "--metrics-files", other}, n.folders...)...)
	if err := os.Rename(filepath.Join(other, "parstead-racks.json"), filepath.Join(n.rules, "parstead-racks.json")); err != nil {
		n.t.Fatal(err)
	}
	n.wait(fmt.Sprintf("%d racks answer and are connected", racks), 180*time.Second, func() bool {
		return n.number("sum(up)") == float64(racks) && n.number("sum(parstead_broker_connected)") == float64(racks)
	})
	for rack := began; rack < racks; rack++ {
		for at := n.now.Add(-late); !at.After(n.now); at = at.Add(time.Minute) {
			n.publish(rack, at)
		}
	}
}

// publish sends a reading of each of a rack's sensors.
func (n *nursery) publish(rack int, at time.Time) {
	n.t.Helper()
	for bin := range nurseryBins {
		value := 0.0
		if n.lit(at) && (rack != n.dark || bin > 0) {
			value = ppfd(rack, bin)
		}
		text := fmt.Sprintf(`{"ppfd":%g,"at":%q}`, value, at.UTC().Format(time.RFC3339))
		if token := n.sensors.Publish(fmt.Sprintf("rack%d/b%d", rack, bin), 1, false, text); !token.WaitTimeout(60*time.Second) || token.Error() != nil {
			n.t.Fatalf("publish: %v", token.Error())
		}
	}
}

// sample is one of the metrics server's answers.
type sample struct {
	Metric map[string]string
	Value  [2]any
}

func (s sample) number() float64 {
	text, _ := s.Value[1].(string)
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

// ask puts a question to the metrics server; nil where it has no answer.
func (n *nursery) ask(query string) []sample {
	n.t.Helper()
	answer, err := http.Get("http://" + n.server + "/api/v1/query?query=" + url.QueryEscape(query))
	if err != nil {
		return nil
	}
	defer answer.Body.Close() //nolint:errcheck // it was only read
	var said struct{ Data struct{ Result []sample } }
	if err := json.NewDecoder(answer.Body).Decode(&said); err != nil {
		return nil
	}
	return said.Data.Result
}

// number is the one number that answers a question; NaN where there is none.
func (n *nursery) number(query string) float64 {
	if list := n.ask(query); len(list) == 1 {
		return list[0].number()
	}
	return math.NaN()
}

// touch adds a remark to a rack's trial.toml: its daemon takes the file up within ten
// seconds and looks at the rack at once, not only with the next minute.
func (n *nursery) touch(rack int) {
	n.t.Helper()
	text := racktest.Text(n.t, n.folders[rack], "trial.toml") + "# looked at\n"
	racktest.WriteFiles(n.t, n.folders[rack], map[string]string{"trial.toml": text})
}

// wait waits until something holds.
func (n *nursery) wait(what string, patience time.Duration, holds func() bool) {
	n.t.Helper()
	for deadline := time.Now().Add(patience); !holds(); time.Sleep(500 * time.Millisecond) {
		if time.Now().After(deadline) {
			n.t.Fatalf("not within %s: %s", patience, what)
		}
	}
}

// lightIsThere holds the light of each position, on its last whole day, against what the
// lamps gave: twelve hours of its share of the bin's light. The walk is smoothed, so that
// a column's share is held to 5 %.
func (n *nursery) lightIsThere() {
	n.t.Helper()
	want := float64(len(n.folders) * nurseryPlaces)
	n.wait(fmt.Sprintf("the light of %g positions is there", want), 120*time.Second, func() bool {
		return n.number("count(parstead_dli_last_day_moles_per_square_meter)") == want && n.number("count(parstead_dli_moles_per_square_meter)") == want
	})
	worst := 0.0
	for rack, dir := range n.folders {
		list := n.ask(fmt.Sprintf("parstead_dli_last_day_moles_per_square_meter{rack=%q}", filepath.Base(dir)))
		if len(list) != nurseryPlaces {
			n.t.Errorf("rack %d: %d positions", rack, len(list))
		}
		for _, s := range list {
			var bin, column int
			if _, err := fmt.Sscanf(s.Metric["bin"]+" "+s.Metric["column"], "b%d %d", &bin, &column); err != nil {
				n.t.Fatal(err)
			}
			truth := ppfd(rack, bin) * ofBin(column-1) * 12 * 3600 / 1e6
			worst = max(worst, math.Abs(s.number()/truth-1))
		}
	}
	if !(worst < 0.05) {
		n.t.Errorf("a position's light is off by %.1f %%", 100*worst)
	}
}

// figures prints what a rack takes, over so many seconds.
func (n *nursery) figures(over time.Duration) {
	n.t.Helper()
	cpu := func() float64 { return n.number(`sum(process_cpu_seconds_total{job="parstead"})`) }
	own := func() float64 { return processSeconds(n.t, n.process.Process.Pid) }
	racks := float64(len(n.folders))
	before, ownBefore, began := cpu(), own(), time.Now()
	for tick := 0; time.Since(began) < over; tick++ {
		for rack := range n.folders {
			n.publish(rack, time.Now())
		}
		time.Sleep(max(0, time.Duration(tick+1)*10*time.Second-time.Since(began)))
	}
	took := time.Since(began).Seconds()
	n.t.Logf("%2.0f racks, %5.0f positions: memory %3.0f MiB a rack (most %3.0f), processor %4.1f %% of one core a rack; metrics server %.0f MiB, %.1f %%; broker %.0f MiB",
		racks, racks*nurseryPlaces, n.number(`avg(process_resident_memory_bytes{job="parstead"})`)/(1<<20), n.number(`max(process_resident_memory_bytes{job="parstead"})`)/(1<<20),
		100*(cpu()-before)/took/racks, resident(n.t, n.process.Process.Pid), 100*(own()-ownBefore)/took, resident(n.t, n.broker.Pid()))
}

// resident is a process's memory in MiB, and processSeconds its processor time (proc(5)).
func resident(t *testing.T, pid int) float64 {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/statm", pid))
	if err != nil {
		t.Fatal(err)
	}
	pages, err := strconv.ParseFloat(strings.Fields(string(text))[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return pages * float64(os.Getpagesize()) / (1 << 20)
}

func processSeconds(t *testing.T, pid int) float64 {
	t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(text), ") ")
	ticks := 0.0
	for _, field := range strings.Fields(rest)[11:13] {
		v, err := strconv.ParseFloat(field, 64)
		if err != nil {
			t.Fatal(err)
		}
		ticks += v
	}
	return ticks / 100 // of a second on Linux
}

// Racks on one mosquitto and one metrics server, which finds them in the file that
// run --metrics-files writes: the light of every position is there, and of a bin that is
// dark the alert fires and is over again. Of many racks, and what each takes:
// TestANurseryOfTwentyRacks.
func TestANursery(t *testing.T) {
	t.Parallel()
	grown(t, 3, 0, 5)
}

// grown grows a nursery in stages, with figures of each over so long.
func grown(t *testing.T, days int, over time.Duration, stages ...int) {
	t.Helper()
	if runtime.GOOS != "linux" {
		t.Skip("memory and processor time are read as on Linux")
	}
	n := newNursery(t, days)
	n.dark = stages[len(stages)-1] - 1
	for _, racks := range stages {
		n.grow(racks)
		n.lightIsThere()
		if over > 0 {
			n.figures(over)
		}
	}
	alert := fmt.Sprintf(`ALERTS{alertname="ParsteadDarkWhenDue",alertstate="firing",bin="b0",rack="rack%d"}`, n.dark)
	firing := func() bool { return n.number(alert) == 1 }
	n.touch(n.dark)
	n.wait("the dark bin's alert fires", 120*time.Second, firing)
	n.dark = -1
	n.publish(len(n.folders)-1, time.Now())
	n.touch(len(n.folders) - 1)
	n.wait("it is over", 120*time.Second, func() bool { return !firing() })
}
