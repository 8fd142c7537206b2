package main

import (
	"encoding/json"
	"strings"
	"testing"

	"parstead/correlate"
)

func sized(t *testing.T, text string) correlate.NextTrial {
	t.Helper()
	var next correlate.NextTrial
	if err := json.Unmarshal([]byte(text), &next); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	return next
}

// Sizes that R 4.2.2 and Cohen (1988) give: 22.02 plants for one standard deviation at
// power 0.9, 63.77 for half of one at 0.8, 11.93 for four groups with a variance of
// one among their means and three within.
func TestSizeOfNoTrial(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		args             string
		perLevel, perBin int
		power            float64
	}{
		{"--sd 1 --difference 1 --power 0.9", 23, 0, 0.9},
		{"--sd 2 --difference 1", 64, 0, 0.8},
		{"--sd 20% --difference 10%", 64, 0, 0.8},
		{"--sd 1.7320508075688772 --difference 2.449489742783178 --levels 4", 12, 0, 0.8},
		// Bins vary by √(0.6² + 0.8²) = 1: the same as one plant of that spread.
		{"--sd 3.2 --difference 1 --bin-sd 0.6 --plants-per-bin 16 --power 0.9", 217, 23, 0.9},
	} {
		next := sized(t, must(t, march, "", append([]string{"size", "--json"}, strings.Fields(c.args)...)...))
		bins := 0
		if next.BinsPerLevel != nil {
			bins = *next.BinsPerLevel
		}
		if *next.PerLevel != c.perLevel || bins != c.perBin || next.Power != c.power {
			t.Errorf("%s: %d plants and %d bins per level at %v", c.args, *next.PerLevel, bins, next.Power)
		}
	}
	text := must(t, march, "", "size", "--sd", "2.1", "--difference", "1.5", "--bin-sd", "0.6", "--plants-per-bin", "24", "--bins", "6")
	narrow(t, text)
	for _, want := range []string{"If single plants get the treatment:", "takes 32 plants per level", "That fits: the rack holds 72 per level", "If whole bins get it:", "takes 5 bins per level with 24 plants in each", "The rack holds 3 per level: enough for a"} {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
}

func TestSizeRefuses(t *testing.T) {
	t.Parallel()
	for args, want := range map[string]string{
		"":                                         "needs --sd and --difference, or a trial's folder",
		"--sd 1":                                   "needs --sd and --difference",
		"--sd 0 --difference 1":                    "the spread of plants is 0",
		"--sd 1 --difference 0":                    "the difference is 0",
		"--sd 1 --difference -1":                   "",
		"--sd 1 --difference=-1":                   "must be above zero",
		"--sd 1 --difference 1 --power 1":          "no trial is certain",
		"--sd 1 --difference 1 --power 0":          "asks for nothing",
		"--sd 1 --difference 1 --levels 1":         "from 2 to 1000",
		"--sd 1 --difference 10%":                  "don't meet",
		"--sd 1,5 --difference 1":                  "write it as 1.5, or 10%",
		"--sd NaN --difference 1":                  "is no number",
		"--sd 1 --difference 1 --bin-sd 1":         "--bin-sd needs --plants-per-bin",
		"--sd 1 --difference 1 --bins 6":           "--bins needs --plants-per-bin",
		"--sd 1 --difference 1 --outcome y":        "name its folder too",
		"--sd 1 --difference 1 --bins -6":          "",
		"--sd 1 --difference 1 --plants-per-bin 6": "--plants-per-bin needs --bin-sd",
	} {
		status, out, talk := command(t, march, "", append([]string{"size"}, strings.Fields(args)...)...)
		if status != 2 || out != "" || strings.Count(talk, "\n") != 1 || !strings.Contains(talk, want) {
			t.Errorf("%s: exit status %d, %q", args, status, talk)
		}
	}
	if status, _, talk := command(t, march, "", "size", "--sd", "1", "--difference", "0.00001"); status != 1 || !strings.Contains(talk, "out of reach of any trial") {
		t.Errorf("a tiny difference: exit status %d, %s", status, talk)
	}
}

// A trial's folder gives spread, levels, difference and rack; correlate carries the
// same answer.
func TestSizeOfATrial(t *testing.T) {
	t.Parallel()
	dir, e, out, talk := harvestOf(t, 1)
	answer := func(args ...string) string {
		out.Reset()
		talk.Reset()
		if err := runAt(e, args); err != nil {
			t.Fatalf("%q: %v\n%s", args, err, talk)
		}
		return out.String()
	}
	var whole correlate.Result
	if err := json.Unmarshal([]byte(answer("correlate", dir, "--json")), &whole); err != nil {
		t.Fatal(err)
	}
	next := sized(t, answer("size", dir, "--json"))
	if whole.NextTrial == nil || *whole.NextTrial.PerLevel != *next.PerLevel || next.Needs[0].Treatment != "medium" || next.Needs[0].Levels != 3 {
		t.Fatalf("%+v\n%+v", whole.NextTrial, next)
	}
	// Two bins of sixteen positions hold four guards.
	if n := next.Needs[0]; *n.SD != *whole.Outcomes[0].ResidualSD || *n.RackHolds != (32-4)/3 || *n.Fits {
		t.Errorf("%+v", n)
	}
	text := answer("size", dir, "--difference", "100%")
	narrow(t, text)
	if !strings.HasPrefix(text, "mass_g, medium:\nTo settle a ratio of 2.00 between two of the 3 levels") {
		t.Error(text)
	}
	leaves := sized(t, answer("size", dir, "--outcome", "leaves", "--difference", "50%", "--json")).Needs[0]
	if leaves.MonteCarloError == nil || leaves.Dispersion == nil || *leaves.Power < 0.8 || !(*leaves.Ratio > 1.4999 && *leaves.Ratio < 1.5001) {
		t.Errorf("%+v", leaves)
	}
	for want, args := range map[string][]string{
		"trial.toml does not say which difference in leaves matters": {"--outcome", "leaves"},
		`no outcome "height": it has mass_g, leaves`:                 {"--outcome", "height"},
		`no treatment "light"`:                                       {"--treatment", "light"},
		"takes its spread from the trial":                            {"--outcome", "leaves", "--difference", "50%", "--sd", "20%"},
	} {
		talk.Reset()
		err := runAt(e, append([]string{"size", dir}, args...))
		exitCode(err, talk)
		if err == nil || !strings.Contains(talk.String(), want) {
			t.Errorf("%q: %v, %s", args, err, talk)
		}
	}
}
