// Package account is the light account: what every position of a rack received
// on every light day, how that figure came to be, and how far it may be wrong.
//
// A position's light is its own sensor's; else the light map times the bin's
// sensors, combined by precision; else, without a map, the bin's sensors as they
// stand; else the light map, or the meter's reading, times the hours of the
// lamp's timer. Time that no reading bridges is filled from neighbouring days,
// else from the timer, else it stays missing.
package account

import (
	"context"
	"fmt"
	"runtime"
	"sync"
	"time"

	"parstead/light"
	"parstead/light/daylight"
	"parstead/light/field"
)

// Maps makes the light maps of one bin: field.Maps, or its like.
type Maps func(bin light.Bin, survey []field.Reading, epochs []light.Span, anchors func(time.Time) []field.Anchor) ([]field.Map, []string)

// Aside is a stretch of a sensor's readings that is not to be used.
type Aside struct {
	Sensor string
	During light.Span
}

// Options are what an account may be told beyond rack and readings.
type Options struct {
	Now      func() time.Time // ends a running day; nil: every day is over
	SetAside []Aside          // beside what the log says to ignore
	Maps     Maps             // nil: field.Kept, the account's own
	Suns     *daylight.Kept   // nil: the account's own
	Level    light.PPFD       // of PlantLight's hours above it; 0: not wanted
}

// Account answers for one rack out of one source of readings. It keeps no
// figures but light maps and which bins the sun reaches: every answer is computed
// from the readings, the log and the survey, and reads no more of them than it needs. It may be used by several goroutines
// at once.
type Account struct {
	rack *light.Rack
	src  light.Source
	o    Options
}

// New is an account of the rack's light.
func New(rack *light.Rack, src light.Source, o Options) *Account {
	if o.Maps == nil {
		o.Maps = new(field.Kept).Maps
	}
	if o.Suns == nil {
		o.Suns = new(daylight.Kept)
	}
	return &Account{rack, src, o}
}

// Days gives the light of every position whose light is known by any of the
// ways that the account has, for the light days from one date to another, both
// included, in the order of bin (as in the rack), row, column, date. A day that
// is running is counted so far, with shares of the time that has passed; days
// that have not begun are left out.
//
// Errors: what keeps a sensor's readings from meaning light, named by sensor or
// bin, and errors of the source.
func (a *Account) Days(ctx context.Context, from, to light.Date) ([]Day, error) {
	s, err := a.Season(ctx, from, to)
	if err != nil {
		return nil, err
	}
	return s.Days, nil
}

// Season is the light of some light days, with what stands behind it.
type Season struct {
	Days    []Day
	Maps    []MapInUse // by bin, then time
	Remarks []string   // whole sentences: what of surveys and sensors is not used, and why
	Suns    []string   // of these, the ones on bins that the sun reaches

	Surveyed // behind the maps; Remarks hold their doubts too
}

// Season is Days together with the light maps that were used and what was left
// out of account: it reads nothing more than Days does.
func (a *Account) Season(ctx context.Context, from, to light.Date) (*Season, error) {
	bins, err := a.bins(ctx, a.frame(from, to, nil), nil)
	if err != nil {
		return nil, err
	}
	s := new(Season)
	var first []int // day of each bin
	n := 0
	for _, b := range bins {
		s.Maps = append(s.Maps, b.mapsInUse()...)
		s.add(b)
		first = append(first, n)
		n += len(b.places) * len(b.frame.dates)
	}
	s.Days = make([]Day, n)
	err = parallel(len(bins), func(i int) error {
		bins[i].days(s.Days[first[i]:])
		return nil
	})
	s.Remarks = a.remarks(bins)
	for _, b := range bins {
		if says := b.sunRemark(); says != "" {
			s.Suns = append(s.Suns, says)
		}
	}
	return s, err
}

// remarks says what of surveys and sensors is not used, and what is wanting.
func (a *Account) remarks(bins []*bin) (remarks []string) {
	for _, b := range bins {
		remarks = append(remarks, b.remarks...)
		for _, m := range b.mapsInUse() {
			if m.Method == "" {
				remarks = append(remarks, "Bin "+b.Name+": "+m.Words(a.rack.Zone)+".")
			}
		}
		if says := b.sunRemark(); says != "" {
			remarks = append(remarks, says)
		}
		remarks = append(remarks, b.refused()...)
		remarks = append(remarks, b.unheard()...)
		remarks = append(remarks, b.suspicions()...)
		remarks = append(remarks, b.drifting()...)
	}
	return remarks
}

// now is the instant up to which days have passed; zero where every day is over.
func (a *Account) now() time.Time {
	if a.o.Now == nil {
		return time.Time{}
	}
	return a.o.Now()
}

// frame is the stretch of time that is asked for: light days, each from its
// bound to the next.
type frame struct {
	dates  []light.Date
	bounds []int64 // one more than dates; the last is now if that day is running
	cuts   []int64 // further instants at which figures must be told apart
	now    int64   // end of the last day if it is running, else 0
}

func (a *Account) frame(from, to light.Date, cuts []int64) frame {
	f := frame{cuts: cuts}
	var now time.Time
	if a.o.Now != nil {
		now = a.o.Now()
	}
	for d := from; !to.Before(d); d = d.Add(1) {
		day := a.rack.Day(d)
		if !now.IsZero() && !day.From.Before(now) {
			break
		}
		if len(f.bounds) == 0 {
			f.bounds = append(f.bounds, day.From.UnixNano())
		}
		f.dates = append(f.dates, d)
		if !now.IsZero() && now.Before(day.Until) {
			f.now = now.UnixNano()
			f.bounds = append(f.bounds, f.now)
			break
		}
		f.bounds = append(f.bounds, day.Until.UnixNano())
	}
	return f
}

// bins computes the light of all bins over the frame, in parallel, and how long
// each place was above the levels.
func (a *Account) bins(ctx context.Context, f frame, levels []float64) ([]*bin, error) {
	if len(f.dates) == 0 {
		return nil, nil
	}
	events, err := a.src.Events(ctx)
	if err != nil {
		return nil, fmt.Errorf("read the log: %w", err)
	}
	standing := light.Standing(events)
	bins := make([]*bin, len(a.rack.Bins))
	err = parallel(len(bins), func(i int) error {
		b, err := a.bin(ctx, a.rack.Bins[i], standing, f)
		if err != nil {
			return err
		}
		bins[i] = b
		if b.large() {
			return nil
		}
		return b.compute(ctx, levels)
	})
	for _, b := range bins { // one after another: they share their work out, and each worker holds a whole series
		if err == nil && b.large() {
			err = b.compute(ctx, levels)
		}
	}
	return bins, err
}

// parallel runs n jobs on as many goroutines as there are processors.
func parallel(n int, job func(int) error) error {
	errs := make([]error, n)
	next := make(chan int)
	var workers sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		workers.Go(func() {
			for i := range next {
				errs[i] = job(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	workers.Wait()
	for _, err := range errs { // an error is one line: the first
		if err != nil {
			return err
		}
	}
	return nil
}
