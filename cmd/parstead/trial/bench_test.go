package trial_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"parstead/cmd/parstead/trial"
)

// A rack of 288 plants with four surveys of every position: about the size of
// the demo.
func BenchmarkLoad(b *testing.B) {
	dir := b.TempDir()
	var config, plants, layout, survey strings.Builder
	config.WriteString("[trial]\nname = \"large\"\ntimezone = \"Europe/Lisbon\"\nstarts = 2026-03-02\nends = 2026-06-14\n[[lamp]]\nname = \"bar\"\nlux_per_ppfd = 67\non = \"07:00\"\noff = \"21:00\"\n")
	plants.WriteString("plant,species,start_g\n")
	layout.WriteString("plant,bin,row,column,medium\n")
	survey.WriteString("time,bin,row,column,ppfd\n")
	n := 0
	for bin := range 6 {
		fmt.Fprintf(&config, "[[bin]]\nname = \"b%d\"\nrows = 6\ncolumns = 8\npitch_cm = [6, 6]\nlamp = \"bar\"\n[[sensor]]\nname = \"s%d\"\nmeasures = \"lux\"\nbin = \"b%d\"\ntopic = \"rack/%d\"\n", bin, bin, bin, bin)
		for row := 1; row <= 6; row++ {
			for column := 1; column <= 8; column++ {
				n++
				fmt.Fprintf(&plants, "P%03d,one,1.%02d\n", n, n%90)
				fmt.Fprintf(&layout, "P%03d,b%d,%d,%d,%s\n", n, bin, row, column, []string{"coir", "bark"}[n%2])
				for walk := range 4 {
					fmt.Fprintf(&survey, "2026-0%d-10 12:%02d:%02d,b%d,%d,%d,90.5\n", walk+3, n/60, n%60, bin, row, column)
				}
			}
		}
	}
	config.WriteString("[[treatment]]\nname = \"medium\"\nlevels = [\"coir\", \"bark\"]\nset_per = \"plant\"\n")
	for name, text := range map[string]string{"trial.toml": config.String(), "plants.csv": plants.String(), "layout.csv": layout.String(), "survey.csv": survey.String()} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			b.Fatal(err)
		}
	}
	if _, err := trial.Open(dir); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := trial.Open(dir); err != nil {
			b.Fatal(err)
		}
	}
}
