package ingest

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"parstead/light"
)

// ErrClosed is what waiting publishers are told once the intake has ended.
var ErrClosed = errors.New("ingest: the intake has ended")

// Sink keeps readings. When Append returns without an error the whole group is
// on disk, and fates tells of each reading in order what became of it; with an
// error none of it is.
type Sink interface {
	Append(ctx context.Context, group []light.Reading) (fates []light.Fate, err error)
}

// Config says how an intake works. Sink, Clock and Log must be given.
type Config struct {
	Sink     Sink
	Feeds    []Feed
	Starts   time.Time // of the trial; own times over a year earlier are refused
	Clock    Clock
	Boot     uint32                          // counts starts of this process
	Stored   func() map[string]light.Reading // each sensor's newest usable reading so far; nil for none
	Log      *slog.Logger
	Register prometheus.Registerer // nil for none

	// OnStored is called after each commit with every reading stored, in order
	// and with its final marks, from the goroutine that commits. OnStep is called
	// from there too, before what arrived after the step is committed.
	OnStored func(light.Reading)
	OnStep   func(Step)
	OnTimed  func(Timed) // from there too

	// How long a commit may be put off to spare cards: for readings that nobody
	// waits for (0: 10 s; a kill loses as much of them), and where a publisher
	// waits that comes after a silence (0: 1 s). Negative: not at all. They run on
	// the machine's clock, whatever Clock says.
	Linger, LingerWaited time.Duration

	Queue int // readings held before Take blocks; 0: 16384
}

// Intake judges readings and commits them in groups.
type Intake struct {
	Config
	earliest time.Time
	metrics  *metrics
	routes   atomic.Pointer[routes]
	watch    watch

	commits sync.Mutex // held while a group is appended and accounted for

	mu       sync.Mutex
	room     sync.Cond // signalled when the queue was emptied
	sensors  map[string]*sensor
	queue    group
	steps    []Step
	timed    []Timed
	refusals []Refusal
	failing  bool // the last commit failed

	complained map[[2]string]time.Duration // uptime of the last log line for a sensor and reason

	closed bool
	wake   chan struct{}
}

// New prepares an intake. It does no I/O.
func New(c Config) (*Intake, error) {
	setDefault(&c.Linger, 10*time.Second)
	setDefault(&c.LingerWaited, time.Second)
	if c.Queue == 0 {
		c.Queue = 16384
	}
	in := &Intake{
		Config:     c,
		metrics:    newMetrics(c.Register),
		watch:      watch{clock: c.Clock},
		sensors:    map[string]*sensor{},
		complained: map[[2]string]time.Duration{},
		wake:       make(chan struct{}, 1),
	}
	in.room.L = &in.mu
	if !c.Starts.IsZero() {
		in.earliest = c.Starts.AddDate(-1, 0, 0)
	}
	if err := in.SetFeeds(c.Feeds); err != nil {
		return nil, err
	}
	return in, nil
}

func setDefault(d *time.Duration, value time.Duration) {
	if *d == 0 {
		*d = value
	}
}

// SetFeeds replaces the feeds while readings come in. On an error the old ones
// stay. The sources have to be told the new Filters.
func (in *Intake) SetFeeds(feeds []Feed) error {
	in.mu.Lock()
	defer in.mu.Unlock()
	var stored map[string]light.Reading
	if in.Stored != nil {
		stored = in.Stored()
	}
	r, err := newRoutes(feeds, func(name string) *sensor {
		s := in.sensors[name]
		if s == nil {
			s = &sensor{name: name, stored: in.metrics.of(name)}
			if r, ok := stored[name]; ok {
				s.latest = r
				in.metrics.heard(name, r.At)
				s.pass(r.At)
			}
			in.sensors[name] = s
		}
		return s
	})
	if err != nil {
		return err
	}
	in.routes.Store(r)
	return nil
}

// Filters lists the topic filters that a source has to subscribe to.
func (in *Intake) Filters() []string { return in.routes.Load().filters }

// Latest is the sensor's newest usable reading; ok is false if there is none.
func (in *Intake) Latest(sensor string) (r light.Reading, ok bool) {
	in.mu.Lock()
	defer in.mu.Unlock()
	s := in.sensors[sensor]
	if s == nil || s.latest.At.IsZero() {
		return light.Reading{}, false
	}
	return s.latest, true
}

// look stamps the moment and hands on a step of the clock.
func (in *Intake) look() stamp {
	s, by := in.watch.look()
	if by != 0 {
		in.mu.Lock()
		in.steps = append(in.steps, Step{At: s.now, Boot: in.Boot, Uptime: s.uptime, By: by})
		in.mu.Unlock()
		in.nudge()
	}
	return s
}

// nudge makes the committing goroutine look at the queue.
func (in *Intake) nudge() {
	select {
	case in.wake <- struct{}{}:
	default:
	}
}

// Take decodes and judges a delivery and queues what it holds. It stamps the
// time of arrival before it returns, blocks while the queue is full, and may be
// called from many goroutines.
func (in *Intake) Take(d Delivery) {
	moment := in.look()
	r := in.routes.Load()
	t := r.topics[d.Topic]
	var room [8]arrival
	var found []arrival
	var refused []Refusal
	switch {
	case t != nil:
		found, refused = in.decode(t, &d, moment, room[:0])
	case r.offGrid(d.Topic):
		refused = []Refusal{{Sensor: unknown, Reason: NoSensor, Detail: "no position of the grid has this topic"}}
	}

	in.mu.Lock()
	defer in.mu.Unlock()
	for i := range refused {
		in.refuse(&refused[i], &d, moment)
	}
	if len(found) == 0 && d.From == nil {
		return
	}
	for in.queue.size() >= in.Queue && !in.closed && !in.failing {
		in.room.Wait()
	}
	if in.closed || in.queue.size() >= in.Queue {
		in.turnAway(found, &d, moment)
		return
	}
	for i := range found {
		a := &found[i]
		in.noteTime(a, &d)
		// Every delivery moves the backlog's end, own time or not.
		late := in.backlog(a.sensor, &d, a.entry.feed.Sensor.Every, moment)
		in.queue.urgent = in.queue.urgent || late
		switch {
		case a.reading.Mark != 0:
		case d.Retained:
			a.reading.Mark = light.Stale
		case late:
			a.reading.Mark = light.Untimed
		}
	}
	in.queue.add(found, d.From, d.ID)
	in.nudge()
}

// turnAway lets go of a delivery that there is no room for.
func (in *Intake) turnAway(found []arrival, d *Delivery, moment stamp) {
	if d.From != nil {
		err := ErrClosed
		if !in.closed {
			err = errors.New("ingest: the store fails and the queue is full")
		}
		d.From.Drop(err)
		return
	}
	for i := range found {
		in.refuse(&Refusal{Sensor: found[i].sensor.name, Reason: NotKept, Detail: "the store fails and the queue is full"}, d, moment)
	}
}

// decode reads a payload's readings into found, with the marks that are known
// without the order of arrival, and says what it refuses.
func (in *Intake) decode(t *route, d *Delivery, moment stamp, found []arrival) ([]arrival, []Refusal) {
	payload := t.read(d.Payload)
	defer payload.release()
	arrived := moment.now.Truncate(time.Second).UTC()
	fresh := arrival{waits: d.From != nil, reading: light.Reading{
		At: arrived, Arrived: arrived,
		Boot: in.Boot, Uptime: moment.uptime.Truncate(time.Second),
	}}
	var refused []Refusal
	missing := 0
	for i := range t.streams {
		s := &t.streams[i]
		e := s.entryAt(moment.now)
		if payload.why(e) == nil && payload.results[e.value.result].form == absent {
			missing++
			continue
		}
		a := fresh
		if no := in.read(&a, s, e, payload, moment.now); no != nil {
			refused = append(refused, *no)
			continue
		}
		found = append(found, a)
	}
	// A payload may hold only some of its topic's values. One that holds none is
	// broken.
	if missing > 0 && len(found) == 0 && len(refused) == 0 {
		for i := range t.streams {
			e := t.streams[i].entryAt(moment.now)
			refused = append(refused, Refusal{Sensor: e.sensor.name, Reason: NoNumber, Detail: "nothing at " + t.streams[i].pointer})
		}
	}
	return found, refused
}

// read completes the arrival of one stream's value, or says why it is refused. e
// is the stream's entry now; the reading's own time may be another's.
func (in *Intake) read(a *arrival, s *stream, e *entry, payload *answers, now time.Time) *Refusal {
	if err := payload.why(e); err != nil {
		return &Refusal{Sensor: e.sensor.name, Reason: NoNumber, Detail: err.Error()}
	}
	var err error
	if a.reading.Value, err = payload.results[e.value.result].value(e.feed.Sensor.Measures, e.feed.Number); err != nil {
		return &Refusal{Sensor: e.sensor.name, Reason: NoNumber, Detail: locate(s.pointer, err)}
	}
	if e.at.result >= 0 {
		var own time.Time
		own, a.clock = e.clock(payload.results, now)
		switch {
		case a.clock != goodClock: // a value whose time can't be read is kept, but not as of now
			a.reading.Mark = light.Untimed
		case in.impossible(own, now):
			return &Refusal{Sensor: e.sensor.name, Reason: ImpossibleTime, Detail: "its own time is " + own.Format(time.RFC3339)}
		default:
			a.reading.At, a.reading.Mark = own, light.OwnTime
			e.sensor.pass(own)
			e = s.entryAt(own)
		}
	}
	a.sensor, a.entry, a.reading.Sensor = e.sensor, e, e.sensor.name
	return nil
}

func locate(pointer string, err error) string {
	if pointer == "" {
		return err.Error()
	}
	return err.Error() + " at " + pointer
}
