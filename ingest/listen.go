package ingest

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"
)

// Found is a number that arrives at a broker, what a sensor could be; or a payload
// that holds none.
type Found struct {
	Topic   string
	Pointer string     // JSON Pointer to the number; "" where it is the payload
	Example string     // the number as it was last written; of a payload without one its beginning
	Form    NumberForm // of a number that is text

	Time       string     // JSON Pointer to what looks like the reading's own time; "" for none
	TimeFormat TimeFormat // and how it is written

	NoNumber bool   // the payload holds nothing that a feed could read
	Wrong    string // why it can't be read, or not be used, with the mend; "" for no trouble

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
	found       []Found
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

// Take notes what a delivery holds and acknowledges it.
func (l *Listening) Take(d Delivery) {
	if d.From != nil {
		defer d.From.Acknowledge([]uint16{d.ID})
	}
	uptime := l.clock.Uptime()
	found := numbersIn(d.Payload)
	if t := l.routes.topics[d.Topic]; t != nil {
		found = t.findWrong(found, d.Payload, l.clock.Now())
	}
	if len(found) == 0 {
		found = []Found{{Example: excerpt(d.Payload), NoNumber: true, Wrong: noNumber(d.Payload)}}
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	t := l.topics[d.Topic]
	if t == nil {
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
	t.note(found)
}

// note keeps what a payload held. A payload without a number is kept only of a topic
// that brought none.
func (t *heard) note(found []Found) {
	t.found = slices.DeleteFunc(t.found, func(f Found) bool { return f.NoNumber })
	for _, n := range found {
		if n.NoNumber && len(t.found) > 0 {
			continue
		}
		i := slices.IndexFunc(t.found, func(f Found) bool { return f.Pointer == n.Pointer })
		if i < 0 && len(t.found) < maxPointers {
			i = len(t.found)
			t.found = append(t.found, n)
		}
		if i >= 0 {
			t.found[i] = n
		}
	}
}

// findWrong notes of what sensors of the trial take from the topic whether it can't
// be read, or has no time beside it.
func (t *route) findWrong(found []Found, payload []byte, now time.Time) []Found {
	a := t.read(payload)
	defer a.release()
	for i := range t.streams {
		s := &t.streams[i]
		e := s.entryAt(now)
		wrong, r := "", a.results[e.value.result]
		if err := a.why(e); err != nil {
			wrong = fmt.Sprintf("%s: the sensor has to send JSON with a number at %s, or `value` of the sensor is to be mended", err, s.pointer)
		} else if _, err := r.value(e.feed.Sensor.Measures, e.feed.Number); err != nil {
			wrong = e.feed.unread(r, err)
		} else if _, c := e.clock(a.results, now); c != goodClock {
			wrong = e.feed.timeless(c, payload)
		}
		at := slices.IndexFunc(found, func(f Found) bool { return f.Pointer == s.pointer })
		if at < 0 {
			if wrong == "" {
				continue
			}
			at = len(found)
			found = append(found, Found{Pointer: s.pointer, Example: excerpt(payload)})
		}
		found[at].Wrong = wrong
		found[at].Form = NumberForm{} // the sensor's own is looked at
	}
	return found
}

// unread says why what stands at the feed's value is no number to it, and the mend.
func (f *Feed) unread(r result, err error) string {
	has, isNumber := formOf(r.plainText())
	switch {
	case r.form == absent:
		return fmt.Sprintf("nothing stands at %s: mend `value` of the sensor", f.Value)
	case r.form == formObject || r.form == formArray:
		return fmt.Sprintf("%s at %s: let `value` of the sensor lead to a number in it", errNoNumber, cmp.Or(f.Value, "the whole payload"))
	case isNumber && has.Needs() != "":
		return fmt.Sprintf("%s: let the sensor have %s", err, has.Needs())
	case isNumber:
		return fmt.Sprintf("%s: remove suffix and decimal_mark of the sensor", err)
	}
	return fmt.Sprintf("%s: the sensor has to send one", err)
}

// noNumber says of a payload that it holds nothing to read.
func noNumber(payload []byte) string {
	if len(payload) == 0 {
		return "an empty message"
	}
	return "no number in it"
}

// excerpt is the beginning of a payload, for people.
func excerpt(payload []byte) string {
	return strings.ToValidUTF8(string(payload[:min(len(payload), shownPayload)]), "?")
}

// Found lists what was heard, by topic and pointer.
func (l *Listening) Found() []Found {
	l.mu.Lock()
	defer l.mu.Unlock()
	var all []Found
	for topic, t := range l.topics {
		for _, f := range t.found {
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
