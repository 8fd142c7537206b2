package tables

import (
	"fmt"
	"strings"
	"testing"

	"parstead/correlate/analysis"
)

// What is known of the current is in the tables, in words; what is not is blank, and
// columns that nobody knows anything for are gone.
func TestElectricityTables(t *testing.T) {
	t.Parallel()
	if got := Electricity(nil); got != nil {
		t.Errorf("%+v", got)
	}
	x := func(v float64) *float64 { return &v }
	e := &analysis.Electricity{
		Hours: "by the clock", KWh: x(120), Checks: []analysis.Check{{Check: "kwh", Of: "tube", Says: "no watts"}},
		Draws: []analysis.Draw{{Name: "bar", Kind: "lamp", Watts: x(60), Hours: x(2000), KWh: x(120), Bins: []string{"a", "b"}}, {Name: "tube", Kind: "lamp", Bins: []string{"c"}}},
		Bins:  []analysis.BinCurrent{{Bin: "a", KWh: x(60), KWhPerMol: x(0.5), KWhPerMolBetween: &[2]float64{0.4, 0.75}, RelativeError: x(0.05), Source: "map"}, {Bin: "c"}},
		Gains: []analysis.ElectricityGain{
			{Outcome: "mass", Unit: "g", By: "level", More: "high", Less: "low", Verdict: analysis.Bounded, KWhPerUnit: x(0.6), KWhPerUnitCI95: &[2]float64{0.535, 0.683}},
			{Outcome: "mass", Of: map[string]string{"species": "fern"}, By: "light", Verdict: analysis.Unbounded, KWhAtLeast: x(0.25)},
			{Outcome: "mass", By: "level", More: "high", Less: "mid", Verdict: analysis.Loss},
		},
	}
	list := Electricity(e)
	text := fmt.Sprint(list)
	for _, want := range []string{
		"120 kWh.", "by the clock", "a, b", "0.400 0.750", "level: high in place of low", "0.600 0.535 to 0.683", "more light", "unbounded at least 0.250", "gave less", "no watts",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in %s", want, text)
		}
	}
	if len(list) != 4 || strings.Contains(text, "NaN") || strings.Contains(text, "per mol error") || len(list[0].Head) != 5 {
		t.Errorf("%d tables: %s", len(list), text)
	}
	e.Currency = "EUR"
	e.Cost, e.Gains[0].CostPerUnit = x(30), x(0.15)
	if text = fmt.Sprint(Electricity(e)); !strings.Contains(text, "30.0 EUR.") || !strings.Contains(text, "EUR per unit") || strings.Contains(text, "EUR per mol") {
		t.Error(text)
	}
}
