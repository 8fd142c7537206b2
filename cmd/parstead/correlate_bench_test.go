package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// Whole processes in turn: this program with all that the contract's JSON
// holds, and base R with a part of it (testdata/oracles/harvest.R). xlimit is
// R's time over ours, the median; run it with -benchtime 5x or more.
func BenchmarkHarvest(b *testing.B) {
	dir := b.TempDir()
	data, program := filepath.Join(dir, "harvest.csv"), filepath.Join(dir, "parstead")
	if text, err := exec.CommandContext(b.Context(), "go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, text)
	}
	script := filepath.Join("..", "..", "testdata", "oracles", "harvest.R")
	if text, err := exec.CommandContext(b.Context(), "Rscript", script, "gen", data).CombinedOutput(); err != nil {
		if os.Getenv("PARSTEAD_REQUIRE_TOOLS") == "1" {
			b.Fatalf("Rscript: %v: %s", err, text)
		}
		b.Skipf("no Rscript: %v", err)
	}
	var ratios []float64
	for b.Loop() {
		theirs := timed(b, "Rscript", script, "run", data)
		ours := timed(b, program, "correlate", "--table", data, "--json", "--outcome", "mass:measure", "--outcome", "shoots:count",
			"--treatment", "treatment", "--bin", "bin", "--row", "row", "--column", "col", "--light", "dli")
		ratios = append(ratios, float64(theirs)/float64(ours))
	}
	slices.Sort(ratios)
	b.ReportMetric(ratios[len(ratios)/2], "xlimit")
}

func timed(b *testing.B, program string, args ...string) time.Duration {
	b.Helper()
	start := time.Now()
	if text, err := exec.CommandContext(b.Context(), program, args...).CombinedOutput(); err != nil {
		b.Fatalf("%s: %v: %s", program, err, text)
	}
	return time.Since(start)
}
