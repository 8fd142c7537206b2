package ingest_test

import (
	"errors"
	"fmt"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"parstead/ingest/broker"
)

// TestEmbeddedBrokerOverAFailingStore has a sensor with a store of its own
// publish while commits fail: by sending it again it gets everything in.
func TestEmbeddedBrokerOverAFailingStore(t *testing.T) {
	t.Parallel()
	for qos := byte(1); qos <= 2; qos++ {
		t.Run(fmt.Sprint("QoS ", qos), func(t *testing.T) {
			t.Parallel()
			sink := newStore()
			in := intake(t, sink, feed("a", "rack/a"))
			stopIntake := running(t, in.Run)
			e, err := broker.Open(broker.Config{Listen: "127.0.0.1:0", Taker: in, Log: quiet})
			if err != nil {
				t.Fatal(err)
			}
			stopBroker := running(t, e.Run)
			chip := publisher(t, "tcp://"+e.Addr().String(), func(o *paho.ClientOptions) {
				o.SetCleanSession(false).SetAutoReconnect(true).SetMaxReconnectInterval(50 * time.Millisecond)
			})
			publish(t, chip, "rack/a", qos, false, "0")
			if n := len(sink.all()); n != 1 {
				t.Fatalf("acknowledged with %d stored", n)
			}
			sink.setFail(errors.New("disk full"))
			for i := range 20 {
				// The token tells nothing here: this client's library completes it when
				// it sends the message again. That nothing is acknowledged is seen byte
				// by byte in ingest/broker.
				chip.Publish("rack/a", qos, false, fmt.Sprint(i+1))
			}
			eventually(t, "commits have failed, and what was sent again too", func() bool { return sink.failed() >= 3 })
			if n := len(sink.all()); n != 1 {
				t.Errorf("%d stored while commits fail", n)
			}
			sink.setFail(nil)
			for n := 21; ; n++ {
				seen := map[float64]bool{}
				for _, r := range sink.wait(t, n) {
					seen[r.Value] = true
				}
				if len(seen) == 21 {
					break
				}
			}
			chip.Disconnect(100)
			stopIntake()
			stopBroker()
		})
	}
}

// TestQoS0IsTakenToo publishes without acknowledgement.
func TestQoS0IsTakenToo(t *testing.T) {
	t.Parallel()
	sink := newStore()
	f := feed("chip", "rack/a")
	in := intake(t, sink, f)
	in.Linger = -1
	running(t, in.Run)
	e, err := broker.Open(broker.Config{Listen: "127.0.0.1:0", Taker: in, Log: quiet})
	if err != nil {
		t.Fatal(err)
	}
	running(t, e.Run)
	chip := publisher(t, "tcp://"+e.Addr().String())
	publish(t, chip, "rack/a", 0, true, "3")
	if got := sink.wait(t, 1); got[0].Mark != 0 || got[0].Value != 3 {
		t.Errorf("stored %+v", got)
	}
}
