// Package tell brings the grower word of trouble, by a command or by mail: one
// message per cause and one when it is over, however often it flickers, tried
// again until it is sent.
package tell

import (
	"fmt"
	"strings"
	"time"

	"parstead/light/watch"
)

// Message is one thing to tell. Its JSON is what a command reads and what
// stands under parstead/<trial>/conditions/ at the broker.
type Message struct {
	Trial string `json:"trial"`
	watch.Condition
}

// What is told though it is no condition: the daily line, and a test.
const (
	DailyLine watch.Kind = "daily"
	Test      watch.Kind = "test"
)

// isCondition tells whether something is wrong.
func (m Message) isCondition() bool { return m.Kind != DailyLine && m.Kind != Test }

// Topic is where the message is retained at the broker. Anything in a name but
// letters, digits, - and _ is replaced by -; no bin at all is written "rack".
func (m Message) Topic() string {
	bin := m.Bin
	if bin == "" {
		bin = "rack"
	}
	return TopicOf(m.Trial, "conditions", string(m.Kind), bin)
}

// TopicOf is where something of a trial is retained at the broker, by the names that
// lead there, cleaned as those of conditions are.
func TopicOf(trial string, names ...string) string {
	levels := []string{"parstead", level(trial)}
	for _, name := range names {
		levels = append(levels, level(name))
	}
	return strings.Join(levels, "/")
}

func level(name string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-', r == '_':
			return r
		}
		return '-'
	}, name)
}

// Subject is a mail's subject line.
func (m Message) Subject() string {
	subject := m.Trial + ": " + m.Says
	if m.Until != nil {
		subject = m.Trial + ": over: " + m.Says
	}
	return strings.Join(strings.Fields(subject), " ") // nothing may break the line
}

// Text is a mail's body.
func (m Message) Text(zone *time.Location) string {
	const layout = "2006-01-02 15:04 MST"
	var b strings.Builder
	fmt.Fprintln(&b, m.Says)
	switch {
	case !m.isCondition():
	case m.Until != nil:
		fmt.Fprintf(&b, "It is over: from %s until %s.\n", m.Since.In(zone).Format(layout), m.Until.In(zone).Format(layout))
	default:
		fmt.Fprintf(&b, "Since %s.\n", m.Since.In(zone).Format(layout))
	}
	if m.Do != "" && m.Until == nil {
		fmt.Fprintf(&b, "\n%s\n", m.Do)
	}
	return b.String()
}
