package daemon

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/ingest/broker"
	"parstead/light"
	"parstead/light/account"
	"parstead/light/field"
)

// live is the light of the whole trial up to the running day, kept so that the
// page need only compute today and yesterday.
type live struct {
	mu      sync.Mutex
	known   bool
	trial   *trial.Trial // that the totals are of
	day     light.Date   // the running day: totals go to the day before
	entry   uint64       // newest of the log that the totals have seen
	touched time.Time    // earliest reading that came since; zero for none
	lasted  time.Duration
	ended   time.Time // of the last sum, by the machine's clock
	totals  map[light.Position]light.DLI

	maps field.Kept // of the trial's bins

	state   *page.State // the last one given
	stateAt time.Time
}

// stateLasts is how long one State serves: a scrape and a page in the same
// breath are computed once.
const stateLasts = 2 * time.Second

var errTotals = errors.New("the light of the days so far is being added up; ask again in a moment")

func (l *live) ready() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.known {
		return errTotals
	}
	return nil
}

// touch notes that readings came which reach back to at.
func (l *live) touch(at time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.touched.IsZero() || at.Before(l.touched) {
		l.touched = at
	}
}

// restBetween is how many times as long as the sum of the days took the next
// one waits while late readings go on coming in.
const restBetween = 20

// due tells whether the finished days are to be added up anew: when a day has
// ended, the files have changed, something was logged (a note can reach back
// over any day) or readings came for a finished day.
func (l *live) due(t *trial.Trial, day light.Date, entry uint64) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.known || l.trial != t || l.day != day || l.entry != entry {
		return true
	}
	if l.touched.IsZero() || !l.touched.Before(t.Rack.Day(day).From) {
		l.touched = time.Time{}
		return false
	}
	return time.Since(l.ended) > restBetween*l.lasted
}

// carry keeps the totals for a trial whose rack is as it was.
func (l *live) carry(old, fresh *trial.Trial) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.trial == old {
		l.trial = fresh
	}
}

// passed keeps the totals for an entry of the log that is not about light.
func (l *live) passed(entry uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.entry == entry-1 {
		l.entry = entry
	}
}

// daysAtOnce bounds the memory that adding up takes, however long the trial.
const daysAtOnce = 28

// update adds the finished days up anew if that is due. It is cheap if not.
func (l *live) update(ctx context.Context, d *Daemon, now time.Time) error {
	t := d.trial.Load()
	day := t.Rack.DateAt(now)
	entry := d.db.LastEvent()
	if !l.due(t, day, entry) {
		return nil
	}
	begun := time.Now()
	l.mu.Lock()
	l.touched = time.Time{} // what comes from here on may be missing in the view
	l.mu.Unlock()
	view, err := d.db.View()
	if err != nil {
		return fmt.Errorf("open a view: %w", err)
	}
	defer view.Close() //nolint:errcheck // it only read
	totals := map[light.Position]light.DLI{}
	sums := account.New(&t.Rack, view, account.Options{Maps: l.maps.Maps})
	last := light.Earlier(day.Add(-1), t.Rack.Ends)
	for from := t.Rack.Starts; !last.Before(from); from = from.Add(daysAtOnce) {
		days, err := sums.Days(ctx, from, light.Earlier(from.Add(daysAtOnce-1), last))
		if err != nil {
			return err
		}
		for _, x := range days {
			if x.Known {
				totals[x.Position] += x.DLI
			}
		}
		debug.FreeOSMemory() // once a day: a small board has little
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.known, l.trial, l.day, l.entry, l.totals = true, t, day, entry, totals
	l.ended, l.lasted = time.Now(), time.Since(begun)
	return nil
}

// state is what the page and the metrics show now.
func (d *Daemon) state(ctx context.Context) (*page.State, error) {
	d.live.mu.Lock()
	last, at := d.live.state, d.live.stateAt
	d.live.mu.Unlock()
	// By both clocks: the daemon's may stand still, or be set.
	now, begun := d.options.Clock.Now(), time.Now()
	if last != nil && begun.Sub(at) < stateLasts && now.Sub(last.Now).Abs() < stateLasts {
		return last, nil
	}
	s, err := d.newState(ctx, now)
	if err != nil {
		return nil, err
	}
	d.live.mu.Lock()
	d.live.state, d.live.stateAt = s, begun
	d.live.mu.Unlock()
	return s, nil
}

func (d *Daemon) newState(ctx context.Context, now time.Time) (*page.State, error) {
	t := d.trial.Load()
	view, err := d.db.View()
	if err != nil {
		return nil, fmt.Errorf("open a view: %w", err)
	}
	defer view.Close() //nolint:errcheck // it only read
	log, err := view.Events(ctx)
	if err != nil {
		return nil, fmt.Errorf("read the log: %w", err)
	}
	today := t.Rack.DateAt(now)
	books := account.New(&t.Rack, view, account.Options{Now: func() time.Time { return now }, Maps: d.live.maps.Maps})
	days, err := books.Days(ctx, today.Add(-1), today) // what yesterday showed of a sensor holds on
	if err != nil {
		return nil, err
	}
	s := &page.State{
		Trial: t.Name, Now: now, Calendar: t.Rack.Calendar, Day: today, Starts: t.Rack.Starts, Ends: t.Rack.Ends,
		Conditions: d.alarms.list(), Judged: d.alarms.known(), Refused: refused(d.intake.Refusals(), now), Notices: d.desk.notices(), Sensors: d.sensors(t, now), Log: light.Standing(log),
		Connected: d.source.Connected(), Broker: d.BrokerAddress(),
	}
	s.Tasks = tasks(t, s.Log, now)
	if d.teller != nil {
		for _, u := range d.teller.Unsent() {
			s.Unsent = append(s.Unsent, page.Unsent{Says: u.Message.Says, Tries: u.Tries, Why: u.Why})
		}
	}
	figures := map[light.Date]map[light.Position]account.Figure{today: {}, today.Add(-1): {}}
	for _, x := range days {
		figures[x.Date][x.Position] = x.Figure
	}
	d.live.mu.Lock()
	totals := d.live.totals
	d.live.mu.Unlock()
	for _, bin := range t.Rack.Bins {
		b := binState(t, bin, now, figures[today], figures[today.Add(-1)], totals)
		b.Map = mapOf(t, s.Log, bin.Name, now).String()
		s.Bins = append(s.Bins, b)
	}
	return s, nil
}

// refusedShown is how long a refused payload is shown.
const refusedShown = time.Hour

// refused sums up what was refused lately by sensor and reason, the latest
// first. A reading that came twice is no trouble. What a stranger sent is not
// shown; parstead topics and the daemon's log tell.
func refused(list []ingest.Refusal, now time.Time) []page.Refused {
	words := map[string]string{
		ingest.NoNumber:       "no number where the sensor's value is due (parstead topics shows what arrives)",
		ingest.ImpossibleTime: "a time that can't be (look at the sensor's clock)",
		ingest.NoSensor:       "the topic is beside the grid of its sensor's bins",
		ingest.NotKept:        "readings can't be kept now",
	}
	var sums []page.Refused
	for _, r := range slices.Backward(list) {
		why, shown := words[r.Reason]
		if !shown || now.Sub(r.At) > refusedShown {
			continue
		}
		sensor := r.Sensor
		if r.Reason == ingest.NoSensor {
			sensor = ""
		}
		i := slices.IndexFunc(sums, func(s page.Refused) bool { return s.Sensor == sensor && s.Why == why })
		if i < 0 {
			i, sums = len(sums), append(sums, page.Refused{Sensor: sensor, Why: why, Last: r.At})
		}
		sums[i].Count++
	}
	return sums
}

func binState(t *trial.Trial, bin light.Bin, now time.Time, today, yesterday map[light.Position]account.Figure, totals map[light.Position]light.DLI) page.Bin {
	b := page.Bin{Bin: bin}
	covered, known, last := 0.0, 0, 0.0
	lastKnown := 0
	for _, p := range bin.Positions() {
		cell := page.Cell{Today: figure(today[p]), Yesterday: figure(yesterday[p]), Plant: t.PlantAt(p, now)}
		if sum, ok := totals[p]; ok || cell.Today.Known {
			cell.Total = cell.Today
			cell.Total.Known, cell.Total.DLI = true, sum+cell.Today.DLI
		}
		if cell.Today.Known {
			covered += today[p].Covered
			known++
		}
		if cell.Yesterday.Known {
			last += float64(cell.Yesterday.DLI)
			lastKnown++
		}
		b.Cells = append(b.Cells, cell)
	}
	if known > 0 {
		b.Coverage = covered / float64(known)
	}
	whole := bin.TargetDLI
	if whole == 0 && lastKnown > 0 {
		whole = light.DLI(last / float64(lastKnown))
	}
	if part, ok := litSoFar(&t.Rack, bin, now); ok && whole > 0 {
		b.Due, b.HasDue = light.DLI(part)*whole, true
	}
	return b
}

func figure(f account.Figure) page.Figure {
	if !f.Known {
		return page.Figure{}
	}
	return page.Figure{
		DLI: f.DLI, Known: true, Measured: f.Source == account.FromSensor, Source: f.Source.String(), Error: f.Error.Total(),
	}
}

// litSoFar is the share of today's lit hours that have passed by the timers.
func litSoFar(rack *light.Rack, bin light.Bin, now time.Time) (share float64, ok bool) {
	var passed, whole time.Duration
	for _, s := range rack.Lit(bin, rack.Day(rack.DateAt(now))) {
		whole += s.Length()
		if part, ok := s.Within(light.Span{Until: now}); ok {
			passed += part.Length()
		}
	}
	return passed.Seconds() / whole.Seconds(), whole > 0
}

// sensors lists the sensors that are in place now with their newest readings.
func (d *Daemon) sensors(t *trial.Trial, now time.Time) []page.Sensor {
	latest, timeless := d.db.Latest(), d.timeless()
	var list []page.Sensor
	for _, s := range t.Rack.Sensors {
		if !s.During.Holds(now) {
			continue
		}
		x := page.Sensor{Sensor: s, Timeless: timeless[s.Name]}
		if r, ok := latest[s.Name]; ok && s.During.Holds(r.At) {
			x.Heard, x.At, x.Value = true, r.At, s.Value(r.Value)
			x.Raw, x.Saturated = r.Value, s.Measures.IsLight() && light.Saturated(r.Value)
			x.PPFD = s.Measures.PPFD(x.Value, luxFactor(&t.Rack, s.Position.Bin, now))
		}
		list = append(list, x)
	}
	return list
}

// timeless tells by sensor why the time of its readings is missing.
func (d *Daemon) timeless() map[string]string {
	why := map[string]string{}
	for _, x := range d.intake.Timeless() {
		why[x.Sensor] = x.Why
	}
	return why
}

// luxFactor is that of the lamp over the bin; a trial's lamps over one bin agree.
func luxFactor(rack *light.Rack, bin string, now time.Time) light.LuxPerPPFD {
	b, _ := rack.Bin(bin)
	for _, l := range rack.Lamps {
		if slices.Contains(b.Lamps, l.Name) && l.During.Holds(now) && l.LuxPerPPFD > 0 {
			return l.LuxPerPPFD
		}
	}
	return 0
}

// BrokerAddress is where readings are published.
func (d *Daemon) BrokerAddress() string {
	if own, ok := d.source.(*broker.Broker); ok {
		return own.Addr().String()
	}
	return d.trial.Load().Broker.URL
}
