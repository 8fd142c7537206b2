package harvest

import (
	"context"
	"slices"
	"time"

	"parstead/cmd/parstead/trial"
	"parstead/correlate"
	"parstead/correlate/analysis"
	"parstead/correlate/phrase"
	"parstead/light"
	"parstead/light/account"
	"parstead/light/energy"
)

const hoursFrom = "the lamps' timers, less power cuts in the log; loads by their hours a day; days after a plant's harvest count too"

// electricityOf is the current of the trial so far, and the light that came of it;
// nil where trial.toml says nothing of current.
//
// Errors: those of the light account.
func electricityOf(ctx context.Context, t *trial.Trial, now time.Time, lightAccount *account.Account, log []light.Event, plants []account.PlantLight) (*correlate.Electricity, error) {
	rated := slices.ContainsFunc(t.Rack.Lamps, func(l light.Lamp) bool { return l.Watts > 0 })
	during := t.Rack.Trial()
	if now.Before(during.Until) {
		during.Until = now
	}
	if t.Cost == nil && len(t.Loads) == 0 && !rated || !during.From.Before(during.Until) {
		return nil, nil
	}
	out := &correlate.Electricity{
		From: t.Rack.Starts, To: t.Rack.DateAt(during.Until.Add(-1)), Hours: hoursFrom,
		Checks: []correlate.Check{}, Windowed: t.Window != account.Window{},
	}
	if t.Cost != nil {
		out.Currency, out.PerKWh = t.Cost.Currency, &t.Cost.PerKWh
	} else {
		out.Say("cost", "", "no price is given, so nothing is said of cost: add [cost] with currency and per_kwh to trial.toml")
	}
	var loads []energy.Load
	for _, l := range t.Loads {
		loads = append(loads, energy.Load(l))
	}
	use := energy.Over(&t.Rack, loads, during, cutsOf(log, during, out))
	out.KWh = analysis.Known(use.KWh())
	out.Cost = out.Price(out.KWh)
	for _, d := range use.Draws {
		drawOf(out, d)
	}
	var delivered []energy.Delivered
	if rated {
		days, err := lightAccount.Days(ctx, out.From, out.To)
		if err != nil {
			return nil, err
		}
		delivered = energy.DeliveredTo(&t.Rack, days)
	}
	stays := t.Stays()
	for _, b := range use.Bins {
		c := correlate.BinCurrent{Bin: b.Bin, KWh: analysis.Known(b.KWh()), KWhLamps: analysis.Known(b.Lamps)}
		c.Cost = out.Price(c.KWh)
		seen := energy.SeenHours(b.Bin, stays, plants)
		c.SensorHoursPerDay = analysis.Known(seen)
		if b.LitHours > 0 {
			c.TimerHoursPerDay = analysis.Known(b.LitHours)
			if energy.HoursApart(b.LitHours, seen) {
				out.Say("lit hours", b.Bin, "its sensors saw light for %s h a day where the timer has %s h: the current is counted by the timer", phrase.Number(seen), phrase.Number(b.LitHours))
			}
		}
		i := slices.IndexFunc(delivered, func(d energy.Delivered) bool { return d.Bin == b.Bin })
		switch {
		case b.Lamps == 0 || c.KWhLamps == nil:
		case i < 0:
			out.Say("kwh_per_mol", b.Bin, "its light is not known")
		default:
			lit(out, t, &c, delivered[i])
		}
		out.Bins = append(out.Bins, c)
	}
	return out, nil
}

// cutsOf are the power cuts of the log within the span. One without an end takes
// nothing off.
func cutsOf(log []light.Event, during light.Span, out *correlate.Electricity) []energy.Cut {
	var cuts []energy.Cut
	for _, e := range light.Standing(log) {
		if e.Kind != light.PowerCut {
			continue
		}
		cut := e.During
		if cut.From.IsZero() {
			cut.From = e.At
		}
		part, ok := cut.Within(during)
		switch {
		case !ok:
		case cut.Until.IsZero():
			out.Say("power cut", e.Bin, "the log has one from %s without an end: nothing is taken off for it; write it again with --from and --until", cut.From.UTC().Format("2006-01-02 15:04Z"))
		default:
			cuts = append(cuts, energy.Cut{Bin: e.Bin, During: part})
		}
	}
	return cuts
}

// drawOf enters what one lamp or load drew, with the reason where it is not known.
func drawOf(out *correlate.Electricity, d energy.Draw) {
	draw := correlate.Draw{Name: d.Name, Kind: "load", Hours: analysis.Known(d.Hours), KWh: analysis.Known(d.KWh), Bins: d.Bins}
	if d.Watts > 0 {
		draw.Watts = &d.Watts
	}
	draw.Cost = out.Price(draw.KWh)
	if d.Lamp {
		draw.Kind = "lamp"
		switch {
		case draw.Hours == nil:
			out.Say("kwh", d.Name, "the lamp has no timer, so its hours and its current are not known: give it on and off in trial.toml")
		case draw.KWh == nil:
			out.Say("kwh", d.Name, "the lamp has no watts, so its current is not known, nor that of its bins: add watts to trial.toml")
		}
	}
	out.Draws = append(out.Draws, draw)
}

// lit sets a bin's light against the current of its lamps.
func lit(out *correlate.Electricity, t *trial.Trial, c *correlate.BinCurrent, d energy.Delivered) {
	bin, _ := t.Rack.Bin(c.Bin)
	places := bin.Rows * bin.Columns
	if d.TooLittleKnown() {
		out.Say("kwh_per_mol", c.Bin, "its light is not known for %.0f %% of the time", 100*d.Missing)
		return
	}
	if d.Mol <= 0 {
		out.Say("kwh_per_mol", c.Bin, "no light came down on it")
		return
	}
	if d.Positions < places {
		out.Say("kwh_per_mol", c.Bin, "its light is known at %d of %d positions; the others are taken to have had the mean", d.Positions, places)
	}
	lamps := *c.KWhLamps
	c.Mol, c.MeanDLI = analysis.Known(d.Mol), analysis.Known(d.MeanDLI)
	c.RelativeError, c.Filled, c.Source = analysis.Known(d.Error), analysis.Known(d.Filled), d.Source.String()
	c.KWhPerMol = analysis.Known(lamps / d.Mol)
	c.CostPerMol = out.Price(c.KWhPerMol)
	if d.Dark > 0 {
		perPlace := lamps / energy.Area(bin)
		c.KWhPerMolBetween = &[2]float64{perPlace / d.Light, perPlace / d.Dark}
	}
	if d.TooMuch(lamps) {
		out.Say("kwh_per_mol", c.Bin, "%s mol from %s kWh is more light than any lamp can make of it (%s mol a kWh): other light reaches the bin, or watts, pitch_cm or a sensor's factor are wrong", phrase.Number(d.Mol), phrase.Number(lamps), phrase.Number(energy.MostMolPerKWh))
	}
}
