package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rivo/uniseg"
)

// A command line that can't be meant ends with 2, bad data with 1, both with
// one line that says what, where and the mend.
func TestCorrelateTableRefuses(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "t.csv")
	text := "y,g,one,x,bin,n,empty,e\n1,a,s,1,b,2,,1\n2,b,s,2,b,3,,0\n3,a,s,2,c,1,,1\n5,b,s,oops,c,2,,1\n"
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	table := []string{"--table", path}
	for name, c := range map[string]struct {
		args []string
		code int
		want string
	}{
		"nothing":               {nil, 2, "a trial's folder, or --table"},
		"both":                  {[]string{"somewhere", "--table", path}, 2, "not both"},
		"folder with a flag":    {[]string{"somewhere", "--light", "x"}, 2, "--light belongs to --table"},
		"no outcome":            {table, 2, "--table needs --outcome"},
		"no kind":               {append(table, "--outcome", "y"), 2, "write NAME:KIND"},
		"odd kind":              {append(table, "--outcome", "y:mass"), 2, `"mass" is not a kind`},
		"outcome twice":         {append(table, "--outcome", "y:measure", "--outcome", "y:count"), 2, "named twice"},
		"bin treatment alone":   {append(table, "--outcome", "y:measure", "--bin-treatment", "g"), 2, "--bin-treatment needs --bin"},
		"row alone":             {append(table, "--outcome", "y:measure", "--row", "x"), 2, "--row and --column go together"},
		"log of a count":        {append(table, "--outcome", "n:count", "--log", "n"), 2, "--log n: name a measure"},
		"sets light of nothing": {append(table, "--outcome", "y:measure", "--sets-light", "g"), 2, "--sets-light g: name a treatment"},
		"exposure of a measure": {append(table, "--outcome", "y:measure", "--exposure", "x"), 2, "no --outcome is one"},
		"dark without light":    {append(table, "--outcome", "y:measure", "--no-growth-in-dark"), 2, "needs --light"},
		"named twice":           {append(table, "--outcome", "y:measure", "--treatment", "g", "--covariate", "g"), 2, "name it once"},
		"unknown flag":          {append(table, "--colour", "x"), 2, "unknown flag"},
		"no such file":          {[]string{"--table", path + "x", "--outcome", "y:measure"}, 1, "is not there: name a table"},
		"no such column":        {append(table, "--outcome", "z:measure"), 1, `no column "z"`},
		"text for a number":     {append(table, "--outcome", "y:measure", "--covariate", "x"), 1, `line 5, column "x": "oops" is not a number`},
		"halves counted":        {append(table, "--outcome", "x:count"), 1, `"oops"`},
		"not yes or no":         {append(table, "--outcome", "n:yes_no"), 1, `line 2, column "n": "2" is neither yes nor no`},
		"log of zero":           {append(table, "--outcome", "e:measure", "--log", "e"), 1, `line 3, column "e": "0" has no logarithm`},
		"no exposure":           {append(table, "--outcome", "n:count", "--exposure", "e"), 1, `line 3, column "e": "0" is no exposure`},
		"one level":             {append(table, "--outcome", "y:measure", "--treatment", "one"), 1, "cannot be compared with anything: leave it out, or add rows of another level"},
		"one level of answers":  {append(table, "--outcome", "e:yes_no", "--treatment", "one"), 1, `"one" has only the level "s" in the rows used, so that it cannot be compared with anything: leave it out`},
		"a folder":              {[]string{"--table", filepath.Dir(path), "--outcome", "y:measure"}, 1, "is a folder: name the table in it"},
		"all missing":           {append(table, "--outcome", "empty:measure", "--treatment", "g"), 1, "no plant has empty"},
		"no folder":             {[]string{filepath.Join(t.TempDir(), "none")}, 1, "parstead begin FOLDER"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := said(t, append([]string{"correlate"}, c.args...)...)
			var talk bytes.Buffer
			if code := exitCode(err, &talk); code != c.code || !strings.Contains(talk.String(), c.want) {
				t.Errorf("exit %d, %s; want %d, %s", code, &talk, c.code, c.want)
			}
			if lines := strings.Count(talk.String(), "\n"); lines != 1 {
				t.Errorf("%d lines: %s", lines, &talk)
			}
		})
	}
}

// Golden texts of published data sets, 80 columns at most. Rewritten with
// PARSTEAD_WRITE_GOLDEN=1; read what changed before committing it.
func TestCorrelateTableText(t *testing.T) {
	t.Parallel()
	for name, flags := range map[string]string{
		"plantgrowth":   "plantgrowth.csv --outcome weight:measure --treatment group",
		"insectsprays":  "insectsprays.csv --outcome count:count --treatment spray",
		"cabbages":      "cabbages.csv --outcome VitC:measure --treatment Cult --treatment Date --interactions --covariate HeadWt",
		"oats":          "oats.csv --outcome Y:measure --block B --bin plot --bin-treatment V --treatment N --interactions",
		"co2":           "co2.csv --outcome uptake:measure --log uptake --bin Plant --bin-treatment Type --bin-treatment Treatment --light conc",
		"orchardsprays": "orchardsprays.csv --outcome decrease:measure --treatment treatment --row rowpos --column colpos",
		"budworm":       "budworm.csv --outcome y:yes_no --treatment sex --covariate ldose",
		"puromycin":     "puromycin.csv --outcome rate:measure --light conc --by state --no-growth-in-dark",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			args := strings.Fields(flags)
			args = append([]string{"correlate", "--table", filepath.Join("..", "..", "testdata", "cases", args[0])}, args[1:]...)
			recorded(t, name+".txt", args)
			recorded(t, name+"-full.txt", append(args, "--full"))
		})
	}
}

// recorded holds what a command prints against testdata/cases/text/NAME.
func recorded(t *testing.T, name string, args []string) {
	t.Helper()
	out, err := said(t, args...)
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.SplitSeq(out, "\n") {
		if n := uniseg.StringWidth(line); n > 80 || strings.Contains(line, "…") {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	golden := filepath.Join("..", "..", "testdata", "cases", "text", name)
	if os.Getenv("PARSTEAD_WRITE_GOLDEN") == "1" {
		if err := os.WriteFile(golden, []byte(out), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if out != string(want) {
		t.Errorf("the text differs from %s:\n%s", golden, out)
	}
}

// Before the harvest there is nothing to correlate, and one line says so.
func TestCorrelateBeforeTheHarvest(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "rack")
	must(t, time.Now(), "", "begin", dir)
	must(t, time.Now(), "", "layout", dir)
	status, out, says := command(t, time.Now(), "", "correlate", dir)
	if status != 1 || out != "" || !strings.Contains(says, "has no harvest yet: write harvest.csv") || strings.Count(says, "\n") != 1 {
		t.Errorf("exit status %d, stdout %q, stderr %q", status, out, says)
	}
}
