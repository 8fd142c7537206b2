package daemon

import (
	"context"
	"log/slog"
	"strconv"
	"time"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/tell"
	"parstead/ingest/broker"
	"parstead/light"
)

// figures keeps each bin's light at the broker as plain numbers, retained, for programs
// that read no JSON.
type figures struct {
	state   func(context.Context) (*page.State, error)
	publish func(topic string, payload []byte) error
	log     *slog.Logger

	rest     time.Duration // at least, between two looks, by the machine's clock: a simulated day is short
	looked   time.Time
	retained map[string]string // by topic; "" where it stands for nothing known
}

// keep publishes what has changed. What could not be published is tried again.
func (f *figures) keep(ctx context.Context) {
	if time.Since(f.looked) < f.rest {
		return
	}
	f.looked = time.Now()
	s, err := f.state(ctx)
	if err != nil {
		return // told where the state is asked for
	}
	if f.retained == nil {
		f.retained = map[string]string{}
	}
	due := map[string]string{}
	for i := range s.Bins {
		b := &s.Bins[i]
		today, known := b.MeanToday()
		due[tell.TopicOf(s.Trial, broker.DLI, b.Name)] = plainNumber(today, known)
		last, known := b.MeanLastDay()
		due[tell.TopicOf(s.Trial, broker.DLILastDay, b.Name)] = plainNumber(last, known)
	}
	for topic := range f.retained {
		if _, ok := due[topic]; !ok {
			due[topic] = "" // a bin that is no more
		}
	}
	for topic, text := range due {
		if was, ok := f.retained[topic]; ok && was == text {
			continue
		}
		if err := f.publish(topic, []byte(text)); err != nil {
			f.log.Warn("light not published", "topic", topic, "error", err)
			continue
		}
		f.retained[topic] = text
	}
}

// plainNumber is a figure for a program; empty, which ends what was retained, where it
// is not known.
func plainNumber(v light.DLI, known bool) string {
	if !known {
		return ""
	}
	return strconv.FormatFloat(float64(v), 'f', 3, 64)
}
