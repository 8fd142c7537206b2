package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/rivo/uniseg"
)

// Whatever the table calls its columns, blocks, bins and light go by these
// names in the results; findings tell the column beside.
func TestCorrelateTableNames(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		file, flags        string
		effects, of, finds []string
	}{
		{
			"cases/oats.csv", "--outcome Y:measure --block B --bin plot --bin-treatment V --treatment N",
			[]string{"bin", "N", "block", "V"},
			[]string{"intercept", "bin", "N"},
			[]string{"adjusted for bin (plot)", "adjusted for block (B)"},
		},
		{
			"cases/sleep.csv", "--outcome extra:measure --treatment group --block ID",
			[]string{"block", "group"},
			[]string{"intercept", "block", "group"},
			[]string{"adjusted for block (ID)"},
		},
		{
			"cases/co2.csv", "--outcome uptake:measure --bin Plant --bin-treatment Type --light conc",
			[]string{"bin", "light", "Type"},
			[]string{"intercept", "bin", "light"},
			[]string{"light (conc)"},
		},
	} {
		r := correlated(t, c.file, strings.Fields(c.flags)...).Outcomes[0]
		var effects, of []string
		for _, e := range r.Effects {
			effects = append(effects, e.Effect)
		}
		for _, k := range r.Coefficients {
			if !slices.Contains(of, k.Of) {
				of = append(of, k.Of)
			}
		}
		if fmt.Sprint(effects) != fmt.Sprint(c.effects) || fmt.Sprint(of) != fmt.Sprint(c.of) {
			t.Errorf("%s: effects %q, coefficients of %q; want %q and %q", c.file, effects, of, c.effects, c.of)
		}
		findings := fmt.Sprint(r.Findings)
		for _, want := range c.finds {
			if !strings.Contains(findings, want) {
				t.Errorf("%s: no %q in:\n%s", c.file, want, findings)
			}
		}
	}
}

// A treatment may be called "light" and act through light.
func TestCorrelateTableTreatmentCalledLight(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "t.csv")
	text := "y,light,dli,bin\n"
	for i := range 24 {
		text += fmt.Sprintf("%d.%d,%s,%d.%d,b%d\n", 3+i%5, i*7%10, []string{"low", "high"}[i/12], 4+3*(i/12), i*3%10, i%3)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	r := correlated(t, path, strings.Fields("--outcome y:measure --treatment light --light dli --bin bin --sets-light light")...).Outcomes[0]
	var units []string
	for _, e := range r.Effects {
		units = append(units, fmt.Sprint(e.Effect, " redealt ", e.PRedealt != nil))
	}
	if want := "[bin redealt false light redealt true light redealt false]"; fmt.Sprint(units) != want {
		t.Errorf("effects %v, want %s", units, want)
	}
	bare := correlated(t, path, strings.Fields("--outcome y:measure --treatment light --bin bin")...).Outcomes[0]
	near(t, "p without light", r.Effects[1].P, *bare.Effects[1].P, 1e-12, 0)
}

// Long and wide names are broken over lines, never cut.
func TestCorrelateTableLongNames(t *testing.T) {
	t.Parallel()
	for _, names := range [][2]string{
		{strings.Repeat("a_very_long_name_", 8) + "end", "Peperomia obtusifolia, variegated, with the roots cut to two nodes and dipped"},
		{strings.Repeat("水苔", 30), strings.Repeat("泥炭 ", 25) + "水苔"},
	} {
		path := filepath.Join(t.TempDir(), "t.csv")
		text := "y,g\n"
		for i := range 12 {
			text += fmt.Sprintf("%d.%d,\"%s\"\n", 3+i%5, i*7%10, names[i%2])
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := said(t, "correlate", "--table", path, "--outcome", "y:measure", "--treatment", "g")
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.SplitSeq(out, "\n") {
			if n := uniseg.StringWidth(line); n > 80 {
				t.Errorf("%d columns: %s", n, line)
			}
		}
		whole := strings.Join(strings.Fields(out), "")
		for _, name := range names {
			if strings.Contains(out, "…") || strings.Count(whole, strings.Join(strings.Fields(name), "")) < 3 {
				t.Errorf("a name was cut:\n%s", out)
			}
		}
	}
}
