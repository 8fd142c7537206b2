package ingest

import (
	"log/slog"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// Presence is how sessions at one broker know of one another: each keeps a message there
// while it is connected, which its will takes away (MQTT 3.1.1, 3.1.2.5), and hears those
// of the others. A broker that does not allow it costs nothing else.
type Presence struct {
	Topic  string // where this session's message stands; "" to listen only
	Filter string // of all such topics, with two wildcards of one level
	// Heard is called with each message that matches the filter, that of this session
	// too; an empty one ends what stood at its topic.
	Heard func(topic string, payload []byte)
}

// goodbye is how long the end of a session waits for its message to be taken away.
const goodbye = time.Second

// refused subscribes to the presence of others, and tells whether the broker refuses it;
// a connection that is lost meanwhile says nothing of that.
func (c *connection) refused(p *Presence, log *slog.Logger) bool {
	token := c.client.Subscribe(p.Filter, 0, func(_ mqtt.Client, m mqtt.Message) {
		p.Heard(m.Topic(), m.Payload())
	}).(*mqtt.SubscribeToken)
	if !token.WaitTimeout(dialTime) || token.Result()[p.Filter] != 0x80 {
		return false
	}
	log.Info("the broker does not let this trial know of others", "filter", p.Filter)
	return true
}

// leave takes the session's own message away.
func (c *connection) leave(p *Presence) {
	if p.Topic != "" {
		c.client.Publish(p.Topic, 1, true, []byte{}).WaitTimeout(goodbye)
	}
}
