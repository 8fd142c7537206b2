package harvest

import (
	"parstead/cmd/parstead/trial"
	"parstead/correlate/deal"
	"parstead/correlate/plan"
)

// Plan is what a trial asks as it stands. It must hold the layout that was dealt.
func Plan(t *trial.Trial, record deal.Record) plan.Sealed {
	p := plan.Sealed{
		Layout: record, Outcomes: Outcomes(t), Treatments: Treatments(t),
		AnalyseBy: t.AnalyseBy, Window: WindowWords(t), Ends: t.Rack.Ends.String(),
	}
	for i := range t.Plants {
		at := t.Plants[i].Place
		p.Plants = append(p.Plants, plan.Plant{
			Plant: t.Plants[i].Code, Bin: at.Bin, Row: at.Row, Column: at.Column, Levels: dealtLevels(t, record, &t.Plants[i]),
		})
	}
	return p
}

// Outcomes are a trial's outcomes as its plan holds them.
func Outcomes(t *trial.Trial) (list []plan.Outcome) {
	for _, o := range t.Outcomes {
		list = append(list, plan.Outcome{
			Name: o.Name, Kind: string(o.Kind), Scale: string(o.Scale), Start: o.Start, Exposure: o.Exposure,
			Only: o.Only, Primary: o.Primary, Matters: plan.Matters(o.Matters),
		})
	}
	return list
}

// Treatments are a trial's treatments as its plan holds them.
func Treatments(t *trial.Trial) (list []plan.Treatment) {
	for _, tr := range t.Treatments {
		list = append(list, plan.Treatment{Name: tr.Name, Levels: tr.Levels, SetPer: string(tr.SetPer), SetsLight: tr.SetsLight})
	}
	return list
}

// dealtLevels are the plant's levels of the treatments that were dealt.
func dealtLevels(t *trial.Trial, record deal.Record, p *trial.Plant) map[string]string {
	levels := map[string]string{}
	for _, tr := range t.Treatments {
		if l := p.Treatments[tr.Name]; l != "" && record.Levels(tr.Name) != nil {
			levels[tr.Name] = l
		}
	}
	return levels
}
