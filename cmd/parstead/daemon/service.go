package daemon

import (
	"context"
	"net"
	"os"
	"strconv"
	"sync/atomic"
	"time"
)

// service speaks to a service manager that started the daemon: datagrams of
// NAME=VALUE to the socket that it names in the environment. The zero value
// speaks to nobody.
type service struct {
	socket string
	within time.Duration // a sign of life is due within this time; 0: never
	last   atomic.Int64  // beat, by the machine's clock, Unix nanoseconds
}

// fromEnvironment reads where the service manager listens and how often.
func (s *service) fromEnvironment() {
	s.socket = os.Getenv("NOTIFY_SOCKET")
	us, err := strconv.ParseInt(os.Getenv("WATCHDOG_USEC"), 10, 64)
	if pid := os.Getenv("WATCHDOG_PID"); err == nil && (pid == "" || pid == strconv.Itoa(os.Getpid())) {
		s.within = time.Duration(us) * time.Microsecond
	}
}

// say sends one assignment. Who does not listen misses it.
func (s *service) say(what string) {
	if s.socket == "" {
		return
	}
	name := s.socket
	if name[0] == '@' { // an abstract name
		name = "\x00" + name[1:]
	}
	conn, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: name, Net: "unixgram"})
	if err != nil {
		return
	}
	_, _ = conn.Write([]byte(what))
	_ = conn.Close()
}

// beat notes that housekeeping goes on.
func (s *service) beat() { s.last.Store(time.Now().UnixNano()) }

// rested is how long ago the last beat was.
func (s *service) rested() time.Duration { return time.Since(time.Unix(0, s.last.Load())) }

// keepAwake gives signs of life, as often as they are wanted, while healthy says
// so: a daemon that hangs is killed by its service manager and started again.
func (s *service) keepAwake(ctx context.Context, healthy func() error) error {
	if s.within <= 0 {
		return nil
	}
	tick := time.NewTicker(s.within / 3)
	defer tick.Stop()
	for {
		if err := healthy(); err == nil {
			s.say("WATCHDOG=1")
		} else {
			s.say("STATUS=" + err.Error())
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}
