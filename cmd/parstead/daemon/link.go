package daemon

import (
	"fmt"
	"sync"
	"time"

	"parstead/ingest"
	"parstead/light"
	"parstead/light/watch"
)

const (
	awayFor  = 2 * time.Minute  // of another broker before it is told: it may just be starting anew
	shownFor = 10 * time.Minute // after a takeover, and after the broker's return: by then sensors are heard again
)

// link is how the daemon stands with another broker, and what its own one sees.
type link struct {
	mu    sync.Mutex
	state ingest.State
	lost  time.Time // since when there is no connection; zero while there is
	taken time.Time // when the session was last taken over
	away  time.Time // when the last long absence began
	back  time.Time // and when it ended; zero before the first one

	forgot  bool       // the broker knew nothing of this trial when it was back
	unheard time.Time  // what was kept last before the start; zero once the broker is connected
	open    light.Span // a stretch without a connection that is still to be judged
	missing string     // what it lacks for good; "" for nothing known
	found   time.Time
	logged  time.Time // found, when it was written into the log

	twin  string    // an id that two clients of the embedded broker use
	twice time.Time // when that was seen last
}

// twins notes that two clients of the embedded broker use one id.
func (l *link) twins(id string, now time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.twin, l.twice = id, now
}

// note takes down a change of the session's state.
func (l *link) note(s ingest.State, now time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.state = s
	switch {
	case s.Connected:
		if !l.lost.IsZero() && now.Sub(l.lost) >= awayFor {
			l.away, l.back = l.lost, now
		}
		if from := earlier(l.unheard, l.lost); !from.IsZero() && now.Sub(from) >= awayFor {
			l.open = light.Span{From: from, Until: now}
			if l.forgot = s.Forgot; l.forgot {
				l.open = light.Span{} // nothing was kept that could tell
			}
		}
		l.lost, l.unheard = time.Time{}, time.Time{}
	case l.lost.IsZero():
		l.lost = now
	}
	if s.TakenOver {
		l.taken = now
	}
}

// earlier is the earlier of two times, of which either may be zero.
func earlier(a, b time.Time) time.Time {
	if a.IsZero() || !b.IsZero() && b.Before(a) {
		return b
	}
	return a
}

// due is the stretch without a connection that can be judged by now.
func (l *link) due(now time.Time) (away light.Span, ok bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	away = l.open
	if away == (light.Span{}) || now.Sub(away.Until) < judgedAfter {
		return light.Span{}, false
	}
	l.open = light.Span{}
	return away, true
}

// lacks notes what a stretch without a connection lacks for good.
func (l *link) lacks(what string, now time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.missing, l.found = what, now
}

// unlogged is what is missing and not in the log yet; it then counts as logged.
func (l *link) unlogged() (what string, ok bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.missing == "" || l.logged.Equal(l.found) {
		return "", false
	}
	l.logged = l.found
	return l.missing, true
}

// condition tells what is wrong with the link to the broker at url.
func (l *link) condition(url string, now time.Time) (c watch.Condition, ok bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	c = watch.Condition{Kind: watch.Broker}
	switch {
	case l.twin != "" && now.Sub(l.twice) < shownFor:
		c.Since = l.twice
		c.Says = fmt.Sprintf("Two sensors call themselves %q at this trial's broker: each throws the other out whenever it connects.", l.twin)
		c.Do = "Give each sensor a client id of its own, in its own settings."
	case !l.taken.IsZero() && now.Sub(l.taken) < shownFor:
		c.Since = l.taken
		c.Says = fmt.Sprintf("The broker at %s closes the connection again and again: most likely another client uses the same client_id.", url)
		c.Do = "Stop the other client, or give this trial a client_id of its own in trial.toml. Until then readings come late."
	case !l.lost.IsZero() && now.Sub(l.lost) >= awayFor:
		c.Since = l.lost
		c.Says = fmt.Sprintf("The broker at %s can't be reached, so no reading comes in: %v.", url, l.state.Err)
		c.Do = "See that the broker runs and that the network holds. What it keeps for this trial comes in later; readings without a time of their own then count for nothing."
	case l.state.Connected && l.state.Err != nil:
		c.Since = l.state.Since
		c.Says = fmt.Sprintf("The broker at %s does not give all readings: %v.", url, l.state.Err)
		c.Do = "Change the permissions at the broker, or the topics in trial.toml."
	case l.missing != "" && now.Sub(l.found) < missedShown:
		c.Since = l.found
		c.Says = fmt.Sprintf("Readings are missing: %s (%s).", l.missing, url)
		c.Do = "Let the broker keep more messages for a client that is away. What a sensor has on a card of its own comes in with parstead import; all else is lost, and of sensors without a time of their own nobody can tell how much."
	case !l.back.IsZero() && now.Sub(l.back) < shownFor:
		c.Since = l.away
		c.Says = fmt.Sprintf("The broker at %s was away for %s and is back.", url, l.back.Sub(l.away).Round(time.Minute))
		c.Do = "See on the page that every sensor is heard again."
		if l.forgot {
			c.Says += " It had forgotten this trial: what it took from sensors meanwhile, if anything, is lost."
			c.Do += " Let the broker keep its sessions over a restart."
		}
	default:
		return watch.Condition{}, false
	}
	return c, true
}
