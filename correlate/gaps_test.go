package correlate

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"parstead/correlate/analysis"
)

// lossy is a flat table of two species in six bins, two levels of lids by whole bins,
// of which in all bins under a lid every second plant of the second species has no mass.
func lossy(lids, species bool) *Input {
	in := &Input{Table: true, Bin: &Factor{Name: "bin"}}
	cover, by := Factor{Name: "cover", Levels: []string{"open", "lid"}}, Factor{Name: "species", Levels: []string{"A", "B"}}
	o := Outcome{Name: "mass_g", Kind: Measure, Scale: Natural}
	for b := range 6 {
		in.Bin.Levels = append(in.Bin.Levels, fmt.Sprint("b", b))
		for p := range 8 {
			in.Plants = append(in.Plants, fmt.Sprint("p", len(in.Plants)))
			in.Bin.Codes, cover.Codes, by.Codes = append(in.Bin.Codes, b), append(cover.Codes, b%2), append(by.Codes, p%2)
			value := 10 + math.Sin(float64(7*b+p))
			if b%2 == 1 && p%4 == 1 {
				value = math.NaN()
			}
			o.Values = append(o.Values, value)
		}
	}
	if lids {
		in.Treatments = []Treatment{{Factor: cover, SetPer: PerBin}}
	} else {
		light := &Light{Name: "light"}
		for i := range in.Plants {
			light.Values = append(light.Values, float64(i%5))
		}
		in.Light = light
	}
	if species {
		in.By = &by
	}
	in.Outcomes = []Outcome{o}
	return in
}

// Plants without a value are told where they are 5 % or more, with no treatment too,
// within each species; those of whole bins are compared over bins, of which three
// against three can show nothing (2 of 20 deals, p 0.1), where single plants would
// (6 of 12 against 0 of 12: p 0.014 by the hypergeometric distribution).
func TestPlantsWithoutAValueAreTold(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		lids, species bool
		told          []string // of each result; "" where nothing is
	}{
		{true, false, []string{"6 of 48 plants have no mass_g; no treatment was shown to have more"}},
		{false, false, []string{"6 of 48 plants have no mass_g: if"}},
		{true, true, []string{"", "6 of 24 plants have no mass_g; no treatment was shown to have more"}},
	} {
		r := result(t, lossy(c.lids, c.species), Options{Seed: 1})
		for i, want := range c.told {
			var cautions string
			for _, f := range r.Outcomes[i].Findings {
				if f.Kind == analysis.Caution {
					cautions += f.Says + "\n"
				}
			}
			if strings.Contains(cautions, "have no mass_g") != (want != "") || !strings.Contains(cautions, want) {
				t.Errorf("%+v, result %d: %s", c, i, cautions)
			}
		}
	}
}
