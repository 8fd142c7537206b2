package demo

import (
	"fmt"
	"math/rand/v2"
	"time"
	_ "time/tzdata" // the season needs its time zone on every machine

	"parstead/correlate/deal"
	"parstead/light"
)

// Length of the scenario's season and the shortest that still holds all of its
// events, in days.
const (
	FullSeason = 154
	MinDays    = 28
)

// Seed is that of the demo. It was chosen among many so that the analysis shows
// every claim at once; the demo says so.
const Seed uint64 = 2220

// Every is how often each sensor publishes.
const Every = 5 * time.Minute

// Zone is the time zone of the rack: its season has one light day of 25 hours.
const Zone = "Europe/Lisbon"

// Config says which world to make.
type Config struct {
	Seed  uint64
	Days  int  // 0: FullSeason; a shorter season plays the same events, closer together
	Quiet bool // nothing goes wrong: no faults, no mistakes, no losses
	Exact bool // the sensors' scales are exactly right
}

// World is one simulated rack and season. It is not changed after New and may
// be used by several goroutines.
type World struct {
	Config
	Rack   light.Rack // as the trial's files describe it
	Plants []Plant
	Truth  Truth
	Dealt  deal.Record // how light levels and media were dealt

	season season
	places []bin // in the order of Rack.Bins
	probes []probe
	posts  []post
	supply []float64 // relative mains supply on each hour from the season's start
	start  time.Time // of the first light day
	days   []light.Span
	walks  []walk
}

// Streams of random numbers: one a subject, so that a new draw in one leaves
// the others as they were.
const (
	streamLamps = iota + 1
	streamSupply
	streamSensors
	streamSurvey
	streamPlants
	streamHarvest
	streamMistakes
)

func (c Config) stream(subject uint64) *rand.Rand { return rand.New(rand.NewPCG(c.Seed, subject)) }

// New makes the world of a seed. It reports an error for a season shorter than
// MinDays or longer than FullSeason.
func New(c Config) (*World, error) {
	if c.Days == 0 {
		c.Days = FullSeason
	}
	if c.Days < MinDays || c.Days > FullSeason {
		return nil, fmt.Errorf("a demo season has %d to %d days, not %d: choose --days between them",
			MinDays, FullSeason, c.Days)
	}
	zone, err := time.LoadLocation(Zone)
	if err != nil {
		return nil, fmt.Errorf("load time zone %s: %w", Zone, err)
	}
	w := &World{Config: c}
	w.Rack.Calendar = light.Calendar{Zone: zone}
	w.Rack.Starts = light.Date{Year: 2025, Month: time.July, Day: 22}
	w.Rack.Ends = w.Rack.Starts.Add(c.Days - 1)
	w.start = w.Rack.Trial().From
	for d := range c.Days {
		w.days = append(w.days, w.Rack.Day(w.Rack.Starts.Add(d)))
	}
	w.season = newSeason(c, w.Rack.Calendar, w.Rack.Starts)
	w.describeAir()
	w.buildBins()
	w.buildSensors()
	if err := w.deal(); err != nil {
		return nil, fmt.Errorf("deal the demo's plants: %w", err)
	}
	w.lightUp()
	w.buildSupply()
	w.integrate()
	w.grow()
	w.survey()
	return w, nil
}

// shelfPlan is the rack: three shelves of two bins as blocks, too few for all
// three light levels, and a bin under water beside them.
var shelfPlan = []struct{ name, shelf, reservoir string }{
	{"upper-left", "upper", "A"},
	{"upper-right", "upper", "A"},
	{"middle-left", "middle", "B"},
	{"middle-right", "middle", "B"},
	{"lower-left", "lower", "C"},
	{"lower-right", "lower", "C"},
	{pond, "floor", ""},
}

// lightLevels are dealt to bins; each shelf lacks one. The pond has its own.
var lightLevels = []struct {
	name  string
	ppfd  float64 // mean over the grid under a new lamp, µmol m⁻² s⁻¹
	watts float64
}{
	{"low", 45, 22},
	{"mid", 85, 40},
	{"high", 130, 60},
	{pond, 85, 40},
}

const (
	pond        = "pond" // name and light level of the bin under water
	waterCM     = 8.0
	attenuation = 4.0  // of the tinted water, per metre
	luxPerPPFD  = 67.0 // of the lamps, lux per µmol m⁻² s⁻¹
	photoperiod = 14 * time.Hour
)

var (
	lampOn  = light.TimeOfDay(7 * time.Hour)
	lampOff = lampOn + light.TimeOfDay(photoperiod)
)

// buildBins lays out the rack and hangs a lamp over every bin.
func (w *World) buildBins() {
	rng := w.stream(streamLamps)
	for _, plan := range shelfPlan {
		b := light.Bin{
			Name: plan.name, Rows: 7, Columns: 8, PitchRows: 6, PitchColumns: 6,
			Lamps: []string{"lamp " + plan.name}, Block: plan.shelf, Reservoir: plan.reservoir,
		}
		if plan.name == pond {
			b.Rows, b.WaterCM, b.Attenuation = 5, waterCM, attenuation
			b.AttenuationError = 0.2 // what a trial takes that doesn't say
		}
		place := bin{Bin: b, lit: w.season.lit(plan.name, w.Config, w.Rack.Calendar, w.Rack.Starts)}
		place.hang(rng)
		w.places = append(w.places, place)
	}
	for _, reservoir := range reservoirs {
		w.Rack.Floods = append(w.Rack.Floods, light.Flood{
			Reservoir: reservoir, Times: floodTimes, Lasts: floodLasts,
		})
	}
}

// lightUp gives every bin the lamp of its light level. The first bright one is
// raised in the season.
func (w *World) lightUp() {
	for i := range w.places {
		b := &w.places[i]
		for _, level := range lightLevels {
			if level.name != b.level {
				continue
			}
			raised := level.name == "high" && w.season.raisedBin == "" && !w.Quiet
			if raised {
				w.season.raisedBin = b.Name
			}
			b.brighten(level.ppfd, raised)
			b.TargetDLI = light.PPFD(level.ppfd).Over(photoperiod.Seconds())
			w.Rack.Lamps = append(w.Rack.Lamps, light.Lamp{
				Name: b.Lamps[0], LuxPerPPFD: luxPerPPFD, Watts: level.watts,
				On: []light.TimeOfDay{lampOn}, Off: []light.TimeOfDay{lampOff},
			})
		}
		w.Rack.Bins = append(w.Rack.Bins, b.Bin)
	}
}

var (
	reservoirs = []string{"A", "B", "C"}
	floodTimes = []light.TimeOfDay{light.TimeOfDay(8 * time.Hour), light.TimeOfDay(20 * time.Hour)}
)

const floodLasts = 15 * time.Minute

func (w *World) place(name string) *bin {
	for i := range w.places {
		if w.places[i].Name == name {
			return &w.places[i]
		}
	}
	return nil
}
