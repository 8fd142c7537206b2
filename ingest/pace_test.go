package ingest

import (
	"testing"
	"time"

	"parstead/light"
)

// After a restart with another broker a sensor sends every five seconds, where the
// trial says a minute. It is told within half a minute that this is its pace: from
// then on its readings count, and those before that showed it are given back. A
// queue that is handed over at once is not, and one that trickles is bounded in time.
func TestAQuickSensorIsNoBacklogForEver(t *testing.T) {
	t.Parallel()
	const queued, live = 50, 59
	h := &hands{now: noon}
	sink := &memory{}
	in, _ := prepare(t, sink, h.clock(), chip("a", "a"))
	var timed []Timed
	in.OnTimed = func(x Timed) { timed = append(timed, x) }
	take := func(after time.Duration) {
		h.pass(after)
		in.Take(Delivery{Topic: "a", Payload: []byte("1"), Link: 7, Away: time.Hour})
	}
	for range queued {
		take(30 * time.Millisecond)
	}
	for range live {
		take(5 * time.Second)
	}
	finish(t, in)
	all := sink.all()
	untimed := 0
	for _, r := range all {
		if r.Mark == light.Untimed {
			untimed++
		}
	}
	if len(timed) != 1 || timed[0].Sensor != "a" || timed[0].Pace != 5*time.Second {
		t.Fatalf("%d of %d set aside; told: %+v", untimed, len(all), timed)
	}
	back := 0
	for i, r := range all {
		if r.Mark != light.Untimed || !timed[0].During.Holds(r.At) {
			continue
		}
		back++
		if i < queued {
			t.Errorf("queued reading %d is given back", i)
		}
	}
	if lost := untimed - back; lost < queued || lost > queued+1 {
		t.Errorf("%d stay set aside, %d were queued", lost, queued)
	}
}

// What has no pace that could be a sensor's is a backlog for ten minutes at most,
// and is told meanwhile.
func TestABacklogIsBoundedInTime(t *testing.T) {
	t.Parallel()
	h := &hands{now: noon}
	sink := &memory{}
	in, _ := prepare(t, sink, h.clock(), chip("a", "a"))
	n := int(longestBehind/(200*time.Millisecond)) + 10
	for i := range n {
		in.Take(Delivery{Topic: "a", Payload: []byte("1"), Link: 7, Away: time.Hour})
		h.pass(200 * time.Millisecond)
		if told := in.Timeless(); i == n/2 && (len(told) != 1 || told[0].Why != behindSays) {
			t.Errorf("told: %+v", told)
		}
	}
	if told := in.Timeless(); len(told) > 0 {
		t.Errorf("still told: %+v", told)
	}
	finish(t, in)
	all := sink.all()
	if all[0].Mark != light.Untimed || all[len(all)-1].Mark != 0 || all[len(all)-9].Mark != 0 || all[len(all)-12].Mark != light.Untimed {
		t.Error("a backlog does not end after ten minutes")
	}
}
