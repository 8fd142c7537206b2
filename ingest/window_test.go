package ingest_test

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"slices"
	"strconv"
	"testing"
	"testing/synctest"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"parstead/ingest"
	"parstead/light"
)

// BenchmarkWindowOf20 is bound by the disk: a commit takes half a window. xbare
// is ours against bare commits of that many readings.
func BenchmarkWindowOf20(b *testing.B) {
	const n = 20000
	var bare []float64
	ratio(b, func(b *testing.B) time.Duration {
		b.Helper()
		url, done := window20(b, n)
		begin := time.Now()
		c, _ := counter(b, url, false)
		if err := <-done; err != nil {
			b.Fatal(err)
		}
		took := time.Since(begin)
		c.Disconnect(50)
		return took
	}, func(b *testing.B) time.Duration {
		b.Helper()
		url, done := window20(b, n)
		sink, open, stop := ours(b, url)
		begin := time.Now()
		open()
		if err := <-done; err != nil {
			b.Fatal(err)
		}
		took := time.Since(begin)
		stop()
		begin = time.Now()
		for range n / 10 {
			if _, err := sink.Append(b.Context(), make([]light.Reading, 10)); err != nil {
				b.Fatal(err)
			}
		}
		bare = append(bare, time.Since(begin).Seconds()/took.Seconds())
		b.Logf("%.0f readings a second", n/took.Seconds())
		return took
	})
	slices.Sort(bare)
	b.ReportMetric(bare[len(bare)/2], "xbare")
}

// BenchmarkWindowOf20AgainstWaiting is against a subscriber that commits and
// acknowledges 16 at a time. A window of 20 has nothing more to send by then but
// small writes, which the broker's system holds back until the last one is
// acknowledged (Nagle's algorithm, RFC 896), and the waiter's system puts that off
// (RFC 1122, section 4.2.3.2).
func BenchmarkWindowOf20AgainstWaiting(b *testing.B) {
	const n = 800
	ratio(b, func(b *testing.B) time.Duration {
		b.Helper()
		url, done := window20(b, n)
		begin := time.Now()
		c := waiter(b, url, openGroups(b))
		if err := <-done; err != nil {
			b.Fatal(err)
		}
		took := time.Since(begin)
		c.Disconnect(50)
		b.Logf("waiting: %.0f readings a second", n/took.Seconds())
		return took
	}, func(b *testing.B) time.Duration {
		b.Helper()
		url, done := window20(b, n)
		_, open, stop := ours(b, url)
		begin := time.Now()
		open()
		if err := <-done; err != nil {
			b.Fatal(err)
		}
		took := time.Since(begin)
		stop()
		return took
	})
}

// waiter is the bare subscriber that waits for 16 messages before each commit.
func waiter(b *testing.B, url string, sink ingest.Sink) paho.Client {
	b.Helper()
	var waiting []paho.Message
	c := paho.NewClient(paho.NewClientOptions().AddBroker(url).SetClientID("waiter").SetCleanSession(false).
		SetAutoAckDisabled(true).SetCustomOpenConnectionFn(bufferedConn).
		SetDefaultPublishHandler(func(_ paho.Client, m paho.Message) {
			if waiting = append(waiting, m); len(waiting) < 16 {
				return
			}
			if _, err := sink.Append(b.Context(), make([]light.Reading, len(waiting))); err != nil {
				b.Error(err)
			}
			for _, m := range waiting {
				m.Ack()
			}
			waiting = waiting[:0]
		}))
	if token := c.Connect(); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		b.Fatal(token.Error())
	}
	return c
}

// window20 is a broker that keeps strictly to a window of 20, as mosquitto does
// by default from 2.0.13 on; the 2.0.11 of some systems lets it grow. Like that
// one it writes each message by itself and lets the system gather them. It brings
// n messages to whoever connects, and tells when the last is acknowledged.
func window20(b *testing.B, n int) (url string, done <-chan error) {
	b.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() {
		conn, err := l.Accept()
		if err != nil {
			ended <- err
			return
		}
		defer func() { _ = errors.Join(conn.Close(), l.Close()) }()
		_ = conn.(*net.TCPConn).SetNoDelay(false) // or the benchmarks' ratios tell
		ended <- bring(&raw{conn, bufio.NewReaderSize(conn, 64<<10)}, 20, n)
		_, _ = io.Copy(io.Discard, conn) // until it is hung up
	}()
	return "tcp://" + l.Addr().String(), ended
}

// bring is that broker on one connection, with a window of any size.
func bring(c *raw, window, n int) error {
	for _, answer := range [][]byte{{0x20, 2, 1, 0}, nil} {
		first, rest, err := c.receive() // CONNECT, then SUBSCRIBE
		if err != nil {
			return err
		}
		if first == 0x82 {
			answer = packet(0x90, append(rest[:2:2], make([]byte, filtersIn(rest))...))
		}
		if _, err := c.Write(answer); err != nil {
			return err
		}
	}
	now := time.Now().Unix() - int64(n)
	send := func(i int) error {
		payload := `{"light":{"ppfd":` + strconv.Itoa(i%1000) + `.5},"at":` + strconv.FormatInt(now+int64(i), 10) + `}`
		_, err := c.Write(publishPacket("rack/"+strconv.Itoa(i%topics), payload, 1, uint16(i%60000+1)))
		return err
	}
	sent, acked := 0, 0
	for ; sent < min(window, n); sent++ {
		if err := send(sent); err != nil {
			return err
		}
	}
	for acked < n {
		first, rest, err := c.receive()
		if err != nil {
			return err
		}
		switch first {
		case 0x40:
			acked++
			if sent < n {
				if err := send(sent); err != nil {
					return err
				}
				sent++
			}
		case 0x82: // more subscriptions
			if _, err := c.Write(packet(0x90, append(rest[:2:2], make([]byte, filtersIn(rest))...))); err != nil {
				return err
			}
		}
	}
	return nil
}

// A broker with a small window never waits for us while we wait for it: on a
// clock that moves only when everyone waits, a backlog takes no time at all.
func TestSmallWindowsNeverStall(t *testing.T) {
	t.Parallel()
	for _, window := range []int{1, 2, 10, 19, 20, 21, 100} {
		t.Run(fmt.Sprint(window), func(t *testing.T) {
			t.Parallel()
			synctest.Test(t, func(t *testing.T) {
				const n = 1000
				sink := newStore()
				in, err := ingest.New(ingest.Config{Sink: sink, Feeds: benchFeeds(), Clock: ingest.SystemClock(), Log: quiet})
				if err != nil {
					t.Fatal(err)
				}
				s, err := ingest.NewSession(ingest.SessionConfig{
					Remote: ingest.Remote{URL: "tcp://broker", ClientID: "ours"}, Filters: in.Filters(), Taker: in, Log: quiet,
				})
				if err != nil {
					t.Fatal(err)
				}
				ours, theirs := net.Pipe()
				s.Dial(func() (net.Conn, error) { return ours, nil })
				brought := make(chan error, 1)
				go func() { brought <- bring(&raw{theirs, bufio.NewReader(theirs)}, window, n) }()
				stopIntake, stopSession := running(t, in.Run), running(t, s.Run)
				begin := time.Now()
				if err := <-brought; err != nil {
					t.Fatal(err)
				}
				if took := time.Since(begin); took > 0 {
					t.Errorf("somebody waited for %v", took)
				}
				if got := len(sink.all()); got != n {
					t.Errorf("%d of %d readings", got, n)
				}
				t.Logf("%.1f readings a commit", n/float64(sink.commits))
				_ = theirs.Close() // it is at its end
				stopIntake()
				stopSession()
			})
		})
	}
}

// filtersIn counts the topic filters of a SUBSCRIBE.
func filtersIn(rest []byte) (n int) {
	for rest = rest[2:]; len(rest) > 2; n++ {
		rest = rest[3+int(binary.BigEndian.Uint16(rest)):]
	}
	return n
}
