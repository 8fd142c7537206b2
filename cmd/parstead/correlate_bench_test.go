package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// peer is the command line of a script in testdata/oracles that computes much
// the same.
func peer(program, script string, args ...string) []string {
	return append([]string{program, filepath.Join("..", "..", "testdata", "oracles", script)}, args...)
}

// BenchmarkHarvest sets whole processes beside one another: the command with
// all that the contract's JSON holds (it never computes less), and peers with a
// part of it. xpeer is the peer's time over ours.
func BenchmarkHarvest(b *testing.B) {
	program, data := built(b), harvestTable(b)
	ours := append([]string{program}, ofTable(data)...)
	b.Run("base R", func(b *testing.B) { inTurn(b, peer("Rscript", "harvest.R", "run", data), ours) })
	b.Run("R with packages", func(b *testing.B) { inTurn(b, peer("Rscript", "harvest_packages.R", data), ours) })
	b.Run("Python", func(b *testing.B) { inTurn(b, peer(python(), "harvest.py", data), ours) })
}

// BenchmarkHarvestOfFolder sets correlate on a folder with a season's 2.1
// million readings beside the sum of its parts: dli, and correlate on the same
// table. xsum is the folder's time over that sum.
func BenchmarkHarvestOfFolder(b *testing.B) {
	program, data := built(b), harvestTable(b)
	folder, _ := season(b, data)
	pairs(b, "xsum", func() float64 {
		parts := timed(b, append([]string{program}, ofTable(data)...)) + timed(b, []string{program, "dli", "--json", folder})
		return timed(b, []string{program, "correlate", "--json", folder}).Seconds() / parts.Seconds()
	})
}

// BenchmarkLight sets dli --json on a season's 2.1 million readings beside peers
// that integrate the eight sensors from a CSV file. xpeer is the peer's time over
// ours. "162 positions" has the light maps and errors of as many places to work
// out as well, which the peer has not.
func BenchmarkLight(b *testing.B) {
	program := built(b)
	folder, readings := sensorsOnly(b)
	ours := []string{program, "dli", "--json", folder}
	b.Run("base R", func(b *testing.B) { inTurn(b, peer("Rscript", "light.R", readings), ours) })
	b.Run("pandas", func(b *testing.B) { inTurn(b, peer(python(), "light.py", readings), ours) })
	b.Run("pandas, 162 positions", func(b *testing.B) {
		folder, readings := season(b, harvestTable(b))
		inTurn(b, peer(python(), "light.py", readings), []string{program, "dli", "--json", folder})
	})
}

// inTurn runs both sides in turn and reports the median of the peer's time over
// ours.
func inTurn(b *testing.B, theirs, ours []string) {
	b.Helper()
	wanted(b, theirs)
	pairs(b, "xpeer", func() float64 {
		limit := timed(b, theirs)
		return limit.Seconds() / timed(b, ours).Seconds()
	})
}

// pairs reports the median of at least five ratios.
func pairs(b *testing.B, unit string, ratio func() float64) {
	b.Helper()
	ratio()
	var ratios []float64
	for b.Loop() {
		ratios = append(ratios, ratio())
	}
	for len(ratios) < 5 {
		ratios = append(ratios, ratio())
	}
	slices.Sort(ratios)
	b.ReportMetric(ratios[len(ratios)/2], unit)
	b.ReportMetric(0, "ns/op") // it would mix both sides
}

// timed runs a process whose output goes to a file.
func timed(b *testing.B, command []string) time.Duration {
	b.Helper()
	out, err := os.Create(filepath.Join(b.TempDir(), "out"))
	if err != nil {
		b.Fatal(err)
	}
	defer out.Close() //nolint:errcheck // a benchmark's
	c := exec.CommandContext(b.Context(), command[0], command[1:]...)
	c.Stdout = out
	start := time.Now()
	if err := c.Run(); err != nil {
		b.Fatalf("%v: %v", command, err)
	}
	return time.Since(start)
}

// wanted skips the benchmark where a peer, or a package of it, is missing.
func wanted(b *testing.B, command []string) {
	b.Helper()
	text, err := exec.CommandContext(b.Context(), command[0], command[1:]...).CombinedOutput()
	missing := 0
	if exit := (*exec.ExitError)(nil); errors.As(err, &exit) {
		missing = exit.ExitCode()
	}
	switch {
	case err == nil:
	case os.Getenv("PARSTEAD_REQUIRE_TOOLS") == "1", missing != 0 && missing != 3:
		b.Fatalf("%v: %v: %s", command, err, text)
	default:
		b.Skipf("%s: %v", command[0], err)
	}
}

// python is the first of the machine's that has what the peers need.
func python() string {
	for _, dir := range filepath.SplitList(os.Getenv("PATH")) {
		program := filepath.Join(dir, "python3")
		if exec.Command(program, "-c", "import statsmodels").Run() == nil { //nolint:noctx // ends by itself
			return program
		}
	}
	return "python3 with statsmodels"
}

func built(b *testing.B) string {
	b.Helper()
	program := filepath.Join(b.TempDir(), "parstead")
	if text, err := exec.CommandContext(b.Context(), "go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, text)
	}
	return program
}

// ofTable is the command line of the made-up trial.
func ofTable(data string) []string {
	return []string{
		"correlate", "--table", data, "--json", "--outcome", "mass:measure", "--outcome", "shoots:count",
		"--treatment", "treatment", "--bin", "bin", "--row", "row", "--column", "col", "--light", "dli",
	}
}
