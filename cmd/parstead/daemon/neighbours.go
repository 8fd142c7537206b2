package daemon

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"parstead/cmd/parstead/tell"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/ingest/broker"
	"parstead/light/watch"
)

// present is what a daemon keeps at a broker while it is connected there, so that another
// can tell whether the two are in one another's way.
type present struct {
	Trial  string   `json:"trial"`
	Topics []string `json:"topics"` // of light sensors
}

// presentFilter matches where such messages stand.
const presentFilter = "parstead/+/" + broker.Present + "/+"

// Neighbours are the other trials at a broker.
type Neighbours struct {
	own string // this trial's own topic; "" at an embedded broker, and for a look from outside

	mu     sync.Mutex
	others map[string]neighbour // by topic
}

// NeighboursOf are those of a trial whose daemon may be at the broker too.
func NeighboursOf(t *trial.Trial) *Neighbours { return &Neighbours{own: presentAt(t)} }

type neighbour struct {
	present
	since time.Time
}

// Hear takes a message in.
func (n *Neighbours) Hear(topic string, payload []byte, now time.Time) {
	if topic == n.own {
		return
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	var p present
	if len(payload) == 0 || json.Unmarshal(payload, &p) != nil {
		delete(n.others, topic)
		return
	}
	if n.others == nil {
		n.others = map[string]neighbour{}
	}
	since := now
	if was, ok := n.others[topic]; ok {
		since = was.since
	}
	n.others[topic] = neighbour{p, since}
}

// Counting lists the other trials that count one of a sensor's topics.
func (n *Neighbours) Counting(address string) []string {
	n.mu.Lock()
	defer n.mu.Unlock()
	var names []string
	for _, o := range n.others {
		if slices.Contains(o.Topics, address) {
			names = append(names, o.Trial)
		}
	}
	slices.Sort(names)
	return slices.Compact(names)
}

// condition tells that another trial is in this one's way.
func (n *Neighbours) condition(t *trial.Trial) (c watch.Condition, ok bool) {
	n.mu.Lock()
	defer n.mu.Unlock()
	for _, topic := range slices.Sorted(maps.Keys(n.others)) {
		o := n.others[topic]
		c = watch.Condition{Kind: watch.Broker, Since: o.since}
		switch both := trial.InCommon(t.LightTopics(), o.Topics); {
		case len(both) > 0:
			c.Says = fmt.Sprintf("The trial %q at the same broker counts this trial's light sensors as its own: %s.", o.Trial, strings.Join(both[:min(len(both), 5)], ", "))
			c.Do = "If one folder was copied from the other, give its sensors topics of their own in trial.toml, or stop the daemon that is not needed. If both are meant to count one, write shared = true in its [[sensor]]."
		case o.Trial == t.Name:
			c.Says = fmt.Sprintf("Another trial at the same broker is called %q too: what the broker keeps of the two is mixed up.", t.Name)
			c.Do = "Give each trial a name of its own in trial.toml."
		default:
			continue
		}
		return c, true
	}
	return watch.Condition{}, false
}

// presentAt is where the trial's own message stands.
func presentAt(t *trial.Trial) string {
	return tell.TopicOf(t.Name, broker.Present, t.Remote().ClientID)
}

// say keeps at another broker what this trial counts.
func (n *Neighbours) say(publish func(string, []byte) error, t *trial.Trial, log *slog.Logger) {
	if n.own == "" {
		return
	}
	text, err := json.Marshal(present{Trial: t.Name, Topics: t.LightTopics()})
	if err == nil {
		err = publish(n.own, text)
	}
	if err != nil {
		log.Warn("the broker does not know what this trial counts", "error", err)
	}
}

// forget begins anew: what still stands at the broker is heard again.
func (n *Neighbours) forget() {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.others = nil
}

// Presence is how a session knows of other trials.
func (n *Neighbours) Presence(now func() time.Time) *ingest.Presence {
	return &ingest.Presence{
		Topic: n.own, Filter: presentFilter,
		Heard: func(topic string, payload []byte) { n.Hear(topic, payload, now()) },
	}
}
