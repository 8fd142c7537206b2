package trial

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"parstead/ingest"
	"parstead/light"
)

// feed is one [[sensor]] with the sensors that it stands for.
type feed struct {
	ingest.Feed
	table *table
	each  []ingest.Feed // itself, or one for every sensor that placeholders stand for

	shared bool // another trial is meant to count it too
}

func (l *loader) readSensors(tables []*table) {
	for _, t := range tables {
		l.feeds = append(l.feeds, l.readSensor(t))
	}
	l.checkNames()
	l.checkTopics()
	l.checkLux()
	for _, f := range l.feeds {
		for _, one := range f.each {
			l.Rack.Sensors = append(l.Rack.Sensors, one.Sensor)
		}
		l.Feeds = append(l.Feeds, f.Feed)
		l.shared = append(l.shared, f.shared)
	}
}

func (l *loader) readSensor(t *table) feed {
	f := feed{table: t}
	s := &f.Sensor
	s.Name, _ = t.text("name", "upper centre")
	measures, ok := t.oneOf("measures", light.QuantityNames()...)
	if ok {
		s.Measures, _ = light.ParseQuantity(measures) // oneOf let only its names pass
	}
	f.Topic, _ = t.text("topic", "rack/upper/centre")
	f.Value = pointer(t, "value", "/light/ppfd")
	f.Time = pointer(t, "time", "/at")
	format, _ := t.oneOf("time_format", ingest.TimeFormats()...)
	if t.has("time_format") && !t.has("time") {
		t.fault("time_format", "time_format is there without time", "add time, the pointer to the reading's own time, or remove time_format")
	}
	if f.TimeFormat = ingest.TimeFormat(format); format == "" {
		f.TimeFormat = ingest.RFC3339
	}
	f.Zone = l.Rack.Zone
	f.Number.Suffix, _ = t.text("suffix", "lx")
	f.Number.Decimal, _ = t.oneOf("decimal_mark", ingest.DecimalMarks...)
	f.shared = t.flag("shared")
	readJudgement(t, s)
	s.During = t.span(l.Rack.Zone)
	l.readPlace(t, &f)
	t.need("name", "measures", "topic")
	l.checkWater(t, *s)
	t.finish()
	f.each = f.Expand()
	return f
}

// pointer reads where in a payload something stands: a JSON Pointer (RFC 6901),
// or nothing.
func pointer(t *table, key, example string) string {
	p, ok := get(t, key, "a text", `"`+example+`"`, func(v any) (string, error) {
		if _, err := asText(v); err != nil {
			return "", err
		}
		return v.(string), nil // a name in it may end in a blank
	})
	if ok && ingest.CheckPlace(p) != nil {
		t.fault(key, fmt.Sprintf("%q is no JSON Pointer", p), fmt.Sprintf("write it like %s = %q, with ~0 for ~ and ~1 for / in a name", key, example))
		return ""
	}
	return p
}

// readJudgement reads what turns a raw reading into a value and judges it.
func readJudgement(t *table, s *light.Sensor) {
	var ok bool
	if s.Every, ok = t.duration("every", "60s"); !ok {
		s.Every = time.Minute
	}
	if s.MaxGap, ok = t.duration("max_gap", "10m"); !ok {
		s.MaxGap = 10 * s.Every
	}
	if s.MaxGap < s.Every {
		t.fault("max_gap", fmt.Sprintf("max_gap %v is shorter than every, %v: no two readings would ever be joined", s.MaxGap, s.Every), "give at least twice the time between readings")
	}
	if s.Scale, ok = t.number("scale", "1.0", math.Inf(-1), math.Inf(1)); !ok {
		s.Scale = 1
	} else if s.Scale == 0 {
		t.fault("scale", "scale can't be 0: every reading would be alike", "give the factor that turns a raw reading into the unit")
	}
	s.Offset, _ = t.number("offset", "0.0", math.Inf(-1), math.Inf(1))
	s.Low, s.High = s.Measures.Valid()
	if valid, ok := t.limits("valid", "[0, 2500]"); ok {
		s.Low, s.High = valid[0], valid[1]
	}
	if s.RelativeError, ok = t.number("relative_error", "0.05", 0, 1); !ok {
		s.RelativeError = s.Measures.RelativeError()
	}
	s.DepthCM, _ = t.positive("depth_cm", "3")
	s.Immersion, _ = t.positive("immersion_factor", "1.3")
}

var placeholders = []string{"{bin}", "{row}", "{column}"}

// readPlace reads where the sensor is: its bin and cell, each either a key or a
// placeholder of the topic.
func (l *loader) readPlace(t *table, f *feed) {
	p := &f.Sensor.Position
	p.Bin, _ = t.text("bin", "upper")
	p.Row, _ = t.whole("row", "3", 1, mostCells)
	p.Column, _ = t.whole("column", "4", 1, mostCells)
	l.checkTopic(t, f.Topic)
	for _, key := range []string{"bin", "row", "column"} {
		if strings.Contains(f.Topic, "{"+key+"}") {
			f.Placeholder = true
			if t.has(key) {
				t.fault(key, fmt.Sprintf("%s is a key, and {%s} stands in the topic", key, key), "keep one of the two")
			}
		}
	}
	fromTopic := func(key string) bool { return strings.Contains(f.Topic, "{"+key+"}") }
	given := func(key string) bool { return t.has(key) || fromTopic(key) }
	if !given("bin") {
		t.fault("", t.title()+" has no bin", "add bin = ..., or {bin} to the topic")
	}
	if fromTopic("bin") {
		f.Bins = l.Rack.Bins
	} else if bin, ok := l.Rack.Bin(p.Bin); ok {
		f.Bins = []light.Bin{bin}
	} else {
		l.checkKnown(t, "bin", "bin", p.Bin, binNames(l.Rack.Bins))
	}
	if given("row") != given("column") {
		here, other := "row", "column"
		if given("column") {
			here, other = other, here
		}
		t.fault(here, fmt.Sprintf("the sensor has a %s but no %s", here, other), "give both, or neither for a sensor that speaks for the bin as a whole")
		return
	}
	for _, bin := range f.Bins {
		if bin.Rows == 0 {
			continue // its own mistake was told
		}
		if p.Row > bin.Rows {
			t.fault("row", fmt.Sprintf("row %d is off the grid: the bin %q has %d rows", p.Row, bin.Name, bin.Rows), fmt.Sprintf("give a row from 1 to %d", bin.Rows))
		}
		if p.Column > bin.Columns {
			t.fault("column", fmt.Sprintf("column %d is off the grid: the bin %q has %d columns", p.Column, bin.Name, bin.Columns), fmt.Sprintf("give a column from 1 to %d", bin.Columns))
		}
	}
}

func (l *loader) checkTopic(t *table, topic string) {
	if strings.ContainsAny(topic, "+#") {
		t.fault("topic", fmt.Sprintf("the topic %q holds a wildcard", topic), "write the topic out; {bin}, {row} and {column} may stand for their values")
	}
	rest := topic
	for _, p := range placeholders {
		if strings.Count(topic, p) > 1 {
			t.fault("topic", fmt.Sprintf("the topic holds %s twice", p), "let it stand once")
		}
		rest = strings.ReplaceAll(rest, p, "")
	}
	if strings.ContainsAny(rest, "{}") {
		t.fault("topic", fmt.Sprintf("the topic %q holds a bracket that is no placeholder", topic), "use {bin}, {row} and {column} only")
	}
	if len(topic) > 1024 {
		t.fault("topic", "the topic is longer than 1024 bytes", "shorten it")
	}
}

// checkNames complains of sensors of one name at one time.
func (l *loader) checkNames() {
	type name string
	clashes(l.feeds, func(_ *feed, one light.Sensor, _ string) (name, bool) { return name(one.Name), one.Name != "" },
		func(f, earlier *feed, one, _ light.Sensor, _ string) bool {
			f.table.fault("name", fmt.Sprintf("the sensor %q is there twice at one time: also in line %d", one.Name, earlier.table.at("").line),
				"give one another name, or keep their times apart with from and until")
			return true
		})
}

// checkTopics complains of values that two sensors claim at one time. Sensors
// that replace one another may share a topic.
func (l *loader) checkTopics() {
	type source struct{ topic, pointer string }
	clashes(l.feeds, func(f *feed, _ light.Sensor, topic string) (source, bool) { return source{topic, f.Value}, topic != "" },
		func(f, earlier *feed, one, other light.Sensor, topic string) bool {
			if one.Name == other.Name { // checkNames tells
				return false
			}
			value := "its payload"
			if f.Value != "" {
				value = "its value " + f.Value
			}
			f.table.fault("topic", fmt.Sprintf("the topic %q with %s belongs to the sensor %q already, in line %d", topic, value, other.Name, earlier.table.at("").line),
				"correct topic or value of one of them")
			return true
		})
}

// clashes tells, until one counts, of a feed's sensors that have the key of an earlier
// one at one time.
func clashes[K comparable](feeds []feed, key func(f *feed, one light.Sensor, topic string) (K, bool), tell func(f, earlier *feed, one, other light.Sensor, topic string) (counts bool)) {
	type claim struct {
		by     *feed
		sensor light.Sensor
	}
	claims := map[K][]claim{}
	for i := range feeds {
		f, told := &feeds[i], false
		for _, one := range f.each {
			k, ok := key(f, one.Sensor, one.Topic)
			for _, earlier := range claims[k] {
				told = told || ok && earlier.sensor.During.Overlaps(one.Sensor.During) && tell(f, earlier.by, one.Sensor, earlier.sensor, one.Topic)
			}
			claims[k] = append(claims[k], claim{f, one.Sensor})
		}
	}
}

// checkWater looks at a sensor's keys about water.
func (l *loader) checkWater(t *table, s light.Sensor) {
	for _, key := range []string{"depth_cm", "immersion_factor"} {
		if t.has(key) && s.Measures != 0 && !s.Measures.IsLight() {
			t.fault(key, key+" belongs to a light sensor", "remove it, or correct measures")
			return
		}
	}
	if t.has("immersion_factor") && !t.has("depth_cm") {
		t.fault("immersion_factor", "immersion_factor is there without depth_cm", "add depth_cm, the sensor's depth under water, or remove immersion_factor")
	}
	if s.DepthCM == 0 {
		return
	}
	if bin, ok := l.Rack.Bin(s.Position.Bin); ok && s.DepthCM > bin.WaterCM {
		t.fault("depth_cm", fmt.Sprintf("the sensor would lie %v cm deep in %v cm of water", s.DepthCM, bin.WaterCM), "correct depth_cm, or water_cm of the bin")
	}
	if s.Immersion == 0 && !t.has("immersion_factor") {
		says, mend := "a light sensor under water reads too little without an immersion_factor", "add immersion_factor from the maker, or measure it: reading in air over reading just under the surface"
		if s.Measures.NeedsLampFactor() {
			t.fault("depth_cm", says, mend)
		} else {
			t.warn("depth_cm", says, mend)
		}
	}
}

// checkLux complains of lux sensors whose readings can't be turned into PPFD:
// the lamps over their bin have no factor, or several at one time.
func (l *loader) checkLux() {
	for _, f := range l.feeds {
		if !f.Sensor.Measures.NeedsLampFactor() {
			continue
		}
		for _, bin := range f.Bins {
			if says, mend := l.luxTrouble(bin, f.Sensor.During); says != "" {
				f.table.fault("measures", says, mend)
				break
			}
			if says, mend := l.narrowLight(bin, f.Sensor.During); says != "" && !f.table.has("relative_error") {
				f.table.warn("measures", says, mend)
				break
			}
		}
	}
}

// narrowLight says why lux in the bin tell little of PPFD, though there is a factor; ""
// if they do.
func (l *loader) narrowLight(bin light.Bin, during light.Span) (says, mend string) {
	for _, lamp := range l.Rack.Lamps {
		if slices.Contains(bin.Lamps, lamp.Name) && lamp.During.Overlaps(during) && lamp.LuxPerPPFD.Narrow() && possible(float64(lamp.LuxPerPPFD)) {
			return fmt.Sprintf("the lamp %q over the bin %q has %.3g lux per µmol m⁻² s⁻¹, as light of red and blue has: a lux chip hardly sees it, and each kind otherwise, so PPFD may be wrong by half", lamp.Name, bin.Name, lamp.LuxPerPPFD),
				"use a PPFD sensor there; or measure the lamp's lux_per_ppfd with this very chip beside a PAR meter, and give the sensor its relative_error"
		}
	}
	return "", ""
}

// luxTrouble says why lux in the bin can't be turned into PPFD; "" if it can.
func (l *loader) luxTrouble(bin light.Bin, during light.Span) (says, mend string) {
	var over []light.Lamp
	for _, lamp := range l.Rack.Lamps {
		if slices.Contains(bin.Lamps, lamp.Name) && lamp.During.Overlaps(during) {
			over = append(over, lamp)
		}
	}
	if len(over) == 0 {
		return fmt.Sprintf("lux in the bin %q can't be turned into PPFD: no lamp is over it", bin.Name), `name the bin's lamp, with its lux_per_ppfd, spectrum or illuminant; on a windowsill that is the sun: add a [[lamp]] with name = "sun" and illuminant = "D65", and lamp = "sun" under the [[bin]]`
	}
	for i, lamp := range over {
		if lamp.LuxPerPPFD == 0 {
			return fmt.Sprintf("lux in the bin %q can't be turned into PPFD: its lamp %q has no factor", bin.Name, lamp.Name), "give the lamp lux_per_ppfd, spectrum or illuminant"
		}
		for _, other := range over[:i] {
			if other.LuxPerPPFD != lamp.LuxPerPPFD && other.During.Overlaps(lamp.During) {
				return fmt.Sprintf("lux in the bin %q can't be turned into PPFD: its lamps %q and %q have different factors", bin.Name, other.Name, lamp.Name),
					"measure PPFD there, or give both lamps the factor of their light together"
			}
		}
	}
	return "", ""
}
