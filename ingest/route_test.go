package ingest

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"parstead/light"
)

func compile(t *testing.T, feeds ...Feed) *routes {
	t.Helper()
	r, err := newRoutes(feeds, func(name string) *sensor { return &sensor{name: name} })
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestPlaceholdersStandForEveryPosition(t *testing.T) {
	t.Parallel()
	bins := []light.Bin{{Name: "upper", Rows: 2, Columns: 3}, {Name: "low shelf", Rows: 1, Columns: 1}}
	f := Feed{
		Topic: "rack/{bin}/r{row}c{column}/light", Placeholder: true, Bins: bins,
		Sensor: light.Sensor{Name: "chip", Measures: light.QuantityLux},
	}
	r := compile(t, f)
	if diff := cmp.Diff([]string{"rack/+/+/light"}, r.filters); diff != "" {
		t.Error(diff)
	}
	if len(r.topics) != 7 || len(r.sensors) != 7 {
		t.Fatalf("%d topics and %d sensors, want 7 of each", len(r.topics), len(r.sensors))
	}
	got := r.topics["rack/upper/r2c3/light"].streams[0].entries[0].feed.Sensor
	if got.Name != "chip upper 2 3" || got.Position != (light.Position{Bin: "upper", Row: 2, Column: 3}) {
		t.Errorf("got %q at %v", got.Name, got.Position)
	}
	for topic, off := range map[string]bool{
		"rack/upper/r3c1/light": true, "rack/attic/r1c1/light": true,
		"rack/upper/light": false, "rack/upper/r1c1/light/x": false, "garage/door": false,
	} {
		if r.offGrid(topic) != off {
			t.Errorf("%s: off the grid is %v, want %v", topic, !off, off)
		}
	}

	one := Feed{
		Topic: "rack/upper/{row}/{column}", Placeholder: true, Bins: bins,
		Sensor: light.Sensor{Name: "chip", Position: light.Position{Bin: "upper"}},
	}
	if n := len(one.Expand()); n != 6 {
		t.Errorf("a feed bound to one bin stands for %d sensors, want 6", n)
	}
	whole := Feed{Topic: "rack/{bin}/air", Placeholder: true, Bins: bins, Sensor: light.Sensor{Name: "air"}}
	if all := whole.Expand(); len(all) != 2 || all[0].Sensor.Name != "air upper" || !all[0].Sensor.Position.WholeBin() {
		t.Errorf("a feed per bin: %+v", all)
	}
}

func TestBadFeedsAreNamed(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		feed Feed
		says string
	}{
		{Feed{Topic: ""}, "it is empty"},
		{Feed{Topic: "rack/#"}, "more than one topic"},
		{Feed{Topic: "rack/{shelf}"}, "more than one topic"},
		{Feed{Topic: "a", Value: "ppfd"}, "JSON Pointer"},
		{Feed{Topic: "a", Time: "at"}, "JSON Pointer"},
		{Feed{Topic: "a", Time: "/at", TimeFormat: "excel"}, "time_format"},
	} {
		_, err := newRoutes([]Feed{c.feed}, func(name string) *sensor { return &sensor{name: name} })
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v: %v, want %q", c.feed, err, c.says)
		}
	}
}

func TestMatches(t *testing.T) {
	t.Parallel()
	// MQTT 3.1.1, sections 4.7.1 and 4.7.2, with their own examples.
	for _, c := range []struct {
		filter, topic string
		want          bool
	}{
		{"sport/tennis/player1/#", "sport/tennis/player1", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/ranking", true},
		{"sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", true},
		{"sport/#", "sport", true},
		{"#", "sport/tennis", true},
		{"sport/tennis/+", "sport/tennis/player1", true},
		{"sport/tennis/+", "sport/tennis/player1/ranking", false},
		{"sport/+", "sport", false},
		{"sport/+", "sport/", true},
		{"+/+", "/finance", true},
		{"/+", "/finance", true},
		{"+", "/finance", false},
		{"#", "$SYS/monitor/Clients", false},
		{"+/monitor/Clients", "$SYS/monitor/Clients", false},
		{"$SYS/#", "$SYS/monitor/Clients", true},
		{"$SYS/monitor/+", "$SYS/monitor/Clients", true},
	} {
		if got := matches(c.filter, c.topic); got != c.want {
			t.Errorf("%s over %s: %v, want %v", c.filter, c.topic, got, c.want)
		}
	}
}
