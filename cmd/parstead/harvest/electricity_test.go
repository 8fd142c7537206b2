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

// metered is a quiet season of the demo, whose current is asked for.
type metered struct {
	season
	over time.Time
}

func meteredSeason(t *testing.T) metered {
	t.Helper()
	s := quietSeason(t)
	return metered{s, s.Rack.Trial().Until}
}

// of is what is said of the current by a log and an edited trial.toml.
func (m metered) of(t *testing.T, now time.Time, log []light.Event, edit func(string) string) (*correlate.Electricity, *trial.Trial) {
	t.Helper()
	tr, lightAccount, lights := m.opened(t, edit(m.config), now)
	out, err := electricityOf(t.Context(), tr, now, lightAccount, log, lights)
	if err != nil {
		t.Fatal(err)
	}
	return out, tr
}

func asWritten(text string) string { return text }

// without leaves a line out of a text, the first one after another.
func without(t *testing.T, after, line string) func(string) string {
	t.Helper()
	return func(text string) string {
		t.Helper()
		head, tail, found := strings.Cut(text, after)
		if !found || !strings.Contains(tail, line) {
			t.Fatalf("trial.toml has no %q after %q", line, after)
		}
		return head + after + strings.Replace(tail, line, "", 1)
	}
}

func near(t *testing.T, what string, got *float64, want float64) {
	t.Helper()
	if got == nil || math.Abs(*got-want) > 1e-9*want {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

func says(t *testing.T, e *correlate.Electricity, check, of, words string) {
	t.Helper()
	if !slices.ContainsFunc(e.Checks, func(c correlate.Check) bool {
		return string(c.Check) == check && c.Of == of && strings.Contains(c.Says, words)
	}) {
		t.Errorf("no check %s of %q says %q: %+v", check, of, words, e.Checks)
	}
}

// allWatts is what all lamps of the trial draw.
func allWatts(tr *trial.Trial) (watts float64) {
	for _, l := range tr.Rack.Lamps {
		watts += l.Watts
	}
	return watts
}

// What trial.toml says of lamps, loads and price comes out as kWh, cost and kWh per
// mol.
func TestElectricityOfAFolder(t *testing.T) {
	t.Parallel()
	w := meteredSeason(t)
	whole, tr := w.of(t, w.over, nil, asWritten)
	days := float64(demo.MinDays)
	watts := allWatts(tr)
	near(t, "all", whole.KWh, (watts*14+36*0.5)*days/1000) // every lamp from 07:00 to 21:00; the pumps' half an hour
	near(t, "cost", whole.Cost, 0.22**whole.KWh)
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
	near(t, "mol", bin.Mol, mol)
	near(t, "kWh per mol", bin.KWhPerMol, tr.Rack.Lamps[0].Watts*14*days/1000/mol)
	near(t, "EUR per mol", bin.CostPerMol, 0.22**bin.KWhPerMol)
	near(t, "timer", bin.TimerHoursPerDay, 14)
	if p := bin.KWhPerMolBetween; p == nil || p[0] >= *bin.KWhPerMol || p[1] <= *bin.KWhPerMol || bin.SensorHoursPerDay == nil || bin.Source == "" {
		t.Errorf("%+v", bin)
	}
}

func TestElectricityOfAPart(t *testing.T) {
	t.Parallel()
	w := meteredSeason(t)
	_, tr := w.of(t, w.over, nil, asWritten)
	watts, days := allWatts(tr), float64(demo.MinDays)
	// A cut of 2 h by day and one of no known end; then half the season.
	noon := light.TimeOfDay(12*time.Hour).On(tr.Rack.Starts.Add(3), tr.Rack.Zone)
	log := []light.Event{
		{ID: 1, At: noon, Kind: light.PowerCut, During: light.Span{From: noon, Until: noon.Add(2 * time.Hour)}},
		{ID: 2, At: noon.AddDate(0, 0, 1), Kind: light.PowerCut},
	}
	cut, _ := w.of(t, w.over, log, asWritten)
	near(t, "with a cut", cut.KWh, (watts*(14*days-2)+36*0.5*days)/1000)
	says(t, cut, "power cut", "", "without an end")
	half, _ := w.of(t, light.TimeOfDay(24*time.Hour).On(tr.Rack.Starts.Add(6), tr.Rack.Zone), nil, asWritten)
	near(t, "a week", half.KWh, (watts*14+36*0.5)*7/1000)
	if half.To != tr.Rack.Starts.Add(6) {
		t.Errorf("to %v", half.To)
	}

	none, _ := w.of(t, w.Rack.Trial().From, nil, asWritten)
	if none != nil {
		t.Error("a trial that has not begun drew current")
	}
}

// What trial.toml leaves out is absent, with the reason.
func TestElectricityThatIsNotKnown(t *testing.T) {
	t.Parallel()
	w := meteredSeason(t)
	whole, tr := w.of(t, w.over, nil, asWritten)
	// One lamp without watts: its bin and the whole are not known, the others are.
	lamp, other := tr.Rack.Lamps[0], whole.Bins[1].Bin
	blind, _ := w.of(t, w.over, nil, without(t, strconv.Quote(lamp.Name), fmt.Sprintf("watts        = %v\n", lamp.Watts)))
	says(t, blind, "kwh", lamp.Name, "no watts")
	if blind.KWh != nil || blind.Bins[0].KWhPerMol != nil || blind.Bins[0].KWh != nil || blind.Bins[1].Bin != other || blind.Bins[1].KWh == nil {
		t.Errorf("%+v", blind)
	}
	free, _ := w.of(t, w.over, nil, without(t, "", "[cost]\ncurrency = \"EUR\"\nper_kwh  = 0.22\n"))
	says(t, free, "cost", "", "add [cost]")
	if free.Cost != nil || free.KWh == nil || free.Bins[0].CostPerMol != nil {
		t.Errorf("%+v", free)
	}
	// A lamp said to draw next to nothing would beat physics.
	tiny, _ := w.of(t, w.over, nil, func(text string) string {
		return strings.Replace(text, "watts        = 22\n", "watts        = 0.1\n", 1)
	})
	says(t, tiny, "kwh_per_mol", other, "more light than any lamp")
}
