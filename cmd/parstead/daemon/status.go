package daemon

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/tell"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/light"
	"parstead/light/account"
	"parstead/light/watch"
	"parstead/store"
)

// stateLasts is how long one State serves: a scrape and a page in the same
// breath are computed once.
const stateLasts = 2 * time.Second

// status gathers what the page and the metrics show.
type status struct {
	trial      func() *trial.Trial
	now        func() time.Time
	db         *store.DB
	checked    func() bool // whether all of the database has been looked through
	intake     *ingest.Intake
	totals     *totals
	conditions *conditions
	filing     *filing
	results    *results
	teller     *tell.Teller // nil where the trial wants no messages
	connected  func() bool
	broker     func() string // where readings are published

	mu    sync.Mutex
	state *page.State // the last one given
	at    time.Time   // by the machine's clock
}

// get is what is shown now.
func (s *status) get(ctx context.Context) (*page.State, error) {
	s.mu.Lock()
	last, at := s.state, s.at
	s.mu.Unlock()
	// By both clocks: the daemon's may stand still, or be set.
	now, begun := s.now(), time.Now()
	if last != nil && begun.Sub(at) < stateLasts && now.Sub(last.Now).Abs() < stateLasts {
		return last, nil
	}
	fresh, err := s.compute(ctx, now)
	if err != nil {
		if fresh = s.withoutReadings(now); fresh == nil {
			return nil, err
		}
	}
	s.mu.Lock()
	s.state, s.at = fresh, begun
	s.mu.Unlock()
	return fresh, nil
}

// atOnce is what a scrape gets: it never waits for the check of a large database,
// which all that is summed from readings has to. What is not known yet is absent.
func (s *status) atOnce(ctx context.Context) (*page.State, error) {
	if s.checked() {
		return s.get(ctx)
	}
	now := s.now()
	bare := s.bare(now)
	bare.Sensors = sensorsNow(s.trial(), s.db.Latest(), timeless(s.intake), now)
	return bare, nil
}

// withoutReadings is what can be shown of a trial whose database was taken away
// and can't be read; nil where that is not what is wrong.
func (s *status) withoutReadings(now time.Time) *page.State {
	bare := s.bare(now)
	if !slices.ContainsFunc(bare.Conditions, func(c watch.Condition) bool { return c.Kind == watch.Database }) {
		return nil
	}
	bare.Judged = true
	return bare
}

// bare is what can be shown without the database.
func (s *status) bare(now time.Time) *page.State {
	t := s.trial()
	holding, judged := s.conditions.list()
	return &page.State{
		Trial: t.Name, Now: now, Calendar: t.Rack.Calendar, Day: t.Rack.DateAt(now), Starts: t.Rack.Starts, Ends: t.Rack.Ends,
		Conditions: holding, Judged: judged, Notices: s.filing.notices(), Connected: s.connected(), Broker: s.broker(),
	}
}

func (s *status) compute(ctx context.Context, now time.Time) (*page.State, error) {
	t := s.trial()
	view, err := s.db.View()
	if err != nil {
		return nil, fmt.Errorf("open a view: %w", err)
	}
	defer view.Close() //nolint:errcheck // it only read
	log, err := view.Events(ctx)
	if err != nil {
		return nil, fmt.Errorf("read the log: %w", err)
	}
	today := t.Rack.DateAt(now)
	sums := account.New(&t.Rack, view, account.Options{Now: func() time.Time { return now }, Maps: s.totals.maps.Maps, Suns: &s.totals.suns})
	season, err := sums.Season(ctx, today.Add(-1), today) // what yesterday showed of a sensor holds on
	if err != nil {
		return nil, err
	}
	holding, judged := s.conditions.list()
	p := &page.State{
		Trial: t.Name, Now: now, Calendar: t.Rack.Calendar, Day: today, Starts: t.Rack.Starts, Ends: t.Rack.Ends,
		Conditions: holding, Judged: judged, Refused: refused(s.intake.Refusals(), now), Notices: s.filing.notices(),
		Sensors: sensorsNow(t, s.db.Latest(), timeless(s.intake), now), Log: withoutScores(t, light.Standing(log)),
		Connected: s.connected(), Broker: s.broker(),
	}
	p.OffTarget, p.Plants, p.Harvest = t.Rack.OffTarget, standing(t, now), harvestOf(t, now)
	p.Tasks = append(tasks(t, p.Log, now), season.Suns...)
	if s.teller != nil {
		for _, u := range s.teller.Unsent() {
			p.Unsent = append(p.Unsent, page.Unsent{Says: u.Message.Says, Tries: u.Tries, Why: u.Why})
		}
	}
	figures := map[light.Date]map[light.Position]account.Figure{today: {}, today.Add(-1): {}}
	for _, x := range season.Days {
		figures[x.Date][x.Position] = x.Figure
	}
	totals := s.totals.byPosition()
	for _, bin := range t.Rack.Bins {
		b := binState(t, bin, now, figures[today], figures[today.Add(-1)], totals)
		b.Season = s.totals.season(bin.Name)
		b.Map = account.EpochAt(&t.Rack, p.Log, bin.Name, now).String()
		p.Bins = append(p.Bins, b)
	}
	return p, nil
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
	for _, p := range bin.Positions() {
		cell := page.Cell{Today: figure(today[p]), Yesterday: figure(yesterday[p]), Plant: t.PlantAt(p, now)}
		if sum, ok := totals[p]; ok || cell.Today.Known {
			cell.Total = cell.Today
			cell.Total.Known, cell.Total.DLI = true, sum+cell.Today.DLI
		}
		b.Cells = append(b.Cells, cell)
	}
	b.Levels = levelsOf(t, bin)
	for _, c := range b.Cells {
		if c.Plant != "" {
			b.Standing++
		}
	}
	b.Coverage = account.Coverage(bin, today)
	b.Due, b.HasDue = account.DueByNow(&t.Rack, bin, yesterday, now)
	return b
}

func figure(f account.Figure) page.Figure {
	if !f.Known {
		return page.Figure{}
	}
	return page.Figure{
		DLI: f.DLI, Known: true, Measured: f.Source == account.FromSensor, Source: f.Source.String(), Error: f.Error.Total(), Shared: math.Hypot(f.Error.Bin, f.Error.All), Filled: f.Filled,
	}
}

// sensorsNow lists the sensors that are in place now with their newest readings.
func sensorsNow(t *trial.Trial, latest map[string]light.Reading, timeless map[string]string, now time.Time) []page.Sensor {
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
func timeless(intake *ingest.Intake) map[string]string {
	why := map[string]string{}
	for _, x := range intake.Timeless() {
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
