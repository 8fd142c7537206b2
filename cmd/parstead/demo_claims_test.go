package main

import (
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/demo"
	"parstead/cmd/parstead/harvest"
	"parstead/cmd/parstead/trial"
	"parstead/correlate"
	"parstead/correlate/tables"
	"parstead/light/account"
)

// simulated analyses a simulated trial, its readings straight from the world to
// the account: everything but broker and database is the real path.
func simulated(tb testing.TB, c demo.Config) (*demo.World, *correlate.Result) {
	tb.Helper()
	w, err := demo.New(c)
	if err != nil {
		tb.Fatal(err)
	}
	dir := filepath.Join(tb.TempDir(), "demo")
	if err := w.WriteFolder(dir); err != nil {
		tb.Fatal(err)
	}
	t, err := trial.Open(dir)
	if err != nil {
		tb.Fatal(err)
	}
	readings := w.Readings(30 * time.Minute)
	plan, err := harvest.Plan(t, w.Dealt).Event(t.Rack.Trial().From.Add(-12 * time.Hour))
	if err != nil {
		tb.Fatal(err)
	}
	plan.ID = uint64(len(readings.Log) + 1)
	readings.Log = append(readings.Log, plan)
	lights, err := account.New(&t.Rack, readings, account.Options{}).Plants(tb.Context(), t.Stays(), t.Window)
	if err != nil {
		tb.Fatal(err)
	}
	h, err := harvest.Of(t, lights, readings.Log, t.Rack.Trial().Until, false)
	if err != nil {
		tb.Fatal(err)
	}
	if len(h.Input.Departures) > 0 {
		tb.Errorf("departures from the plan: %q", h.Input.Departures)
	}
	result, err := correlate.Analyse(tb.Context(), h.Input, correlate.Options{Seed: 1})
	if err != nil {
		tb.Fatal(err)
	}
	return w, result
}

// What the demo says of its season is true of it, every claim.
func TestDemoClaims(t *testing.T) {
	t.Parallel()
	w, result := simulated(t, demo.Config{Seed: demo.Seed})
	for _, c := range w.Claims(result) {
		if !c.Holds {
			t.Errorf("planted: %s; found: %s", c.Planted, c.Found)
		}
	}
	out, err := json.Marshal(result)
	if err != nil {
		t.Fatal(err)
	}
	var brief strings.Builder
	if err := tables.WriteText(&brief, "demo", result); err != nil {
		t.Fatal(err)
	}
	for _, f := range append(answerFaults(string(out)), briefFaults(brief.String(), string(out))...) {
		t.Error(f)
	}
	for _, o := range result.Outcomes {
		if o.Name == "biomass_g" && o.Of["species"] == demo.Streptocarpus {
			chosen(t, brief.String(), &o)
		}
		if !o.Planned {
			t.Errorf("%s of %v passes as unplanned", o.Name, o.Of)
		}
	}
}

// chosen demands of the text what the comparisons say of a choice: how much better than
// bark, the heaviest, another medium could still be.
func chosen(t *testing.T, text string, o *correlate.OutcomeResult) {
	t.Helper()
	most := 0.0
	for _, c := range o.Comparisons {
		switch {
		case c.Treatment == "medium" && c.B == "bark":
			most = max(most, c.CI95[1])
		case c.Treatment == "medium" && c.A == "bark":
			most = max(most, 1/c.CI95[0])
		}
	}
	says := strings.Join(strings.Fields(text), " ")
	want := fmt.Sprintf("no other more than %.0f %% better", 100*(most-1))
	if _, rest, found := strings.Cut(says, "for Streptocarpus bark,"); !found || !strings.Contains(rest[:min(len(rest), 160)], want) {
		t.Errorf("the text lacks the choice of bark with %q:\n%s", want, text)
	}
}
