package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"parstead/cmd/parstead/racktest"
	"parstead/cmd/parstead/trial"
	"parstead/light"
	"parstead/light/account"
	"parstead/store"
)

// seasonOf is the account of a folder's light from one day to another, from
// opening the database on.
func seasonOf(b *testing.B, t *trial.Trial, from, to light.Date) *account.Season {
	b.Helper()
	view, err := store.OpenFolder(b.Context(), t.Dir)
	if err != nil {
		b.Fatal(err)
	}
	season, err := account.New(&t.Rack, view, account.Options{}).Season(b.Context(), from, to)
	if err != nil {
		b.Fatal(err)
	}
	if err := view.Close(); err != nil {
		b.Fatal(err)
	}
	return season
}

func opened(b *testing.B, folder string) *trial.Trial {
	b.Helper()
	t, err := trial.Open(folder)
	if err != nil {
		b.Fatal(err)
	}
	return t
}

// BenchmarkAccount sets the light account of a season, out of a packed database
// and on one thread, beside the bare rule over the same readings in memory.
// "everything" adds lux sensors to calibrate, eight bins with two light maps of 56
// positions each, an epoch's end, and outages to fill.
func BenchmarkAccount(b *testing.B) {
	plain, _ := sensorsOnly(b)
	for _, c := range []struct{ name, folder string }{{"plain", plain}, {"everything", everything(b, seasonDays)}} {
		b.Run(c.name, func(b *testing.B) {
			defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1)) // the limit has one thread too
			t := opened(b, c.folder)
			series, n := inMemory(b, c.folder)
			var bounds []int64
			for d := t.Rack.Starts; !t.Rack.Ends.Before(d); d = d.Add(1) {
				bounds = append(bounds, t.Rack.Day(d).From.UnixNano())
			}
			bounds = append(bounds, t.Rack.Trial().Until.UnixNano())
			var each []float64
			b.ReportAllocs()
			pairs(b, "xlimit", func() float64 {
				start := time.Now()
				for _, s := range series {
					bareRule(s, bounds)
				}
				limit := time.Since(start)
				start = time.Now()
				seasonOf(b, t, t.Rack.Starts, t.Rack.Ends)
				took := time.Since(start)
				each = append(each, float64(took.Nanoseconds())/float64(n))
				return took.Seconds() / limit.Seconds()
			})
			b.ReportMetric(median(each), "ns/reading")
		})
	}
}

// BenchmarkAccountEverywhere sets the light account of two bins of 9 × 9 with a
// sensor at every position for 200 days, 46.7 million packed readings, on one
// thread and on two, beside numpy over arrays in memory on one; and with the
// database out of the page cache beside the same with it cached.
func BenchmarkAccountEverywhere(b *testing.B) {
	const sensors, days = 162, 200
	numpy := arrays(b, sensors, days)
	folder := b.TempDir()
	config := trialText(days)
	for bin := 1; bin <= 2; bin++ {
		config += fmt.Sprintf(binText, bin, 9, 9)
		for k := range 81 {
			n := 81*(bin-1) + k + 1
			config += fmt.Sprintf(sensorText, n, bin, k/9+1, k%9+1, n)
		}
	}
	write(b, folder, map[string]string{"trial.toml": config})
	fill(b, folder, sensors, days, func(light.Reading) bool { return true })
	t := opened(b, folder)
	for _, threads := range []int{1, 2} {
		b.Run(fmt.Sprint(threads, "threads"), func(b *testing.B) {
			defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(threads))
			b.ReportAllocs()
			pairs(b, "xnumpy", func() float64 {
				limit := numpy()
				start := time.Now()
				seasonOf(b, t, t.Rack.Starts, t.Rack.Ends)
				return time.Since(start).Seconds() / limit
			})
		})
	}
	b.Run("not cached", func(b *testing.B) {
		pairs(b, "xcached", func() float64 {
			start := time.Now()
			seasonOf(b, t, t.Rack.Starts, t.Rack.Ends)
			cached := time.Since(start)
			forget(b, filepath.Join(t.Dir, "readings.db"))
			start = time.Now()
			seasonOf(b, t, t.Rack.Starts, t.Rack.Ends)
			return time.Since(start).Seconds() / cached.Seconds()
		})
	})
}

// BenchmarkAccountOfOneDay compares the cost of the light of one more day, with
// everything, near the end of 200 days with that of the tenth.
func BenchmarkAccountOfOneDay(b *testing.B) {
	t := opened(b, everything(b, 200))
	day := func(to light.Date) float64 {
		view, err := store.OpenFolder(b.Context(), t.Dir)
		if err != nil {
			b.Fatal(err)
		}
		defer view.Close() //nolint:errcheck // it only read
		start := time.Now()
		for range 10 {
			if _, err := account.New(&t.Rack, view, account.Options{}).Season(b.Context(), to, to); err != nil {
				b.Fatal(err)
			}
		}
		return time.Since(start).Seconds()
	}
	pairs(b, "xshort", func() float64 {
		short := day(t.Rack.Starts.Add(9))
		return day(t.Rack.Ends.Add(-1)) / short // the last has no reading at its end
	})
}

// BenchmarkPageView compares what a view of a running daemon's pages costs, with
// everything, on day 200 with what it costs on day ten, maps at hand.
func BenchmarkPageView(b *testing.B) {
	view := func(days int) func(path string) float64 {
		dir := everything(b, days)
		now := firstDay.AddDate(0, 0, days-1).Add(13 * time.Hour)
		clock := racktest.NewClock(now)
		url := beside(b, dir, clock.Ingest()).PageURL()
		racktest.Eventually(b, "readiness", func() bool { status, _ := fetch(url + "ready"); return status == http.StatusOK })
		return func(path string) float64 {
			start := time.Now()
			for range 10 {
				clock.Move(3 * time.Second) // no state serves twice
				if status, text := fetch(url + path); status != http.StatusOK {
					b.Fatal(text)
				}
			}
			return time.Since(start).Seconds() / 10
		}
	}
	short, long := view(10), view(200)
	for _, page := range []struct{ name, path string }{{"bins", ""}, {"place", "place/1/4/4"}} {
		b.Run(page.name, func(b *testing.B) {
			var each []float64
			pairs(b, "xshort", func() float64 {
				limit := short(page.path)
				took := long(page.path)
				each = append(each, 1e3*took)
				return took / limit
			})
			b.ReportMetric(median(each), "ms/view")
		})
	}
}

// everything makes a folder of eight bins of 7 × 8 with a sensor each, every other
// one a lux chip with a scale and an offset, walked twice, the lamps moved half
// way, and an outage of ten hours a month.
func everything(b *testing.B, days int) (folder string) {
	b.Helper()
	folder = b.TempDir()
	config := trialText(days) + "[broker]\nlisten = \"127.0.0.1:0\"\n[page]\nlisten = \"127.0.0.1:0\"\n[[lamp]]\nname = \"bar\"\nlux_per_ppfd = 67.0\non = \"00:00\"\noff = \"14:00\"\n"
	var survey strings.Builder
	survey.WriteString("time,bin,row,column,ppfd\n")
	moved := firstDay.AddDate(0, 0, days/2)
	for bin := 1; bin <= 8; bin++ {
		config += fmt.Sprintf(binText, bin, 7, 8) + "lamp = \"bar\"\n"
		sensor := fmt.Sprintf(sensorText, bin, bin, 4, 4, bin)
		if bin%2 == 0 {
			sensor = strings.Replace(sensor, `"ppfd"`, `"lux"`, 1) + "scale = 66.0\noffset = 1.5\n"
		}
		config += sensor
		for walk, at := range []time.Time{firstDay.AddDate(0, 0, 1), moved.AddDate(0, 0, 1)} {
			for k := range 56 {
				row, column := k/8+1, k%8+1
				x, y := float64(column)-4-float64(bin%3), float64(row)-3.5-float64(walk) // a lamp off the middle
				ppfd := 110 / (1 + (x*x/3+y*y)/25) * (1 + 0.06*math.Sin(float64(97*bin+31*walk+k*k)))
				fmt.Fprintf(&survey, "%s,%d,%d,%d,%.1f\n", at.Add(10*time.Hour+time.Duration(k)*20*time.Second).Format(time.RFC3339), bin, row, column, ppfd)
			}
		}
	}
	write(b, folder, map[string]string{"trial.toml": config, "survey.csv": survey.String()})
	fill(b, folder, 8, days, func(r light.Reading) bool {
		hour := int(r.At.Sub(firstDay).Hours())
		return hour%720 < 660 || hour%720 >= 670
	})
	w, err := store.OpenWriter(b.Context(), folder, store.Options{})
	if err != nil {
		b.Fatal(err)
	}
	if _, err := w.AddEvent(b.Context(), light.Event{Kind: light.LampMoved, At: moved}); err != nil {
		b.Fatal(err)
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
	return folder
}

// inMemory reads the eight sensors' series of a folder, and counts readings.
func inMemory(b *testing.B, folder string) (series []*light.Series, readings int) {
	b.Helper()
	view, err := store.OpenFolder(b.Context(), folder)
	if err != nil {
		b.Fatal(err)
	}
	defer view.Close() //nolint:errcheck // it only read
	for sensor := 1; sensor <= 8; sensor++ {
		s := new(light.Series)
		if err := view.Series(b.Context(), strconv.Itoa(sensor), light.Span{}, s); err != nil {
			b.Fatal(err)
		}
		series = append(series, s)
		readings += s.Len()
	}
	return series, readings
}

// bareRule is the rule alone: trapezoid, gaps, day cuts.
func bareRule(s *light.Series, bounds []int64) []float64 {
	days := make([]float64, len(bounds)-1)
	day, sum := 0, 0.0
	for i := 1; i < len(s.Times); i++ {
		t0, t1 := s.Times[i-1], s.Times[i]
		if t1-t0 > int64(10*time.Minute) {
			continue
		}
		for t0 >= bounds[day+1] { // a reading on the boundary, or days lost in a gap
			days[day], sum = sum, 0
			day++
		}
		if t1 <= bounds[day+1] {
			sum += (s.Values[i-1] + s.Values[i]) * float64(t1-t0)
			continue
		}
		cut := s.Values[i-1] + (s.Values[i]-s.Values[i-1])*float64(bounds[day+1]-t0)/float64(t1-t0)
		days[day] = sum + (s.Values[i-1]+cut)*float64(bounds[day+1]-t0)
		day++
		sum = (cut + s.Values[i]) * float64(t1-bounds[day])
	}
	days[day] = sum
	return days
}

// arrays starts numpy with such readings in its memory; each call has it
// integrate them once and gives the seconds that took.
func arrays(b *testing.B, sensors, days int) func() float64 {
	b.Helper()
	command := peer(python(), "light_arrays.py", strconv.Itoa(sensors), strconv.Itoa(days))
	wanted(b, command)
	c := exec.CommandContext(context.WithoutCancel(b.Context()), command[0], command[1:]...) // ends with its input
	in, err := c.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	out, err := c.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := c.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := in.Close(); err != nil {
			b.Error(err)
		}
		if err := c.Wait(); err != nil {
			b.Error(err)
		}
	})
	lines := bufio.NewReader(out)
	return func() float64 {
		if _, err := io.WriteString(in, "\n"); err != nil {
			b.Fatal(err)
		}
		line, err := lines.ReadString('\n')
		if err != nil {
			b.Fatal(err)
		}
		seconds, err := strconv.ParseFloat(strings.TrimSpace(line), 64)
		if err != nil {
			b.Fatal(err)
		}
		return seconds
	}
}

// forget drops a file from the page cache.
func forget(b *testing.B, path string) {
	b.Helper()
	f, err := os.Open(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close() //nolint:errcheck // it only read
	if err := f.Sync(); err != nil {
		b.Fatal(err)
	}
	if err := unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED); err != nil {
		b.Fatal(err)
	}
}
