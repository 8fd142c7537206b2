package ingest

import (
	"slices"
	"strings"
	"sync"
	"time"
)

// Found is a number that arrives at a broker: what a sensor could be.
type Found struct {
	Topic   string
	Pointer string // JSON Pointer to the number; "" where it is the payload
	Example string // the number as it was last written

	Time       string     // JSON Pointer to what looks like the reading's own time; "" for none
	TimeFormat TimeFormat // and how it is written
	Timeless   string     // why a feed that takes this number finds no time; "" for no such trouble

	Messages int           // live ones, not what a broker had kept
	Every    time.Duration // between live messages, on average; 0 before the second
}

// Listening is a Taker that notes what arrives and stores nothing.
type Listening struct {
	clock  Clock
	routes *routes

	mu      sync.Mutex
	topics  map[string]*heard
	dropped int
}

// heard is what one topic brought.
type heard struct {
	numbers     []Found
	messages    int
	first, last time.Duration // uptimes of live messages
}

// A stranger's broker may carry any number of topics.
const (
	maxTopics   = 2000
	maxPointers = 100 // of one topic
)

// Listen makes a Listening beside the feeds that are set up.
func Listen(clock Clock, feeds []Feed) (*Listening, error) {
	r, err := newRoutes(feeds, func(string) *sensor { return nil })
	if err != nil {
		return nil, err
	}
	return &Listening{clock: clock, routes: r, topics: map[string]*heard{}}, nil
}

// Take notes the numbers in a delivery and acknowledges it.
func (l *Listening) Take(d Delivery) {
	if d.From != nil {
		defer d.From.Acknowledge([]uint16{d.ID})
	}
	uptime := l.clock.Uptime()
	numbers := numbersIn(d.Payload)
	if t := l.routes.topics[d.Topic]; t != nil {
		t.findTimeless(numbers, d.Payload, l.clock.Now())
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	t := l.topics[d.Topic]
	if t == nil {
		if len(numbers) == 0 {
			return
		}
		if len(l.topics) == maxTopics {
			l.dropped++
			return
		}
		t = &heard{}
		l.topics[strings.Clone(d.Topic)] = t
	}
	if !d.Retained {
		if t.messages == 0 {
			t.first = uptime
		}
		t.messages++
		t.last = uptime
	}
	for _, n := range numbers {
		i := slices.IndexFunc(t.numbers, func(f Found) bool { return f.Pointer == n.Pointer })
		if i < 0 && len(t.numbers) < maxPointers {
			i = len(t.numbers)
			t.numbers = append(t.numbers, n)
		}
		if i >= 0 {
			t.numbers[i] = n
		}
	}
}

// findTimeless notes for the numbers that a sensor takes whether its time is
// missing beside them.
func (t *route) findTimeless(numbers []Found, payload []byte, now time.Time) {
	a := t.read(payload)
	defer a.release()
	for i := range t.streams {
		s := &t.streams[i]
		e := s.entryAt(now)
		if a.why(e) != nil {
			continue
		}
		_, c := e.clock(a.results)
		if at := slices.IndexFunc(numbers, func(f Found) bool { return f.Pointer == s.pointer }); at >= 0 && c != goodClock {
			numbers[at].Timeless = e.feed.timeless(c, payload)
		}
	}
}

// Found lists what was heard, by topic and pointer.
func (l *Listening) Found() []Found {
	l.mu.Lock()
	defer l.mu.Unlock()
	var all []Found
	for topic, t := range l.topics {
		for _, f := range t.numbers {
			f.Topic, f.Messages = topic, t.messages
			if t.messages > 1 {
				f.Every = (t.last - t.first) / time.Duration(t.messages-1)
			}
			all = append(all, f)
		}
	}
	slices.SortFunc(all, func(a, b Found) int {
		return 2*strings.Compare(a.Topic, b.Topic) + strings.Compare(a.Pointer, b.Pointer)
	})
	return all
}

// Dropped counts deliveries on topics beyond the limit.
func (l *Listening) Dropped() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.dropped
}
