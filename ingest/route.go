package ingest

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"parstead/light"
)

// Expand lists the sensors that the feed stands for, each with a topic of its
// own: the feed itself where the topic has no placeholder.
func (f Feed) Expand() []Feed {
	if !f.Placeholder {
		return []Feed{f}
	}
	var all []Feed
	for _, b := range f.Bins {
		if !strings.Contains(f.Topic, "{bin}") && f.Sensor.Position.Bin != "" && f.Sensor.Position.Bin != b.Name {
			continue
		}
		rows := span(strings.Contains(f.Topic, "{row}"), b.Rows, f.Sensor.Position.Row)
		columns := span(strings.Contains(f.Topic, "{column}"), b.Columns, f.Sensor.Position.Column)
		for _, row := range rows {
			for _, column := range columns {
				all = append(all, f.at(light.Position{Bin: b.Name, Row: row, Column: column}))
			}
		}
	}
	return all
}

// span counts 1 to n where a placeholder stands for them, else it is the one.
func span(placeholder bool, n, one int) []int {
	if !placeholder {
		return []int{one}
	}
	all := make([]int, n)
	for i := range all {
		all[i] = i + 1
	}
	return all
}

func (f Feed) at(p light.Position) Feed {
	row, column := strconv.Itoa(p.Row), strconv.Itoa(p.Column)
	f.Topic = strings.NewReplacer("{bin}", p.Bin, "{row}", row, "{column}", column).Replace(f.Topic)
	f.Sensor.Name += " " + p.Bin
	if !p.WholeBin() {
		f.Sensor.Name += " " + row + " " + column
	}
	f.Sensor.Position = p
	f.Placeholder, f.Bins = false, nil
	return f
}

// filter is the topic filter that a broker is asked for: a level with a
// placeholder becomes a wildcard.
func (f Feed) filter() string {
	if !f.Placeholder {
		return f.Topic
	}
	levels := strings.Split(f.Topic, "/")
	for i, l := range levels {
		if strings.Contains(l, "{") {
			levels[i] = "+"
		}
	}
	return strings.Join(levels, "/")
}

// routes tells for every topic which sensors' readings a payload holds.
type routes struct {
	topics  map[string]*route
	filters []string           // what to subscribe to, sorted
	sensors map[string]*stream // every entry of a name, wherever it arrives
}

// route is how to read the payloads of one topic.
type route struct {
	plans
	streams []stream
}

// stream is one value of a payload. It has more than one entry where a sensor
// was moved or replaced and kept its topic and pointer.
type stream struct {
	pointer string
	entries []entry
}

type entry struct {
	feed   Feed
	sensor *sensor
	value  slot
	at     slot // of the reading's own time
}

// newRoutes compiles the feeds. state gives the state of the sensor of a name.
func newRoutes(feeds []Feed, state func(name string) *sensor) (*routes, error) {
	r := &routes{topics: map[string]*route{}, sensors: map[string]*stream{}}
	for _, f := range feeds {
		if err := checkTopic(f); err != nil {
			return nil, fmt.Errorf("sensor %q: topic %q: %w", f.Sensor.Name, f.Topic, err)
		}
		r.filters = append(r.filters, f.filter())
		for _, one := range f.Expand() {
			if err := r.add(one, state); err != nil {
				return nil, fmt.Errorf("sensor %q: %w", f.Sensor.Name, err)
			}
		}
	}
	slices.Sort(r.filters)
	r.filters = slices.Compact(r.filters)
	return r, nil
}

func checkTopic(f Feed) error {
	switch {
	case f.Topic == "":
		return errors.New("it is empty")
	case len(f.Topic) > 65535 || strings.ContainsRune(f.Topic, 0): // MQTT 3.1.1, section 4.7.3
		return errors.New("it is longer than 65535 bytes or holds a zero byte")
	case strings.ContainsAny(strings.NewReplacer("{bin}", "", "{row}", "", "{column}", "").Replace(f.Topic), "+#{}"):
		return errors.New("only {bin}, {row} and {column} may stand for more than one topic")
	}
	return nil
}

func (r *routes) add(f Feed, state func(name string) *sensor) error {
	if err := f.TimeFormat.check(); err != nil {
		return err
	}
	named := r.sensors[f.Sensor.Name]
	if named == nil {
		named = &stream{}
		r.sensors[f.Sensor.Name] = named
	}
	t := r.topics[f.Topic]
	if t == nil {
		t = &route{}
		r.topics[f.Topic] = t
	}
	e := entry{feed: f, sensor: state(f.Sensor.Name), at: slot{result: -1}}
	var err error
	if e.value, err = t.want(f.Value); err != nil {
		return err
	}
	if f.Time != "" {
		if e.at, err = t.want(f.Time); err != nil {
			return err
		}
	}
	named.entries = append(named.entries, e)
	for i := range t.streams {
		if t.streams[i].pointer == f.Value {
			t.streams[i].entries = append(t.streams[i].entries, e)
			return nil
		}
	}
	t.streams = append(t.streams, stream{f.Value, []entry{e}})
	return nil
}

// why says why nothing can be known of the entry; nil where it can.
func (a *answers) why(e *entry) error {
	if err := a.broken[e.value.encoding]; err != nil || e.at.result < 0 {
		return err
	}
	return a.broken[e.at.encoding]
}

// entryAt is the entry in force at the time, else the last one: a reading
// outside every entry's stretch is kept too, and judged when read.
func (s *stream) entryAt(t time.Time) *entry {
	for i := range s.entries {
		if s.entries[i].feed.Sensor.During.Holds(t) {
			return &s.entries[i]
		}
	}
	return &s.entries[len(s.entries)-1]
}

// offGrid tells whether a topic that no sensor has lies under a placeholder.
func (r *routes) offGrid(topic string) bool {
	for _, f := range r.filters {
		if strings.Contains(f, "+") && matches(f, topic) {
			return true
		}
	}
	return false
}

// matches tells whether a topic lies under a filter (MQTT 3.1.1, section 4.7).
func matches(filter, topic string) bool {
	if strings.HasPrefix(topic, "$") != strings.HasPrefix(filter, "$") {
		return false
	}
	for {
		f, restF, moreF := strings.Cut(filter, "/")
		if f == "#" {
			return true
		}
		t, restT, moreT := strings.Cut(topic, "/")
		if f != "+" && f != t {
			return false
		}
		if !moreF || !moreT {
			return moreF == moreT || !moreT && restF == "#"
		}
		filter, topic = restF, restT
	}
}
