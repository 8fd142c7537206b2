package harvest

import (
	"math"
	"slices"
	"strings"
	"testing"

	"parstead/cmd/parstead/trial"
	"parstead/correlate"
	"parstead/correlate/analysis"
)

// The light that a harvest is set against is that of light_window: the first
// week's and the other days' together are the whole season's, plant by plant,
// and findings say which it was.
func TestCorrelateLightWindow(t *testing.T) {
	t.Parallel()
	w := quietSeason(t)
	in := func(window string) (*correlate.Input, *trial.Trial) {
		config := strings.Replace(w.config, "[trial]\n", "[trial]\n"+window+"\n", 1)
		tr, _, lights := w.opened(t, config, w.Rack.Trial().Until)
		return inputOf(tr, lights), tr
	}
	whole, tr := in("")
	first, _ := in(`light_window = "first 7 days"`)
	starts := tr.Rack.Starts
	rest, _ := in(`light_window = "` + starts.Add(7).String() + ".." + tr.Rack.Ends.String() + `"`)
	compared := 0
	for i, all := range whole.Light.Values {
		p := tr.Plants[i]
		if math.IsNaN(all) || p.Status != analysis.Harvested || p.Date.IsZero() {
			continue
		}
		days := float64(starts.DaysUntil(p.Date)) + 1
		if got := (7*first.Light.Values[i] + (days-7)*rest.Light.Values[i]) / days; math.Abs(got-all) > 1e-9*all {
			t.Errorf("%s: 7 days of %g and %g of %g are %g, not %g", whole.Plants[i], first.Light.Values[i], days-7, rest.Light.Values[i], got, all)
		}
		if first.Light.Values[i] != rest.Light.Values[i] {
			compared++
		}
	}
	if compared < 100 {
		t.Errorf("%d plants were compared", compared)
	}
	for _, c := range []struct {
		in   *correlate.Input
		want string
	}{
		{whole, "Light is each plant's mean daily light integral from the trial's start to the harvest."},
		{first, "Light is each plant's mean daily light integral over the first 7 days."},
	} {
		c.in.Outcomes = c.in.Outcomes[:1]
		r, err := correlate.Analyse(t.Context(), c.in, correlate.Options{Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		if found := r.Outcomes[0].Findings; !slices.ContainsFunc(found, func(f analysis.Finding) bool { return strings.Contains(f.Says, c.want) }) {
			t.Errorf("no %q in:\n%v", c.want, found)
		}
	}
}
