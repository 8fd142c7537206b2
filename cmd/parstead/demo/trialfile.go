package demo

import (
	"bytes"
	"fmt"
	"strings"

	"parstead/light"
)

// trialFile writes trial.toml as a grower would have.
//
//nolint:funlen // one line of the file after the other
func (w *World) trialFile() []byte {
	var out bytes.Buffer
	line := func(format string, args ...any) { fmt.Fprintf(&out, format+"\n", args...) }

	line(Marker)
	line("# Streptocarpus leaf sections and Peperomia cuttings on a rack of three shelves,")
	line("# and Marsilea under water beside it; seed %d.", w.Seed)
	line("")
	line("[trial]")
	line("name       = %q", "demo: three shelves and a pond")
	line("timezone   = %q", Zone)
	line("starts     = %s", w.Rack.Starts)
	line("ends       = %s", w.Rack.Ends)
	line("day_starts = %q", w.Rack.DayStarts)
	line("analyse_by = %q", "species")
	line("")
	line("[broker]")
	line("url    = %q", "embedded")
	line("listen = %q", "127.0.0.1:1883")
	line("")
	line("[page]")
	line("listen = %q", "127.0.0.1:8620")
	line("")
	line("[climate]")
	line("base_celsius = %v", w.Rack.BaseCelsius)
	line("celsius      = [%v, %v]", w.Rack.Limits.Celsius[0], w.Rack.Limits.Celsius[1])
	line("")
	line("[cost]")
	line("currency = %q", "EUR")
	line("per_kwh  = 0.22")
	line("")
	line("[[load]]")
	line("name          = %q", "pumps")
	line("watts         = 36")
	line("hours_per_day = 0.5")
	line("bins          = [%s]", strings.Join(w.quotedBins(func(b light.Bin) bool { return b.Reservoir != "" }), ", "))

	for _, lamp := range w.Rack.Lamps {
		line("")
		line("[[lamp]]")
		line("name         = %q", lamp.Name)
		line("lux_per_ppfd = %.1f", float64(lamp.LuxPerPPFD))
		line("watts        = %v", lamp.Watts)
		line("on           = %q", lamp.On[0])
		line("off          = %q", lamp.Off[0])
	}
	for _, b := range w.Rack.Bins {
		line("")
		line("[[bin]]")
		line("name       = %q", b.Name)
		line("rows       = %d", b.Rows)
		line("columns    = %d", b.Columns)
		line("pitch_cm   = [%.1f, %.1f]", b.PitchRows, b.PitchColumns)
		line("lamp       = %q", b.Lamps[0])
		line("block      = %q", b.Block)
		if b.Reservoir != "" {
			line("reservoir  = %q", b.Reservoir)
		}
		line("target_dli = %v", float64(b.TargetDLI))
		if b.WaterCM > 0 {
			line("water_cm   = %v # tinted; its dimming was measured with a glass of it under the meter", b.WaterCM)
			line("attenuation_per_m = %.1f", b.Attenuation)
		}
	}
	for _, f := range w.Rack.Floods {
		line("")
		line("[[flood]]")
		line("reservoir = %q", f.Reservoir)
		line("times     = [%q, %q]", f.Times[0], f.Times[1])
		line("lasts     = %q", "15m")
	}
	line("")
	line("# Each lux chip stood an hour beside the quantum sensor before the trial; its")
	line("# scale brings it to that.")
	for i := range w.probes {
		w.probes[i].write(line)
	}
	out.WriteString(design)
	return out.Bytes()
}

func (p *probe) write(line func(string, ...any)) {
	line("")
	line("[[sensor]]")
	line("name     = %q", p.Name)
	line("measures = %q", p.Measures)
	line("bin      = %q", p.Position.Bin)
	if !p.Position.WholeBin() {
		line("row      = %d", p.Position.Row)
		line("column   = %d", p.Position.Column)
	}
	line("topic    = %q", p.Topic)
	if p.Pointer != "" {
		line("value    = %q", p.Pointer)
		line("time     = %q", p.TimePointer)
	}
	line("every    = %q", "5m")
	if p.Scale != 1 {
		line("scale    = %v", p.Scale)
	}
	if p.Measures.IsLight() {
		line("relative_error = %v", p.RelativeError)
	}
}

func (w *World) quotedBins(fits func(light.Bin) bool) []string {
	var names []string
	for _, b := range w.Rack.Bins {
		if fits(b) {
			names = append(names, fmt.Sprintf("%q", b.Name))
		}
	}
	return names
}

// design is what was compared and what was judged. Each shelf lacks one light
// level, so shelves are incomplete blocks. The water plants have a medium, a
// cultivar and a light level of their own: nothing to compare them by.
const design = `
[[treatment]]
name    = "light_level"
levels  = ["low", "mid", "high", "pond"]
set_per = "bin"
sets    = "light"

[[treatment]]
name    = "medium"
levels  = ["coir", "pumice", "bark", "sphagnum", "loam"]
set_per = "plant"

[[treatment]]
name    = "cultivar"
levels  = ["A", "B", "variegated", "wild"]
set_per = "given"

[[outcome]]
name    = "biomass_g"
kind    = "measure"
unit    = "g"
basis   = "fresh"
start   = "start_g"
primary = true
matters = "10%"

[[outcome]]
name = "plantlets"
kind = "count"
only = { species = "Streptocarpus" }

[[outcome]]
name = "leaves"
kind = "count"

[[outcome]]
name = "variegation_lost"
kind = "yes_no"
only = { species = "Peperomia caperata" }
`
