package trial_test

import (
	"strings"
	"testing"

	"parstead/cmd/parstead/trial"
)

// tomlSlips are what people write who don't know TOML (common practice, no source):
// a line of the sound trial, the line with the slip, and a piece of what is said. The
// lines before and behind it are read all the same.
var tomlSlips = []struct{ line, slip, says string }{
	{"starts   = 2026-03-02", "starts   = 02.03.2026", "starts: a date begins with the year; write starts = 2026-03-02"},
	{"starts   = 2026-03-02", "starts   = 2.3.26   # a Monday", "starts: a date begins with the year; write starts = 2026-03-02"},
	{"starts   = 2026-03-02", "starts   = 02/03/2026", "02/03/2026 can be read two ways; a date begins with the year: write 2026-03-02 or 2026-02-03"},
	{"starts   = 2026-03-02", "starts   = 03/22/2026", "write starts = 2026-03-22"},
	{"starts   = 2026-03-02", "starts   = 2026-3-2", "write starts = 2026-03-02"},
	{"starts   = 2026-03-02", "starts   = 2026/03/02", "write starts = 2026-03-02"},
	{"starts   = 2026-03-02", `starts   = "02.03.2026"`, "write it like starts = 2026-03-02"},
	{"lux_per_ppfd = 67.0", "lux_per_ppfd = 67,0", "lux_per_ppfd: 67,0 has a decimal comma; write lux_per_ppfd = 67.0"},
	{`topic    = "rack/upper"`, "topic    = \"rack/upper\"\nrelative_error = \"0,15\"", "write it like relative_error = 0.15"},
	{"lux_per_ppfd = 67.0", `lux_per_ppfd = 67,0   # from the maker; or spectrum = "bar.csv"`, "write lux_per_ppfd = 67.0"},
	{`on           = "07:00"`, `on           = "07:00   # a time, or a list of times`, `the quotation mark is not closed; write on = "07:00"`},
	{`on           = "07:00"`, `on           = 7:00   # a "time"`, `write on = "07:00"`},
	{"lux_per_ppfd = 67.0", "lux_per_ppfd = 67 lx", "the number stands alone, without its unit; write lux_per_ppfd = 67"},
	{"lux_per_ppfd = 67.0", "lux_per_ppfd = 67.", "write lux_per_ppfd = 67.0"},
	{"lux_per_ppfd = 67.0", "lux_per_ppfd : 67.0", "followed by a colon; write lux_per_ppfd = 67.0"},
	{"pitch_cm  = [6.0, 5.0]", "pitch_cm  = [6,5; 5,5]", "write pitch_cm = [6.5, 5.5]"},
	{"pitch_cm  = [6.0, 5.0]", "pitch_cm  = [6,5, 5,5]", "write it like pitch_cm = [6.5, 5.5]: decimals have a point"},
	{`on           = "07:00"`, "on           = 7:00", `write on = "07:00"`},
	{`on           = "07:00"`, `on           = “07:00”`, `straight quotes, as in "text"; write on = "07:00"`},
	{`on           = "07:00"`, `on           = "07:00`, `the quotation mark is not closed; write on = "07:00"`},
	{`name     = "sound"`, "name     = spring 2026", `a text stands in quotes; write name = "spring 2026"`},
	{`name     = "sound"`, "name     = \"a\"\nname     = \"sound\"", "key name is already defined; keep one of the two"},
	{`levels  = ["coir", "bark"]`, `levels  = "coir", "bark"`, `several values stand in brackets; write levels = ["coir", "bark"]`},
	{"kind = \"count\"\n", "kind = \"count\"\nprimary = Yes\n", `"Yes" is written true or false; write primary = true`},
	{"kind = \"count\"\n", "kind = \"count\"\nmatters = 10 %\n", `write matters = "10%"`},
	{`topic    = "rack/upper"`, "topic    = \"rack/upper\"\nevery = 60s", `a length of time stands in quotes; write every = "60s"`},
	{"[[lamp]]", "[[lamp]", "the brackets of the heading [[lamp] don't match; write [[lamp]]"},
	{"[broker]", "[broker", "write [broker]"},
}

// Each slip is told in a grower's words, alone, with its line.
func TestSlipsInTOML(t *testing.T) {
	t.Parallel()
	for _, c := range tomlSlips {
		_, problems := trial.Load(folder(t, toml(c.line, c.slip)))
		lines := told(problems)
		if len(lines) != 1 || !strings.Contains(lines[0], "error: ") || !strings.Contains(lines[0], c.says) {
			t.Errorf("%s: want %s, told:\n%s", c.slip, c.says, strings.Join(lines, "\n"))
			continue
		}
		before, _, _ := strings.Cut(sound["trial.toml"], c.line)
		line := strings.Count(before, "\n") + 1 + strings.Count(strings.TrimSuffix(c.slip, "\n"), "\n")
		if problems[len(problems)-1].Line != line {
			t.Errorf("%s: told in line %d, want %d", c.slip, problems[len(problems)-1].Line, line)
		}
	}
}

// Slips are told all at once, with the mistakes that TOML has nothing against; where
// nobody can tell what was meant, what is beyond doubt is told still.
func TestSlipsAreToldAtOnce(t *testing.T) {
	t.Parallel()
	edits := []edit{toml("starts   = 2026-03-02", "starts   = 02.03.2026"), toml("lux_per_ppfd = 67.0", "lux_per_ppfd = 67,0"), toml("pitch_cm = [6.0, 5.0]\nlamp     = \"bar\"", "pitch_cm = [6.0, 5.0]\nlamp     = baar")}
	_, problems := trial.Load(folder(t, edits...))
	if lines := told(problems); len(lines) < 4 || !strings.Contains(strings.Join(lines, "\n"), `there is no lamp "baar"`) {
		t.Errorf("told:\n%s", strings.Join(lines, "\n"))
	}
	_, problems = trial.Load(folder(t, append(edits, toml("url = \"tcp://127.0.0.1:1883\"", "url = {{"))...))
	want := []string{"trial.toml:4", "trial.toml:8", "trial.toml:12"}
	lines := told(problems)
	for i, place := range want {
		if len(lines) != len(want) || !strings.HasPrefix(lines[i], place+":") {
			t.Fatalf("told:\n%s", strings.Join(lines, "\n"))
		}
	}
}

// A workbook under another name is called one.
func TestWorkbookUnderAnotherName(t *testing.T) {
	t.Parallel()
	mistake{"new", []edit{{"moves.csv", "", "PK\x03\x04\x14\x00"}}, "moves.csv:1:1: error:", "the file is a workbook, whatever its name says; call it .xlsx"}.check(t)
	mistake{"old", []edit{{"moves.csv", "", "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"}}, "moves.csv:1:1: error:", "of an old kind; save it as .xlsx"}.check(t)
}
