package ingest

import (
	"bytes"
	"log/slog"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"parstead/light"
)

func TestASensorWithoutItsTimeIsNamed(t *testing.T) {
	t.Parallel()
	h := &hands{now: noon}
	var log bytes.Buffer
	disk := &memory{}
	feed := own(chip("air", "rack/air"))
	in, err := New(Config{
		Sink: disk, Feeds: []Feed{feed}, Starts: noon, Clock: h.clock(), Log: slog.New(slog.NewTextHandler(&log, nil)),
		Linger: -1, LingerWaited: -1,
	})
	if err != nil {
		t.Fatal(err)
	}
	take := func(payload string) { in.Take(Delivery{Topic: "rack/air", Payload: []byte(payload)}) }

	take(`{"v":22.4}`)
	take(`{"v":22.5}`)
	mend := ": mend `time` of the sensor, or leave it out to take the time of arrival"
	want := []Timeless{{Sensor: "air", Why: `its messages carry no time at /at (payload {"v":22.4})` + mend}}
	if diff := cmp.Diff(want, in.Timeless()); diff != "" {
		t.Error(diff)
	}
	if n := strings.Count(log.String(), "no time at /at"); n != 1 {
		t.Errorf("%d warnings: %s", n, log.String())
	}
	take(`{"v":22.4,"at":1784635200}`)
	if got := in.Timeless(); len(got) != 1 || !strings.Contains(got[0].Why, "carry no rfc3339 time at /at") || !strings.Contains(got[0].Why, "`time_format`") {
		t.Errorf("a number is no RFC 3339 time: %+v", got)
	}
	take(`{"v":22.6,"at":"2026-07-21T12:00:00Z"}`)
	if got := in.Timeless(); len(got) > 0 {
		t.Errorf("with its time again: %+v", got)
	}
	take(`{"v":22.7}`)
	feed.Time = ""
	if err := in.SetFeeds([]Feed{feed}); err != nil {
		t.Fatal(err)
	}
	take(`{"v":22.8}`)
	if got := in.Timeless(); len(got) > 0 {
		t.Errorf("timed by arrival: %+v", got)
	}
	finish(t, in)
	var marks []light.Mark
	for _, r := range disk.all() {
		marks = append(marks, r.Mark)
	}
	if diff := cmp.Diff([]light.Mark{light.Untimed, light.Untimed, light.Untimed, light.OwnTime, light.Untimed, 0}, marks); diff != "" {
		t.Error(diff)
	}
	if got := testutil.ToFloat64(in.metrics.setAside.WithLabelValues("air", Untimed)); got != 4 {
		t.Errorf("%v counted as untimed", got)
	}
}
