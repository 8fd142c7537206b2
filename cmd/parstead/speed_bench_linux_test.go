package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"parstead/cmd/parstead/racktest"
	"parstead/light"
)

// BenchmarkGrowth runs commands as whole processes on one thing after another made
// ten times as many, and fits the exponent of processor time and of peak memory over
// what the smallest takes: 1 is in proportion. xtime and xmemory are the exponents.
func BenchmarkGrowth(b *testing.B) {
	program := built(b)
	for _, g := range []struct {
		what    string
		sizes   []int
		command func(n int) []string
	}{
		{"dli, readings", []int{10, 100, 1000}, func(n int) []string { return []string{"dli", "--json", sensorDays(b, 8, n)} }},
		{"export, readings", []int{10, 100, 1000}, func(n int) []string { return []string{"export", sensorDays(b, 8, n), fresh} }},
		{"backup, readings", []int{10, 100, 1000}, func(n int) []string { return []string{"backup", sensorDays(b, 8, n), fresh} }},
		{"dli, bins", []int{4, 16, 64}, func(n int) []string { return []string{"dli", "--json", sensorDays(b, n, 60)} }},
		{"correlate, plants, a measure", []int{1000, 10_000, 100_000}, func(n int) []string { return wide(b, n, 6, "mass:measure") }},
		{"correlate, plants, a count", []int{1000, 10_000, 100_000}, func(n int) []string { return wide(b, n, 6, "shoots:count") }},
		{"correlate, plants, yes or no", []int{1000, 10_000, 100_000}, func(n int) []string { return wide(b, n, 6, "lost:yes_no") }},
		{"correlate, levels", []int{20, 60, 180}, func(n int) []string { return wide(b, 2000, n, "mass:measure") }},
	} {
		b.Run(g.what, func(b *testing.B) {
			var n, took, held []float64
			for _, size := range g.sizes {
				command := g.command(size)
				t, kib := used(b, append([]string{program}, command...))
				n, took, held = append(n, float64(size)), append(took, t), append(held, kib/1024)
			}
			b.ReportMetric(exponent(n, took), "xtime")
			b.ReportMetric(exponent(n, held), "xmemory")
			b.ReportMetric(took[len(took)-1], "s-CPU")
			b.ReportMetric(held[len(held)-1], "MiB")
			b.ReportMetric(0, "ns/op")
		})
	}
}

// fresh, in a command, is a file or folder that is not there yet.
const fresh = "<fresh>"

// exponent is the steeper of a power law's two steps over what the first size takes:
// what a start costs by itself would hide how the rest grows.
func exponent(n, y []float64) float64 {
	steepest := 0.0
	for i := 2; i < len(n); i++ {
		rest, before := y[i]-y[0], y[i-1]-y[0]
		if before > 0 && rest > 0 {
			steepest = max(steepest, math.Log(rest/before)/math.Log((n[i]-n[0])/(n[i-1]-n[0])))
		}
	}
	return steepest
}

// used is the least processor time of three runs, s, and the least peak memory, KiB.
func used(b *testing.B, command []string) (seconds, kib float64) {
	b.Helper()
	seconds, kib = math.Inf(1), math.Inf(1)
	for range 3 {
		command := slices.Clone(command)
		if i := slices.Index(command, fresh); i > 0 {
			command[i] = filepath.Join(b.TempDir(), "out")
		}
		c := exec.CommandContext(b.Context(), command[0], command[1:]...)
		if text, err := c.CombinedOutput(); err != nil {
			b.Fatalf("%v: %v: %.500s", command, err, text)
		}
		state := c.ProcessState
		seconds = min(seconds, (state.UserTime() + state.SystemTime()).Seconds())
		kib = min(kib, float64(state.SysUsage().(*syscall.Rusage).Maxrss)) //nolint:forcetypeassert // on Linux it is
	}
	return seconds, kib
}

// sensorDays makes a folder with as many bins of four positions, a sensor in each.
func sensorDays(b *testing.B, bins, days int) string {
	b.Helper()
	folder := b.TempDir()
	var config strings.Builder
	config.WriteString(trialText(days))
	for bin := 1; bin <= bins; bin++ {
		fmt.Fprintf(&config, binText, bin, 1, 4)
		fmt.Fprintf(&config, sensorText, bin, bin, 1, 2, bin)
	}
	write(b, folder, map[string]string{"trial.toml": config.String()})
	fill(b, folder, bins, days, func(light.Reading) bool { return true })
	return folder
}

// wide makes a flat table of 40 columns, three of them outcomes, and returns the
// command that analyses it.
func wide(b *testing.B, plants, levels int, outcomes ...string) []string {
	b.Helper()
	return ofWide(wideTable(b, plants, levels), outcomes...)
}

func ofWide(table string, outcomes ...string) []string {
	command := []string{"correlate", "--table", table, "--json", "--treatment", "g", "--bin", "bin", "--light", "dli"}
	for _, o := range outcomes {
		command = append(command, "--outcome", o)
	}
	return command
}

func wideTable(b *testing.B, plants, levels int) string {
	b.Helper()
	random := rand.New(rand.NewPCG(uint64(plants), uint64(levels))) //nolint:gosec // a seed
	var text strings.Builder
	text.WriteString("g,bin,dli,mass,shoots,lost")
	for k := range 34 {
		fmt.Fprintf(&text, ",spare%d", k)
	}
	text.WriteByte('\n')
	for i := range plants {
		dli := 6 + 8*random.Float64()
		mass := 5 + 0.3*dli + 0.02*float64(i%levels) + random.NormFloat64()
		lost := "no"
		if random.IntN(10) == 0 {
			lost = "yes"
		}
		fmt.Fprintf(&text, "L%d,B%d,%.2f,%.3f,%d,%s", i%levels, random.IntN(20), dli, mass, random.IntN(9), lost)
		for k := range 34 {
			fmt.Fprintf(&text, ",%d", (i*k)%97)
		}
		text.WriteByte('\n')
	}
	path := filepath.Join(b.TempDir(), "wide.csv")
	if err := os.WriteFile(path, []byte(text.String()), 0o600); err != nil {
		b.Fatal(err)
	}
	return path
}

// BenchmarkWideHarvest sets three outcomes of three kinds of 100,000 plants, in a
// table of 40 columns, beside R doing the same fits. xpeer is R's time over ours.
func BenchmarkWideHarvest(b *testing.B) {
	program := built(b)
	ours := wide(b, 100_000, 6, "mass:measure", "shoots:count", "lost:yes_no")
	inTurn(b, peer("Rscript", "harvest_wide.R", ours[2]), append([]string{program}, ours...))
}

// BenchmarkManyLevels sets 200 levels of 2,000 plants, all 19,900 pairs with
// simultaneous intervals, beside R's: of the same model, and with bins and light, whose
// slopes by level, curves and labels dealt anew R is not asked for. xpeer is R's time
// over ours.
func BenchmarkManyLevels(b *testing.B) {
	program := built(b)
	table := wideTable(b, 2000, 200)
	b.Run("same model", func(b *testing.B) {
		ours := []string{program, "correlate", "--table", table, "--json", "--treatment", "g", "--outcome", "mass:measure"}
		inTurn(b, peer("Rscript", "harvest_wide.R", table, "levels"), ours)
	})
	b.Run("with bins and light", func(b *testing.B) {
		inTurn(b, peer("Rscript", "harvest_wide.R", table, "pairs"), append([]string{program}, ofWide(table, "mass:measure")...))
	})
}

// BenchmarkMillionRows sets a measure of a million rows beside R's fit and partial F
// alone, both reading the file. xpeer is R's time over ours, xmemory our peak over R's.
func BenchmarkMillionRows(b *testing.B) {
	table := wideTable(b, 1_000_000, 6)
	theirs := peer("Rscript", "harvest_wide.R", table, "rows")
	ours := append([]string{built(b)}, ofWide(table, "mass:measure")...)
	wanted(b, theirs)
	_, limit := used(b, theirs)
	_, held := used(b, ours)
	inTurn(b, theirs, ours)
	b.ReportMetric(held/limit, "xmemory")
}

// BenchmarkReport sets the report of a season, all pictures drawn, beside the same
// as JSON. xjson is the report's time over that.
func BenchmarkReport(b *testing.B) {
	program := built(b)
	folder := filepath.Join(b.TempDir(), "demo")
	timed(b, []string{program, "demo", "--no-page", "--dir", folder})
	pairs(b, "xjson", func() float64 {
		limit := timed(b, []string{program, "correlate", "--json", folder})
		return timed(b, []string{program, "correlate", "--report", filepath.Join(b.TempDir(), "report"), folder}).Seconds() / limit.Seconds()
	})
}

// BenchmarkMetricsOfTenThousand sets /metrics of a running daemon with 10,000
// positions beside the bare client library that serves the very same series out of
// gauges. xbare is ours over that.
func BenchmarkMetricsOfTenThousand(b *testing.B) {
	dir := b.TempDir()
	var config strings.Builder
	config.WriteString(trialText(10) + "[broker]\nlisten = \"127.0.0.1:0\"\n[page]\nlisten = \"127.0.0.1:0\"\n")
	for bin := 1; bin <= 10; bin++ {
		fmt.Fprintf(&config, binText, bin, 25, 40)
		fmt.Fprintf(&config, sensorText, bin, bin, 4, 4, bin)
	}
	write(b, dir, map[string]string{"trial.toml": config.String()})
	fill(b, dir, 10, 10, func(light.Reading) bool { return true })
	clock := racktest.NewClock(firstDay.AddDate(0, 0, 9).Add(13 * time.Hour))
	url := beside(b, dir, clock.Ingest()).PageURL()
	racktest.Eventually(b, "readiness", func() bool { status, _ := fetch(url + "ready"); return status == http.StatusOK })

	_, text := fetch(url + "metrics")
	limit := httptest.NewServer(promhttp.HandlerFor(gauges(b, text), promhttp.HandlerOpts{}))
	defer limit.Close()
	view := func(url string) float64 {
		start := time.Now()
		for range 5 {
			clock.Move(3 * time.Second) // no state serves twice
			if status, text := fetch(url); status != http.StatusOK {
				b.Fatal(text)
			}
		}
		return time.Since(start).Seconds()
	}
	pairs(b, "xbare", func() float64 {
		bare := view(limit.URL)
		return view(url+"metrics") / bare
	})
	b.ReportMetric(float64(strings.Count(text, "\n")), "lines")
}

// gauges is a registry with a gauge for each of the samples that a text holds.
func gauges(b *testing.B, text string) *prometheus.Registry {
	b.Helper()
	parser := expfmt.NewTextParser(model.UTF8Validation)
	families, err := parser.TextToMetricFamilies(strings.NewReader(text))
	if err != nil {
		b.Fatal(err)
	}
	registry := prometheus.NewRegistry()
	for name, family := range families {
		if len(family.GetMetric()) == 0 || family.GetType() == dto.MetricType_HISTOGRAM || family.GetType() == dto.MetricType_SUMMARY {
			continue
		}
		var names []string
		for _, l := range family.GetMetric()[0].GetLabel() {
			names = append(names, l.GetName())
		}
		of := prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: name, Help: family.GetHelp()}, names)
		registry.MustRegister(of)
		for _, m := range family.GetMetric() {
			labels := prometheus.Labels{}
			for _, l := range m.GetLabel() {
				labels[l.GetName()] = l.GetValue()
			}
			of.With(labels).Set(m.GetGauge().GetValue() + m.GetCounter().GetValue() + m.GetUntyped().GetValue())
		}
	}
	return registry
}
