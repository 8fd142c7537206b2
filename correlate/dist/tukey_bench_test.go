package dist

import (
	"bufio"
	"io"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// tukeyInR times the same in R: all pairs of six groups of 27, p and intervals.
// It answers every line on its input with the milliseconds of one call.
const tukeyInR = `
set.seed(1); g <- gl(6, 27); m <- aov(rnorm(162) + as.integer(g) / 4 ~ g); invisible(TukeyHSD(m))
input <- file("stdin", "r")
while (length(readLines(input, 1))) {
  t <- Sys.time(); invisible(TukeyHSD(m)); cat(as.numeric(difftime(Sys.time(), t, units = "secs")) * 1e3, "\n"); flush(stdout())
}`

// BenchmarkTukeyAgainstR reports how many times faster the p values and the
// interval's point of 15 pairs are than R, both run in turn.
func BenchmarkTukeyAgainstR(b *testing.B) {
	program, err := exec.LookPath("Rscript")
	if err != nil {
		if os.Getenv("PARSTEAD_REQUIRE_TOOLS") == "1" {
			b.Fatal(err)
		}
		b.Skip("no Rscript on this machine")
	}
	r := exec.Command(program, "-e", tukeyInR)
	in, err := r.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	out, err := r.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := r.Start(); err != nil {
		b.Fatal(err)
	}
	lines := bufio.NewReader(out)
	var ratios []float64
	for b.Loop() {
		start := time.Now()
		tukeySixGroups()
		ours := time.Since(start)
		if _, err := io.WriteString(in, "\n"); err != nil {
			b.Fatal(err)
		}
		line, err := lines.ReadString('\n')
		if err != nil {
			b.Fatal(err)
		}
		ms, err := strconv.ParseFloat(strings.TrimSpace(line), 64)
		if err != nil {
			b.Fatal(err)
		}
		ratios = append(ratios, ms/1e3/ours.Seconds())
	}
	if err := in.Close(); err != nil {
		b.Fatal(err)
	}
	if err := r.Wait(); err != nil {
		b.Fatal(err)
	}
	slices.Sort(ratios)
	b.ReportMetric(ratios[len(ratios)/2], "xR")
}

func tukeySixGroups() {
	r := NewStudentizedRange(6, 156)
	r.InverseSurvival(0.05)
	for i := range 15 {
		r.Survival(0.3 + 0.7*float64(i))
	}
}

func BenchmarkTukeySixGroups(b *testing.B) {
	for b.Loop() {
		tukeySixGroups()
	}
}

func BenchmarkExactTableDrawn(b *testing.B) {
	rows := [][]int{{9, 18}, {13, 14}, {6, 21}, {12, 15}, {10, 17}, {11, 16}}
	if ExactTable(rows, 1).Drawn == 0 {
		b.Fatal("this table should be drawn")
	}
	for b.Loop() {
		ExactTable(rows, 1)
	}
}
