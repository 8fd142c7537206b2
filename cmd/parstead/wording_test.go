package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Sentences that were once worded badly, of tables that bring them about.
func TestWordingOfFewAndOdd(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(10, 10))
	var three, odd, cells strings.Builder
	three.WriteString("light,mass\n1,2.0\n2,3.5\n3,2.9\n")
	odd.WriteString("medium,light,mass,shoots\n")
	cells.WriteString("medium,feed,mass\n")
	for i := range 80 {
		mass := 10 + 0.5*rng.NormFloat64()
		if i == 3 || i == 20 || i == 41 {
			mass = 30
		}
		fmt.Fprintf(&odd, "%c,%.2f,%.3f,%d\n", "ab"[i%2], 3*rng.Float64(), mass, int(3*rng.ExpFloat64()))
		medium, feed, more := "AB"[i%2], "HL"[i/2%2], 0.0
		if medium == 'A' && feed == 'L' {
			more = 3
		}
		fmt.Fprintf(&cells, "%c,%c,%.3f\n", medium, feed, 10+more+0.5*rng.NormFloat64())
	}
	for _, c := range []struct {
		name, csv string
		args      []string
		has       []string
	}{
		{"three plants", three.String(), []string{"--outcome", "mass:measure", "--light", "light"}, []string{"too few plants to see whether the residuals are normal"}},
		{"plants far off", odd.String(), []string{"--outcome", "mass:measure", "--outcome", "shoots:count", "--treatment", "medium", "--light", "light"}, []string{"1 more plant lies far off", "the counts vary more than chance makes them"}},
		{"cells", cells.String(), []string{"--outcome", "mass:measure", "--treatment", "medium", "--treatment", "feed", "--interactions"}, []string{"feed L lies above H in mass on medium A"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			file := filepath.Join(t.TempDir(), "plants.csv")
			if err := os.WriteFile(file, []byte(c.csv), 0o600); err != nil {
				t.Fatal(err)
			}
			brief, full, _, err := saidThrice(t, append([]string{"correlate", "--table", file}, c.args...)...)
			if err != nil {
				t.Fatal(err)
			}
			text := brief + "\n" + full
			joined := strings.Join(strings.Fields(text), " ")
			for _, want := range c.has {
				if !strings.Contains(joined, want) {
					t.Errorf("no %q in\n%s", want, text)
				}
			}
			for _, bad := range []string{`\b1 more plants`, `residuals look normal.*p 1\.000`, `[A-Z], [A-Z] lies (above|below)`, `(?m)intercept\s*$`, `(?m)[ ]+$`, `vary no more`} {
				if found := regexp.MustCompile(bad).FindString(text); found != "" {
					t.Errorf("%q in\n%s", found, text)
				}
			}
		})
	}
}
