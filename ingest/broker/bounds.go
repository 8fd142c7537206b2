package broker

import (
	"net"
	"net/netip"
	"strings"
	"sync"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// What clients may have the broker hold, all in memory: a client that knows the
// sensors' password may be broken, or a stranger's, and the readings of the others
// must keep flowing on a small board. Sensors only publish, so few need to listen.
const (
	maxRetained    = 10_000  // retained messages
	retainedBytes  = 8 << 20 // of them in all
	maxKept        = 4 << 10 // of one of them: all are put in line for each listener anew
	levelBytes     = 256     // that a level of a topic takes in the broker's tree
	maxSubscribers = 32      // clients with subscriptions, here or away
	maxFilters     = 64      // of one client
	maxFilter      = 256     // bytes of one filter
	maxAway        = 256     // sessions of clients that are away
	maxUnanswered  = 1000    // messages sent to a client that it has not acknowledged
	maxWaiting     = 100     // messages kept for a client that is away
	maxQueued      = 1 << 10 // bytes of a message that is kept for clients at all: larger ones go out at QoS 0
	perAddress     = 64      // connections from one address or IPv6 network
	newcomers      = 64      // connections beyond Clients, which have not said yet who they are
)

// retained accounts for the messages that are kept for those who subscribe later.
type retained struct {
	mu   sync.Mutex
	size map[string]int // by topic
	sum  int
}

// admit tells whether a topic's message may be kept, and counts it if so. One
// that clears the topic always may.
func (r *retained) admit(topic string, payload []byte) bool {
	size := 0
	if len(payload) > 0 {
		size = len(payload) + len(topic) + levelBytes*(2+strings.Count(topic, "/"))
	}
	if len(payload)+len(topic) > maxKept {
		return false
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.size == nil {
		r.size = map[string]int{}
	}
	before, there := r.size[topic]
	if size > 0 && (!there && len(r.size) >= maxRetained || size > before && r.sum+size-before > retainedBytes) {
		return false
	}
	r.sum += size - before
	r.size[topic] = size
	if size == 0 {
		delete(r.size, topic)
	}
	return true
}

// OnRetainedExpired lets go of a message whose time has passed.
func (h *hook) OnRetainedExpired(topic string) { h.retained.admit(topic, nil) }

// OnWill keeps a client's will only if its message might be kept.
func (h *hook) OnWill(_ *mqtt.Client, will mqtt.Will) (mqtt.Will, error) {
	will.Retain = will.Retain && h.retained.admit(will.TopicName, will.Payload)
	return will, nil
}

// OnSubscribe drops a client that would have the broker hold more for it than is
// meant for one, or that is one listener too many.
func (h *hook) OnSubscribe(cl *mqtt.Client, pk packets.Packet) packets.Packet {
	l, ok := cl.Net.Conn.(*link)
	if !ok {
		return pk
	}
	long := cl.State.Subscriptions.Len()+len(pk.Filters) > maxFilters
	for _, f := range pk.Filters {
		long = long || len(f.Filter) > maxFilter
		if strings.HasPrefix(shared(f.Filter), "$") {
			l.dollars.Store(true)
		}
	}
	others := 0
	for id, other := range h.broker.server.Clients.GetAll() {
		if id != cl.ID && other.State.Subscriptions.Len() > 0 {
			others++
		}
	}
	if long || others >= maxSubscribers {
		l.deaf.Store(true) // each filter is asked for next
		l.Drop(packets.ErrQuotaExceeded)
	}
	return pk
}

// full tells whether no more messages are kept for a client.
func full(cl *mqtt.Client) bool {
	waiting := cl.State.Inflight.Len()
	return waiting >= maxUnanswered || waiting >= maxWaiting && cl.Closed()
}

// OnDisconnect forgets the session that has been away longest where too many are.
func (h *hook) OnDisconnect(cl *mqtt.Client, _ error, _ bool) {
	h.thrown(cl)
	h.leaving.Lock()
	defer h.leaving.Unlock()
	clients := h.broker.server.Clients
	for int64(clients.Len())-h.broker.server.Info.Clone().ClientsConnected > maxAway {
		var oldest *mqtt.Client
		for _, cl := range clients.GetAll() {
			if at := cl.StopTime(); at > 0 && (oldest == nil || at < oldest.StopTime()) {
				oldest = cl
			}
		}
		if oldest == nil {
			return
		}
		h.broker.server.UnsubscribeClient(oldest)
		oldest.ClearInflights()
		clients.Delete(oldest.ID)
	}
}

// named tells whether a client has asked for topics that begin with $ by name: what
// is kept at such topics the library gives to filters that begin with +, too
// (MQTT 3.1.1, section 4.7.2).
func named(cl *mqtt.Client) bool {
	if l, ok := cl.Net.Conn.(*link); ok && l.dollars.Load() {
		return true
	}
	for filter := range cl.State.Subscriptions.GetAll() {
		if strings.HasPrefix(shared(filter), "$") {
			return true
		}
	}
	return false
}

// OnSelectSubscribers keeps topics that begin with $ from those who share a filter
// that begins with a wildcard (MQTT 3.1.1, section 4.7.2; MQTT 5, 4.7.2): the
// library does so for other subscriptions only.
func (h *hook) OnSelectSubscribers(subs *mqtt.Subscribers, pk packets.Packet) *mqtt.Subscribers {
	if !strings.HasPrefix(pk.TopicName, "$") {
		return subs
	}
	for filter := range subs.Shared {
		if own := shared(filter); strings.HasPrefix(own, "#") || strings.HasPrefix(own, "+") {
			delete(subs.Shared, filter)
		}
	}
	return subs
}

// shared is the filter within one that is shared: $share/NAME/FILTER.
func shared(filter string) string {
	rest, ok := strings.CutPrefix(filter, "$share/")
	if !ok {
		return filter
	}
	_, own, _ := strings.Cut(rest, "/")
	return own
}

// crowd counts connections by where they come from. Its owner guards it.
type crowd map[netip.Prefix]int

// network is an IPv4 address, or the IPv6 network that one household has.
func network(a net.Addr) netip.Prefix {
	at, err := netip.ParseAddrPort(a.String())
	if err != nil {
		return netip.Prefix{}
	}
	ip := at.Addr().Unmap().WithZone("")
	if ip.Is4() {
		return netip.PrefixFrom(ip, 32)
	}
	return netip.PrefixFrom(ip, 64).Masked()
}
