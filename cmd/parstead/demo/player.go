package demo

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"time"

	"parstead/ingest"
	"parstead/light"
)

// Setup is what a daemon that takes part in a season is given.
type Setup struct {
	Clock ingest.Clock
	// Watch must wrap what takes the broker's deliveries: the season's clock
	// moves on when every message of a tick has got its time of arrival.
	Watch func(ingest.Taker) ingest.Taker
}

// Daemon is a daemon that a season is played to.
type Daemon interface {
	Broker() string // host:port that devices connect to
	Note(context.Context, light.Event) error
	Stop() error // orderly; what was acknowledged is on disk
}

// Played counts what a season was.
type Played struct {
	Ticks, Messages, Notes, Starts int
}

// Player publishes a world's season to a daemon, tick by tick.
type Player struct {
	World *World
	// Start starts a daemon on the trial's folder; it is called again after the
	// power cut.
	Start    func(context.Context, Setup) (Daemon, error)
	Progress func(ticks int) // called after every tick with the number passed; nil: not

	clock   clock
	daemon  Daemon
	devices map[string]*publisher
	taken   atomic.Uint64 // deliveries that were stamped
	due     atomic.Uint64 // deliveries that are to be stamped before the clock moves
	stamped chan struct{} // nudged when all that are due were
	ended   chan struct{} // nudged when a device's connection ends
	pending []light.Event
	played  Played
}

// Ticks is how many ticks the season has.
func (p *Player) Ticks() int { return int(p.World.Rack.Trial().Length() / Every) }

// Play plays the whole season and stops the daemon. Every message was
// acknowledged when it returns without an error.
func (p *Player) Play(ctx context.Context) (Played, error) {
	p.clock.zone = p.World.Rack.Zone
	p.stamped = make(chan struct{}, 1)
	p.pending = p.World.Notes()
	trial, season := p.World.Rack.Trial(), &p.World.season
	p.clock.set(trial.From)
	err := p.start(ctx)
	cut := season.cut
	var messages []Message
	for t := trial.From; err == nil && t.Before(trial.Until); t = t.Add(Every) {
		if !cut.From.IsZero() && cut.Holds(t) {
			if err = p.endure(ctx, cut); err != nil {
				break
			}
			cut = light.Span{}
			skipped := int(season.cut.Until.Sub(t) / Every)
			p.played.Ticks += skipped
			t = t.Add(time.Duration(skipped) * Every)
		}
		if !t.Before(season.clockRight) {
			p.clock.lag(0)
		}
		p.clock.set(t)
		if err = p.note(ctx, t); err == nil {
			messages = p.World.Messages(t, messages[:0])
			err = p.publish(ctx, messages)
		}
		p.played.Ticks++
		if p.Progress != nil {
			p.Progress(p.played.Ticks)
		}
	}
	if err == nil {
		p.clock.set(trial.Until)
		err = p.note(ctx, trial.Until)
	}
	return p.played, errors.Join(err, p.stop(ctx))
}

// endure sits through the power cut: the daemon dies with everything else, and
// comes back with a clock that did not run meanwhile.
func (p *Player) endure(ctx context.Context, cut light.Span) error {
	if err := p.stop(ctx); err != nil {
		return err
	}
	p.clock.set(cut.Until)
	p.clock.lag(clockBehind)
	return p.start(ctx)
}

func (p *Player) start(ctx context.Context) (err error) {
	p.devices = map[string]*publisher{}
	p.ended = make(chan struct{}, 1)
	p.due.Store(0)
	p.taken.Store(0)
	p.daemon, err = p.Start(ctx, Setup{Clock: p.clock.machine(), Watch: p.watch})
	if err == nil {
		p.played.Starts++
	}
	return err
}

// stop waits for the last acknowledgements, takes the devices off and ends the
// daemon.
func (p *Player) stop(ctx context.Context) error {
	var errs []error
	for _, d := range p.devices {
		errs = append(errs, d.drain(ctx), d.close())
	}
	p.devices = nil
	if p.daemon != nil {
		errs = append(errs, p.daemon.Stop())
	}
	p.daemon = nil
	return errors.Join(errs...)
}

// note hands the daemon what the grower has written by t.
func (p *Player) note(ctx context.Context, t time.Time) error {
	for len(p.pending) > 0 && !p.pending[0].Written.After(t) {
		if err := p.daemon.Note(ctx, p.pending[0]); err != nil {
			return fmt.Errorf("note %q: %w", p.pending[0].Text, err)
		}
		p.pending = p.pending[1:]
		p.played.Notes++
	}
	return nil
}

// publish sends a tick's messages, each from its device, and waits until all
// have got their time of arrival. Their acknowledgements may come later.
func (p *Player) publish(ctx context.Context, messages []Message) error {
	p.due.Add(uint64(len(messages)))
	p.played.Messages += len(messages)
	for _, m := range messages {
		name := device(m.Topic)
		d := p.devices[name]
		if d == nil {
			var err error
			if d, err = connect(ctx, p.daemon.Broker(), name, p.ended); err != nil {
				return err
			}
			p.devices[name] = d
		}
		if err := d.add(ctx, m); err != nil {
			return err
		}
	}
	for _, d := range p.devices {
		if err := d.flush(); err != nil {
			return err
		}
	}
	return p.await(ctx)
}

// device is who publishes a topic: all that belongs to one bin or tank.
func device(topic string) string {
	levels := strings.SplitN(topic, "/", 3)
	return strings.Join(levels[:2], "-")
}

// await waits until the daemon has stamped everything sent so far.
func (p *Player) await(ctx context.Context) error {
	patience := time.NewTimer(30 * time.Second)
	defer patience.Stop()
	for p.taken.Load() < p.due.Load() {
		select {
		case <-p.stamped:
		case <-ctx.Done():
			return ctx.Err()
		case <-p.ended:
			for name, d := range p.devices {
				select {
				case <-d.ended:
					return fmt.Errorf("%s: %w", name, d.lost())
				default:
				}
			}
		case <-patience.C:
			return errors.New("the daemon has taken no message for 30 s: see its log for the cause")
		}
	}
	return nil
}

// watch counts what the daemon takes.
func (p *Player) watch(next ingest.Taker) ingest.Taker { return &taker{next, p} }

type taker struct {
	ingest.Taker
	player *Player
}

// Take passes the delivery on; when that returns, it has its time of arrival.
func (t *taker) Take(d ingest.Delivery) {
	t.Taker.Take(d)
	if t.player.taken.Add(1) >= t.player.due.Load() {
		select {
		case t.player.stamped <- struct{}{}:
		default:
		}
	}
}
