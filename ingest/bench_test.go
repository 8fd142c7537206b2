package ingest_test

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"net"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
	bolt "go.etcd.io/bbolt"
	"golang.org/x/sync/errgroup"

	"parstead/ingest"
	"parstead/ingest/broker"
	"parstead/ingest/wire"
	"parstead/light"
)

// Each benchmark runs a limit and the real thing in turn and reports the median
// of the paired ratios of their rates: 1 is as fast as the limit.

const pairs = 5

func ratio(b *testing.B, limit, ours func(b *testing.B) time.Duration) {
	b.Helper()
	var ratios []float64
	for b.Loop() {
		ratios = append(ratios, alternate(b, pairs, limit, ours)...)
	}
	report(b, ratios)
}

// alternate runs both sides in turn and returns the ratio of each pair.
func alternate(b *testing.B, pairs int, limit, ours func(b *testing.B) time.Duration) (ratios []float64) {
	b.Helper()
	for range pairs {
		a := limit(b)
		ratios = append(ratios, a.Seconds()/ours(b).Seconds())
	}
	return ratios
}

func report(b *testing.B, ratios []float64) {
	b.Helper()
	slices.Sort(ratios)
	b.ReportMetric(ratios[len(ratios)/2], "xlimit")
	b.ReportMetric(0, "ns/op")
	b.Logf("ratios %.2f", ratios)
}

// groups is a sink that writes each group as one record: the bare form of what
// a store does.
type groups struct {
	db       *bolt.DB
	readings atomic.Int64
	commits  atomic.Int64
}

func openGroups(b *testing.B) *groups {
	b.Helper()
	db, err := bolt.Open(filepath.Join(b.TempDir(), "bench.db"), 0o600, &bolt.Options{InitialMmapSize: 1 << 28})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = db.Close() })
	return &groups{db: db}
}

func (g *groups) Append(_ context.Context, group []light.Reading) ([]light.Fate, error) {
	record := make([]byte, 0, 20*len(group))
	for _, r := range group {
		record = binary.BigEndian.AppendUint16(record, uint16(len(r.Sensor)))
		record = binary.BigEndian.AppendUint64(record, uint64(r.At.UnixNano()))
		record = binary.BigEndian.AppendUint64(record, math.Float64bits(r.Value))
	}
	err := g.db.Update(func(tx *bolt.Tx) error {
		bucket, err := tx.CreateBucketIfNotExists([]byte("groups"))
		if err != nil {
			return err
		}
		n, err := bucket.NextSequence()
		if err != nil {
			return err
		}
		return bucket.Put(binary.BigEndian.AppendUint64(nil, n), record)
	})
	g.readings.Add(int64(len(group)))
	g.commits.Add(1)
	return make([]light.Fate, len(group)), err
}

const topics = 200

func benchFeeds() []ingest.Feed {
	var feeds []ingest.Feed
	for i := range topics {
		f := feed(fmt.Sprint("sensor ", i), fmt.Sprint("rack/", i))
		f.Value, f.Time, f.TimeFormat = "/light/ppfd", "/at", ingest.Unix
		feeds = append(feeds, f)
	}
	return feeds
}

// publishAll has some raw publishers send n messages each as fast as their
// window allows. Their payloads hold a number in JSON with its own time.
func publishAll(b *testing.B, address string, publishers, n, window int) {
	b.Helper()
	if err := sendAll(address, publishers, n, window); err != nil {
		b.Error(err)
	}
}

func sendAll(address string, publishers, n, window int) error {
	var all errgroup.Group
	for p := range publishers {
		all.Go(func() error {
			c, err := dialRaw(address, fmt.Sprint("bench-", p))
			if err != nil {
				return err
			}
			defer func() { _ = c.Close() }()
			w := wire.Wrap(c.Conn, 0, 1<<30)
			defer func() { w.Abort(); <-w.Done() }()
			now := time.Now().Unix() - int64(n)
			free := make(chan struct{}, window)
			done := make(chan error, 1)
			go func() {
				for range n {
					if _, err := c.acknowledged(); err != nil {
						done <- err
						return
					}
					<-free
				}
				done <- nil
			}()
			for i := range n {
				free <- struct{}{}
				payload := `{"light":{"ppfd":` + strconv.Itoa(i%1000) + `.5},"at":` + strconv.FormatInt(now+int64(i), 10) + `}`
				if _, err := w.Write(publishPacket("rack/"+strconv.Itoa((p*50+i)%topics), payload, 1, uint16(i%60000+1))); err != nil {
					return err
				}
			}
			return <-done
		})
	}
	return all.Wait()
}

// counter is the limit of a foreign broker: a paho subscriber that only counts.
func counter(b *testing.B, url string, buffered bool) (c paho.Client, count *atomic.Int64) {
	b.Helper()
	count = new(atomic.Int64)
	o := paho.NewClientOptions().AddBroker(url).SetClientID("counter").SetCleanSession(false).
		SetDefaultPublishHandler(func(paho.Client, paho.Message) { count.Add(1) })
	if buffered {
		o.SetCustomOpenConnectionFn(bufferedConn)
	}
	c = paho.NewClient(o)
	if token := c.Connect(); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		b.Fatal(token.Error())
	}
	if token := c.Subscribe("rack/+", 1, nil); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		b.Fatal(token.Error())
	}
	return c, count
}

func await(b *testing.B, n int64, count func() int64) {
	b.Helper()
	for until := time.Now().Add(2 * time.Minute); count() < n; time.Sleep(200 * time.Microsecond) {
		if time.Now().After(until) {
			b.Fatalf("%d messages of %d", count(), n)
		}
	}
}

// ours is our side: begin connects it to a foreign broker, stop ends it.
func ours(b *testing.B, url string) (sink *groups, begin, stop func()) {
	b.Helper()
	sink = openGroups(b)
	in := intake(b, sink, benchFeeds()...)
	stopIntake := running(b, in.Run)
	stopSession := func() {}
	begin = func() { _, stopSession = connect(b, in, ingest.Remote{URL: url, ClientID: "ours"}) }
	return sink, begin, func() { stopIntake(); stopSession() }
}

// forget ends the sessions that the broker keeps, so that one side's do not
// queue while the other runs.
func forget(b *testing.B, url string) {
	b.Helper()
	for _, id := range []string{"counter", "ours"} {
		c := publisher(b, url, func(o *paho.ClientOptions) { o.SetClientID(id).SetCleanSession(true) })
		c.Disconnect(50)
	}
}

// backlog measures the draining of what was queued for a session.
func backlog(b *testing.B, m *mosquitto, n int, buffered bool) {
	b.Helper()
	ratio(b, func(b *testing.B) time.Duration {
		b.Helper()
		forget(b, m.url())
		c, _ := counter(b, m.url(), buffered)
		c.Disconnect(50)
		publishAll(b, m.address, 4, n/4, 2000)
		begin := time.Now()
		c, count := counter(b, m.url(), buffered)
		await(b, int64(n), count.Load)
		took := time.Since(begin)
		c.Disconnect(50)
		return took
	}, func(b *testing.B) time.Duration {
		b.Helper()
		forget(b, m.url())
		_, open, stop := ours(b, m.url())
		open()
		stop()
		publishAll(b, m.address, 4, n/4, 2000)
		sink, open, stop := ours(b, m.url())
		begin := time.Now()
		open()
		await(b, int64(n), sink.readings.Load)
		took := time.Since(begin)
		b.Logf("%d readings in %d commits, %.0f a second", n, sink.commits.Load(), float64(n)/took.Seconds())
		stop()
		return took
	})
}

func BenchmarkBacklogWideWindow(b *testing.B) {
	backlog(b, startMosquitto(b, "max_inflight_messages 0"), 100000, true)
}

func BenchmarkBacklogWideWindowAgainstPlainCounting(b *testing.B) {
	backlog(b, startMosquitto(b, "max_inflight_messages 0"), 100000, false)
}

func BenchmarkBacklogDefaultWindow(b *testing.B) {
	backlog(b, startMosquitto(b), 40000, false)
}

// countingHook is the limit of the embedded broker.
type countingHook struct {
	guard
	count atomic.Int64
}

func (*countingHook) ID() string { return "counting" }
func (h *countingHook) Provides(b byte) bool {
	return h.guard.Provides(b) || b == mochi.OnPublish
}

func (h *countingHook) OnPublish(_ *mochi.Client, pk packets.Packet) (packets.Packet, error) {
	h.count.Add(1)
	return pk, nil
}

func BenchmarkEmbeddedBroker(b *testing.B) {
	const n = 200000
	ratio(b, func(b *testing.B) time.Duration {
		b.Helper()
		server, address := mochiBroker(b, "127.0.0.1:0", &countingHook{guard: guard{read: true}})
		begin := time.Now()
		publishAll(b, address, 4, n/4, 2000)
		took := time.Since(begin)
		_ = server.Close()
		return took
	}, func(b *testing.B) time.Duration {
		b.Helper()
		sink := openGroups(b)
		in := intake(b, sink, benchFeeds()...)
		stopIntake := running(b, in.Run)
		e, stopBroker := embedded(b, in)
		begin := time.Now()
		publishAll(b, e.Addr().String(), 4, n/4, 2000)
		took := time.Since(begin)
		stopIntake()
		stopBroker()
		b.Logf("%d commits, %.0f readings a second", sink.commits.Load(), n/took.Seconds())
		return took
	})
}

func embedded(b *testing.B, in *ingest.Intake) (*broker.Broker, func()) {
	b.Helper()
	e, err := broker.Open(broker.Config{Listen: "127.0.0.1:0", Taker: in, Log: quiet, Rate: 1e6})
	if err != nil {
		b.Fatal(err)
	}
	return e, running(b, e.Run)
}

// BenchmarkOneInFlight is bound by the disk, whose pace drifts from second to
// second: many short pairs.
func BenchmarkOneInFlight(b *testing.B) {
	const n = 50
	bare, sink := openGroups(b), openGroups(b)
	reading := []light.Reading{{Sensor: "a", At: time.Now(), Value: 1}}
	in := intake(b, sink, benchFeeds()...)
	stopIntake := running(b, in.Run)
	e, stopBroker := embedded(b, in)
	c, err := dialRaw(e.Addr().String(), "chip")
	if err != nil {
		b.Fatal(err)
	}
	var ratios []float64
	now, sent := time.Now().Unix(), 0
	for b.Loop() {
		ratios = append(ratios, alternate(b, 8*pairs, func(b *testing.B) time.Duration {
			b.Helper()
			begin := time.Now()
			for range n {
				if _, err := bare.Append(b.Context(), reading); err != nil {
					b.Fatal(err)
				}
			}
			return time.Since(begin)
		}, func(b *testing.B) time.Duration {
			b.Helper()
			begin := time.Now()
			for range n {
				sent++
				if _, err := c.Write(publishPacket("rack/7", fmt.Sprintf(`{"light":{"ppfd":85.5},"at":%d}`, now-int64(sent)), 1, uint16(sent%60000+1))); err != nil {
					b.Fatal(err)
				}
				if _, err := c.acknowledged(); err != nil {
					b.Fatal(err)
				}
			}
			return time.Since(begin)
		})...)
	}
	_ = c.Close()
	stopIntake()
	stopBroker()
	if c := sink.commits.Load(); c != int64(sent) {
		b.Errorf("%d commits for %d messages", c, sent)
	}
	report(b, ratios)
}

func BenchmarkTake(b *testing.B) {
	in := intake(b, newStore(), benchFeeds()...)
	in.Queue = math.MaxInt
	payload := fmt.Appendf(nil, `{"light":{"ppfd":85.5},"at":%d}`, time.Now().Unix())
	b.ReportAllocs()
	for b.Loop() {
		in.Take(ingest.Delivery{Topic: "rack/7", Payload: payload})
	}
}

// bufferedConn gives paho a connection that is buffered both ways.
func bufferedConn(u *url.URL, _ paho.ClientOptions) (net.Conn, error) {
	conn, err := net.Dial("tcp", u.Host)
	if err != nil {
		return nil, err
	}
	return wire.Wrap(conn, 64<<10, 16<<20), nil
}
