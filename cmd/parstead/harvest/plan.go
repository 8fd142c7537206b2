package harvest

import (
	"parstead/cmd/parstead/trial"
	"parstead/correlate/deal"
	"parstead/correlate/plan"
)

// Plan is what a trial asks as it stands. It must hold the layout that was dealt.
func Plan(t *trial.Trial, record deal.Record) plan.Sealed {
	p := plan.Sealed{
		Layout: record, Treatments: t.Treatments,
		AnalyseBy: t.AnalyseBy, Window: WindowWords(t), Ends: t.Rack.Ends.String(),
	}
	for _, o := range t.Outcomes {
		p.Outcomes = append(p.Outcomes, o.Outcome)
	}
	for i := range t.Plants {
		at := t.Plants[i].Place
		p.Plants = append(p.Plants, plan.Plant{
			Plant: t.Plants[i].Code, Bin: at.Bin, Row: at.Row, Column: at.Column, Levels: dealtLevels(t, record, &t.Plants[i]),
		})
	}
	return p
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
