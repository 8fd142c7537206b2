package sheets

import (
	"slices"

	"parstead/cmd/parstead/trial"
	"parstead/light"
)

// Kind is one kind of sheet.
type Kind struct {
	Name    string   // as it is asked for
	Becomes string   // the trial's sheet that the filled in CSV becomes; "" for none
	Flags   []string // of the command line, beside those that every kind knows
	Make    func(*trial.Trial, Options) (*Sheet, error)
}

// Options say how a sheet is made; a kind looks at those that concern it.
type Options struct {
	Scoring
	Reads      light.Quantity // survey: what the meter shows; 0: as in the last survey, else PPFD
	Stock      string         // labels: the size of a label; "": the first of Stocks
	Treatments bool           // labels: show what each plant gets
}

// Kinds are the kinds of sheet.
var Kinds = []*Kind{
	{
		Name: "survey", Becomes: "survey", Flags: []string{"--reads"},
		Make: func(t *trial.Trial, o Options) (*Sheet, error) {
			if n := len(t.Rack.Survey); o.Reads == 0 && n > 0 {
				o.Reads = t.Rack.Survey[n-1].Measures
			} else if o.Reads == 0 {
				o.Reads = light.QuantityPPFD
			}
			return Survey(t, o.Reads, o.Printed), nil
		},
	},
	{
		Name: "labels", Flags: []string{"--stock", "--treatments"},
		Make: func(t *trial.Trial, o Options) (*Sheet, error) {
			if o.Stock == "" {
				o.Stock = Stocks[0].Name
			}
			return Labels(t, o.Stock, o.Treatments, o.Printed)
		},
	},
	{
		Name: "count", Becomes: trial.CountsSheet, Flags: []string{"--outcome", "--seed", "--no-places", "--at"},
		Make: func(t *trial.Trial, o Options) (*Sheet, error) { return Count(t, o.Scoring) },
	},
	{
		Name: "harvest", Becomes: trial.HarvestSheet, Flags: []string{"--outcome", "--seed", "--no-places", "--tare", "--again"},
		Make: func(t *trial.Trial, o Options) (*Sheet, error) { return Harvest(t, o.Scoring) },
	},
}

// With lists the kinds that know a flag.
func With(flag string) (names []string) {
	for _, k := range Kinds {
		if slices.Contains(k.Flags, flag) {
			names = append(names, k.Name)
		}
	}
	return names
}
