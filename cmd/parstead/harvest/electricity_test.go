package harvest

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/demo"
	"parstead/cmd/parstead/trial"
	"parstead/correlate"
	"parstead/light"
	"parstead/light/account"
)

// A quiet season of the demo: what trial.toml says of lamps, loads and price comes
// out as kWh, cost and kWh per mol; what it leaves out is absent, with the reason.
func TestElectricityOfAFolder(t *testing.T) {
	t.Parallel()
	w := quietSeason(t)
	over := w.Rack.Trial().Until
	of := func(now time.Time, log []light.Event, edit func(string) string) (*correlate.Electricity, *trial.Trial) {
		t.Helper()
		tr, books, lights := w.opened(t, edit(w.config), now)
		out, err := electricityOf(t.Context(), tr, now, books, log, lights)
		if err != nil {
			t.Fatal(err)
		}
		return out, tr
	}
	as := func(text string) string { return text }
	without := func(after, line string) func(string) string {
		return func(text string) string {
			head, tail, found := strings.Cut(text, after)
			if !found || !strings.Contains(tail, line) {
				t.Fatalf("trial.toml has no %q after %q", line, after)
			}
			return head + after + strings.Replace(tail, line, "", 1)
		}
	}
	near := func(what string, got *float64, want float64) {
		t.Helper()
		if got == nil || math.Abs(*got-want) > 1e-9*want {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	says := func(e *correlate.Electricity, check, of, words string) {
		t.Helper()
		if !slices.ContainsFunc(e.Checks, func(c correlate.Check) bool {
			return c.Check == check && c.Of == of && strings.Contains(c.Says, words)
		}) {
			t.Errorf("no check %s of %q says %q: %+v", check, of, words, e.Checks)
		}
	}

	whole, tr := of(over, nil, as)
	days := float64(demo.MinDays)
	watts := 0.0
	for _, l := range tr.Rack.Lamps {
		watts += l.Watts
	}
	near("all", whole.KWh, (watts*14+36*0.5)*days/1000) // every lamp from 07:00 to 21:00; the pumps' half an hour
	near("cost", whole.Cost, 0.22**whole.KWh)
	if len(whole.Bins) != 7 || len(whole.Draws) != 8 || whole.Windowed || len(whole.Checks) != 0 {
		t.Errorf("%d bins, %d draws, checks %+v", len(whole.Bins), len(whole.Draws), whole.Checks)
	}
	bin, mean := whole.Bins[0], 0.0
	seen, err := account.New(&tr.Rack, w.readings, account.Options{}).Days(t.Context(), tr.Rack.Starts, tr.Rack.Ends)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range seen {
		if d.Position.Bin == bin.Bin {
			mean += float64(d.DLI)
		}
	}
	b, _ := tr.Rack.Bin(bin.Bin)
	mol := mean * b.PitchRows * b.PitchColumns / 1e4
	near("mol", bin.Mol, mol)
	near("kWh per mol", bin.KWhPerMol, tr.Rack.Lamps[0].Watts*14*days/1000/mol)
	near("EUR per mol", bin.CostPerMol, 0.22**bin.KWhPerMol)
	near("timer", bin.TimerHoursPerDay, 14)
	if p := bin.KWhPerMolBetween; p == nil || p[0] >= *bin.KWhPerMol || p[1] <= *bin.KWhPerMol || bin.SensorHoursPerDay == nil || bin.Source == "" {
		t.Errorf("%+v", bin)
	}

	// A cut of 2 h by day and one of no known end; then half the season.
	noon := light.TimeOfDay(12*time.Hour).On(tr.Rack.Starts.Add(3), tr.Rack.Zone)
	log := []light.Event{
		{ID: 1, At: noon, Kind: light.PowerCut, During: light.Span{From: noon, Until: noon.Add(2 * time.Hour)}},
		{ID: 2, At: noon.AddDate(0, 0, 1), Kind: light.PowerCut},
	}
	cut, _ := of(over, log, as)
	near("with a cut", cut.KWh, (watts*(14*days-2)+36*0.5*days)/1000)
	says(cut, "power cut", "", "without an end")
	half, _ := of(light.TimeOfDay(24*time.Hour).On(tr.Rack.Starts.Add(6), tr.Rack.Zone), nil, as)
	near("a week", half.KWh, (watts*14+36*0.5)*7/1000)
	if half.To != tr.Rack.Starts.Add(6) {
		t.Errorf("to %v", half.To)
	}

	// One lamp without watts: its bin and the whole are not known, the others are.
	lamp, other := tr.Rack.Lamps[0], whole.Bins[1].Bin
	blind, _ := of(over, nil, without(strconv.Quote(lamp.Name), fmt.Sprintf("watts        = %v\n", lamp.Watts)))
	says(blind, "kwh", lamp.Name, "no watts")
	if blind.KWh != nil || blind.Bins[0].KWhPerMol != nil || blind.Bins[0].KWh != nil || blind.Bins[1].Bin != other || blind.Bins[1].KWh == nil {
		t.Errorf("%+v", blind)
	}
	free, _ := of(over, nil, without("", "[cost]\ncurrency = \"EUR\"\nper_kwh  = 0.22\n"))
	says(free, "cost", "", "add [cost]")
	if free.Cost != nil || free.KWh == nil || free.Bins[0].CostPerMol != nil {
		t.Errorf("%+v", free)
	}
	// A lamp said to draw next to nothing would beat physics.
	tiny, _ := of(over, nil, func(text string) string {
		return strings.Replace(text, "watts        = 22\n", "watts        = 0.1\n", 1)
	})
	says(tiny, "kwh_per_mol", other, "more light than any lamp")

	none, _ := of(w.Rack.Trial().From, nil, as)
	if none != nil {
		t.Error("a trial that has not begun drew current")
	}
}
