package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"parstead/light"

	"parstead/correlate/phrase"
	"parstead/correlate/tables"
)

// rackTables are bins, lamps, air, sensors and the log.
func (r *Report) rackTables() []tables.Table {
	var list []tables.Table
	for _, t := range []tables.Table{r.binTable(), r.lampTable(), r.airTable(), r.sensorTable(), r.logTable()} {
		if len(t.Rows) > 0 {
			list = append(list, t.Spoken())
		}
	}
	return list
}

func (r *Report) binTable() tables.Table {
	bins := r.lightOfBins()
	t := tables.Table{
		Caption: "bins and their light",
		Head:    []string{"bin", "rows × columns", "pitch, cm", "block", "reservoir", "lamps", "DLI meant", "mean DLI", "CV", "error", "filled in", "positions known"},
		Note:    "DLI in mol m⁻² d⁻¹, mean over positions and days. CV: between positions. Error: one standard deviation of a position's figure, mean over positions. Filled in: the share of the light that was estimated over gaps in the readings.",
	}
	for _, b := range r.Rack.Bins {
		row := []string{b.Name, fmt.Sprintf("%d × %d", b.Rows, b.Columns), "", b.Block, b.Reservoir, strings.Join(b.Lamps, ", "), "", "not known", "", "", "", ""}
		if b.PitchRows > 0 && b.PitchColumns > 0 {
			row[2] = phrase.Given(b.PitchRows) + " × " + phrase.Given(b.PitchColumns)
		}
		if b.TargetDLI > 0 {
			row[6] = phrase.Given(float64(b.TargetDLI))
		}
		if l := bins[b.Name]; l != nil {
			row[7], row[9], row[10], row[11] = number(l.mean), phrase.WholePercent(l.error), phrase.WholePercent(l.filled), fmt.Sprintf("%d of %d", len(l.places), b.Rows*b.Columns)
			if !math.IsNaN(l.cv) {
				row[8] = phrase.WholePercent(l.cv)
			}
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func (r *Report) lampTable() tables.Table {
	t := tables.Table{Caption: "lamps", Head: []string{"lamp", "timer", "hours a day", "W", "lux per µmol m⁻² s⁻¹", "factor from", "from", "until"}}
	for i, l := range r.Rack.Lamps {
		var timer []string
		hours := 0.0
		for k := range l.On {
			timer = append(timer, l.On[k].String()+" to "+l.Off[k].String())
			h := time.Duration(l.Off[k] - l.On[k]).Hours()
			if h <= 0 {
				h += 24
			}
			hours += h
		}
		row := []string{l.Name, strings.Join(timer, ", "), "", "", "", "", r.when(l.During.From), r.when(l.During.Until)}
		if len(timer) > 0 {
			row[2] = phrase.Given(hours)
		}
		if l.Watts > 0 {
			row[3] = phrase.Given(l.Watts)
		}
		if l.LuxPerPPFD > 0 {
			row[4] = phrase.Given(float64(l.LuxPerPPFD))
			row[5] = "not known"
		}
		if i < len(r.FactorsFrom) && r.FactorsFrom[i] != "" {
			row[5] = r.FactorsFrom[i]
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// when is a time in the trial's zone; "" for an open side.
func (r *Report) when(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	if r.Rack.Zone != nil {
		t = t.In(r.Rack.Zone)
	}
	return t.Format("2006-01-02 15:04")
}

func (r *Report) airTable() tables.Table {
	t := tables.Table{
		Caption: "air at the plants, mean over days",
		Head:    []string{"bin", "°C in light", "°C in the dark", "lowest °C", "highest °C", "% RH in light", "% RH in the dark", "kPa deficit in light", "kPa deficit in the dark"},
	}
	for _, b := range r.Rack.Bins {
		var m [8]mean
		for _, d := range r.Air {
			if d.Bin != b.Name {
				continue
			}
			for i, x := range [8]float64{d.LightMean, d.DarkMean, d.Min, d.Max, d.HumidityLight, d.HumidityDark, d.VPDLight, d.VPDDark} {
				m[i].add(x)
			}
		}
		row := []string{b.Name}
		for i := range m {
			switch {
			case m[i].n == 0:
				row = append(row, "")
			case i == 2:
				row = append(row, number(m[i].least))
			case i == 3:
				row = append(row, number(m[i].most))
			default:
				row = append(row, m[i].words())
			}
		}
		if slices.ContainsFunc(row[1:], func(s string) bool { return s != "" }) {
			t.Rows = append(t.Rows, row)
		}
	}
	return t
}

func (r *Report) sensorTable() tables.Table {
	t := tables.Table{Caption: "sensors", Head: []string{"sensor", "measures", "at", "every", "stated error", "from", "until"}}
	for _, s := range r.Rack.Sensors {
		row := []string{s.Name, unit(s.Measures.String(), s.Measures.Unit()), s.Position.String(), lasting(s.Every), "", r.when(s.During.From), r.when(s.During.Until)}
		if s.Measures.IsLight() {
			row[4] = phrase.WholePercent(s.RelativeError)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// logTable is the events of the trial, without what was taken back.
func (r *Report) logTable() tables.Table {
	t := tables.Table{Caption: "the trial's log", Head: []string{"when", "what", "bin", "plant", "sensor", "note"}}
	for _, e := range light.Standing(r.Log) {
		note := e.Text
		if !e.During.From.IsZero() {
			until := "on"
			if !e.During.Until.IsZero() {
				until = "until " + r.when(e.During.Until)
			}
			note = strings.TrimSpace(fmt.Sprintf("from %s %s: %s", r.when(e.During.From), until, e.Text))
			note = strings.TrimSuffix(note, ":")
		}
		t.Rows = append(t.Rows, []string{r.when(e.At), strings.ReplaceAll(string(e.Kind), "_", " "), e.Bin, e.Plant, e.Sensor, note})
	}
	return t
}
