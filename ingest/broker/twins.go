package broker

import (
	"errors"
	"slices"
	"sync"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// Of clients with one id each throws the other out when it connects (MQTT 3.1.1, 3.1.4);
// one whose signal comes and goes does so to itself now and then. So often within so long
// it is most likely two.
const (
	thrownOut       = 4
	thrownOutWithin = 2 * time.Minute
)

// twins counts how often clients were thrown out by others of their id.
type twins struct {
	mu   sync.Mutex
	ids  map[string][]time.Time
	last time.Time // when it was logged last
}

// note takes down that a client was thrown out, and tells whether it was so often.
func (t *twins) note(id string, now time.Time) (often, first bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.ids == nil {
		t.ids = map[string][]time.Time{}
	}
	t.ids[id] = append(t.ids[id], now)
	for id, times := range t.ids {
		times = slices.DeleteFunc(times, func(at time.Time) bool { return now.Sub(at) > thrownOutWithin })
		if len(times) == 0 {
			delete(t.ids, id)
			continue
		}
		t.ids[id] = times
	}
	if len(t.ids[id]) < thrownOut {
		return false, false
	}
	if first = now.Sub(t.last) > sayAgain; first {
		t.last = now
	}
	return true, first
}

// thrown notes a client that another of its id threw out.
func (h *hook) thrown(cl *mqtt.Client) {
	if !errors.Is(cl.StopCause(), packets.ErrSessionTakenOver) {
		return
	}
	often, first := h.twins.note(cl.ID, time.Now())
	if first {
		h.broker.Log.Warn("clients of one id throw one another out: give each sensor a client id of its own", "id", cl.ID, "client", cl.Net.Remote)
	}
	if often && h.broker.OnTwins != nil {
		h.broker.OnTwins(cl.ID)
	}
}
