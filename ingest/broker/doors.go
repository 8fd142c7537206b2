package broker

import (
	"net"
	"sync"
	"time"
)

const (
	tries    = 5           // wrong passwords before a host's door is shut
	shutFor  = time.Minute // and for how long
	maxHosts = 1024        // remembered at once
)

// doors slows the guessing of passwords.
type doors struct {
	mu    sync.Mutex
	wrong map[string]*knocks
}

type knocks struct {
	n    int
	last time.Time
}

// knock notes a wrong password.
func (d *doors) knock(from net.Addr) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.wrong == nil {
		d.wrong = map[string]*knocks{}
	}
	now := time.Now()
	if len(d.wrong) >= maxHosts {
		for host, k := range d.wrong {
			if now.Sub(k.last) > shutFor {
				delete(d.wrong, host)
			}
		}
		if len(d.wrong) >= maxHosts { // an attack from everywhere: begin anew
			clear(d.wrong)
		}
	}
	k := d.wrong[host(from)]
	if k == nil || now.Sub(k.last) > shutFor {
		k = &knocks{}
		d.wrong[host(from)] = k
	}
	k.n++
	k.last = now
}

// shut tells whether this host has guessed too often.
func (d *doors) shut(from net.Addr) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	k := d.wrong[host(from)]
	return k != nil && k.n >= tries && time.Since(k.last) <= shutFor
}

func host(a net.Addr) string {
	h, _, err := net.SplitHostPort(a.String())
	if err != nil {
		return a.String()
	}
	return h
}
