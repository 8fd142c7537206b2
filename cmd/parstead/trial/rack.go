package trial

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"parstead/light"
	"parstead/light/spectrum"
)

// dimmingError is the standard deviation, as a share, of what a grower says of how
// water dims light (common practice, no source).
const dimmingError = 0.2

// mostCells bounds a bin's grid: more is a mistyped number.
const mostCells = 10000

func (l *loader) readLamps(tables []*table) {
	for _, t := range tables {
		var lamp light.Lamp
		lamp.Name, _ = t.text("name", "bar")
		t.need("name")
		var from string
		lamp.LuxPerPPFD, from = l.lampFactor(t)
		lamp.Daylight = spectrum.Daylight(strings.TrimPrefix(from, fromIlluminant))
		lamp.Watts, _ = t.number("watts", "48", 0, math.Inf(1))
		var onOK, offOK bool
		lamp.On, onOK = t.clocks("on", `"07:00"`)
		lamp.Off, offOK = t.clocks("off", `"21:00"`)
		understood := onOK == t.has("on") && offOK == t.has("off")
		if understood && len(lamp.On) != len(lamp.Off) {
			t.fault("on", fmt.Sprintf("the lamp goes on %d times a day and off %d times", len(lamp.On), len(lamp.Off)), "give as many times in off as in on")
		}
		if len(lamp.On) != len(lamp.Off) {
			lamp.On, lamp.Off = nil, nil
		}
		lamp.During = t.span(l.Rack.Zone)
		t.finish()
		l.Rack.Lamps = append(l.Rack.Lamps, lamp)
		l.FactorsFrom = append(l.FactorsFrom, from)
	}
	l.checkFollow("lamp", tables, func(i int) (string, light.Span) { return l.Rack.Lamps[i].Name, l.Rack.Lamps[i].During })
}

// checkFollow complains of blocks of one name whose stretches of time overlap.
func (l *loader) checkFollow(what string, tables []*table, block func(int) (string, light.Span)) {
	for j, t := range tables {
		name, span := block(j)
		for i := range j {
			earlier, other := block(i)
			if name == "" || name != earlier || !span.Overlaps(other) {
				continue
			}
			line := tables[i].at("").line
			t.fault("name", fmt.Sprintf("the %s %q is there twice at one time: also in line %d", what, name, line),
				"give one another name, or keep their times apart with from and until")
			break
		}
	}
}

// checkUnique complains of names that stand for two things.
func (l *loader) checkUnique(what string, tables []*table, name func(int) string) {
	first := map[string]int{}
	for i, t := range tables {
		n := strings.ToLower(name(i))
		if n == "" {
			continue
		}
		if j, twice := first[n]; twice {
			t.fault("name", fmt.Sprintf("two %ss are called %q: the other is in line %d", what, name(i), tables[j].at("").line), "give one another name")
			continue
		}
		first[n] = i
	}
}

func (l *loader) readBins(tables []*table) {
	for _, t := range tables {
		var bin light.Bin
		bin.Name, _ = t.text("name", "upper")
		if strings.ContainsAny(bin.Name, "/+#{}") {
			t.fault("name", fmt.Sprintf("the name %q holds a sign that topics are cut at", bin.Name), "use no / + # { } in a bin's name")
		}
		bin.Rows, _ = t.whole("rows", "6", 1, mostCells)
		bin.Columns, _ = t.whole("columns", "8", 1, mostCells)
		if bin.Rows*bin.Columns > mostCells {
			t.fault("rows", fmt.Sprintf("the bin would have %d positions", bin.Rows*bin.Columns), fmt.Sprintf("divide it into bins of at most %d", mostCells))
			bin.Rows, bin.Columns = 0, 0
		}
		if bin.Rows == 0 || bin.Columns == 0 {
			bin.Rows, bin.Columns = 0, 0
		}
		pitch, ok := t.pair("pitch_cm", "[6.0, 6.0]")
		if ok {
			if pitch[0] <= 0 || pitch[1] <= 0 {
				t.fault("pitch_cm", "a pitch is not above 0", "give the distance between rows and between columns in cm")
			}
			bin.PitchRows, bin.PitchColumns = pitch[0], pitch[1]
		}
		t.need("name", "rows", "columns", "pitch_cm")
		bin.Lamps, _ = t.texts("lamp", `"bar"`)
		for i, name := range bin.Lamps {
			if slices.Contains(bin.Lamps[:i], name) {
				t.fault("lamp", fmt.Sprintf("the lamp %q is named twice", name), "name it once")
			}
			l.checkKnown(t, "lamp", "lamp", name, lampNames(l.Rack.Lamps))
		}
		bin.Block, _ = t.text("block", "shelf 1")
		bin.Reservoir, _ = t.text("reservoir", "A")
		target, _ := t.positive("target_dli", "4.3")
		bin.TargetDLI = light.DLI(target)
		bin.WaterCM, _ = t.positive("water_cm", "8")
		bin.Attenuation, _ = t.number("attenuation_per_m", "4.0", 0, math.Inf(1))
		if bin.AttenuationError, ok = t.number("attenuation_error", "0.2", 0, 1); !ok && bin.Attenuation > 0 {
			bin.AttenuationError = dimmingError
		}
		for _, of := range [][2]string{{"attenuation_per_m", "water_cm"}, {"attenuation_error", "attenuation_per_m"}} {
			if t.has(of[0]) && !t.has(of[1]) {
				t.fault(of[0], fmt.Sprintf("%s says how water dims light, but the bin has no %s", of[0], of[1]), fmt.Sprintf("add %s, or remove %s", of[1], of[0]))
			}
		}
		bin.Daylight = l.daylight(t, bin.Lamps)
		t.finish()
		l.Rack.Bins = append(l.Rack.Bins, bin)
	}
	if len(tables) == 0 {
		l.fault(place{configFile, 1, 1}, "trial.toml has no [[bin]]", "add a [[bin]] with name, rows, columns, pitch_cm and lamp")
	}
	l.checkUnique("bin", tables, func(i int) string { return l.Rack.Bins[i].Name })
}

// daylight is what the file says of the sun over a bin: by its key, else by a lamp
// whose light is daylight.
func (l *loader) daylight(t *table, lamps []string) light.Daylight {
	switch {
	case t.flag("daylight"):
		return light.Sunlit
	case t.has("daylight"):
		return light.Sunless
	case slices.ContainsFunc(l.Rack.Lamps, func(lamp light.Lamp) bool { return lamp.Daylight && slices.Contains(lamps, lamp.Name) }):
		return light.Sunlit
	}
	return light.DaylightNotSaid
}

// checkKnown complains of a name that stands for nothing.
func (l *loader) checkKnown(t *table, key, what, name string, known []string) bool {
	if name == "" || slices.Contains(known, name) {
		return true
	}
	mend := fmt.Sprintf("add a %s of that name, or use one of: %s", what, strings.Join(known, ", "))
	if len(known) == 0 {
		mend = fmt.Sprintf("add a %s of that name", what)
	} else if near, ok := nearest(name, known); ok {
		mend = fmt.Sprintf("write %q, or add a %s of that name", near, what)
	}
	t.fault(key, fmt.Sprintf("there is no %s %q", what, name), mend)
	return false
}

func lampNames(lamps []light.Lamp) []string {
	var names []string
	for _, lamp := range lamps {
		if lamp.Name != "" && !slices.Contains(names, lamp.Name) {
			names = append(names, lamp.Name)
		}
	}
	return names
}

func binNames(bins []light.Bin) []string {
	var names []string
	for _, bin := range bins {
		if bin.Name != "" {
			names = append(names, bin.Name)
		}
	}
	return names
}

func (l *loader) readFloods(tables []*table) {
	var reservoirs []string
	for _, bin := range l.Rack.Bins {
		if bin.Reservoir != "" && !slices.Contains(reservoirs, bin.Reservoir) {
			reservoirs = append(reservoirs, bin.Reservoir)
		}
	}
	for _, t := range tables {
		var flood light.Flood
		flood.Reservoir, _ = t.text("reservoir", "A")
		if flood.Reservoir != "" && !slices.Contains(reservoirs, flood.Reservoir) {
			mend := fmt.Sprintf("add reservoir = %q to the bins that it waters", flood.Reservoir)
			mend = meant(flood.Reservoir, reservoirs, "write %q, or "+mend, mend)
			t.fault("reservoir", fmt.Sprintf("no bin stands on the reservoir %q", flood.Reservoir), mend)
		}
		flood.Times, _ = t.clocks("times", `["08:00", "20:00"]`)
		flood.Lasts, _ = t.duration("lasts", "15m")
		if flood.Lasts >= 24*time.Hour {
			t.fault("lasts", fmt.Sprintf("a flood can't last %v", flood.Lasts), "give less than a day, such as 15m")
		}
		t.need("reservoir", "times", "lasts")
		t.finish()
		l.Rack.Floods = append(l.Rack.Floods, flood)
	}
}

func (l *loader) readClimate(t *table, _ bool) {
	l.Rack.BaseCelsius, l.Rack.HasBase = t.number("base_celsius", "10", -50, 60)
	if c, ok := t.limits("celsius", "[16, 30]"); ok {
		l.Rack.Limits.Celsius = &c
	}
	if h, ok := t.limits("humidity", "[40, 95]"); ok {
		if h[0] < 0 || h[1] > 100 {
			t.fault("humidity", "relative humidity lies between 0 and 100 %", "correct the limits")
		}
		l.Rack.Limits.Humidity = &h
	}
	t.finish()
}
