package ingest

import "time"

// Delivery is one message as a broker brought it.
type Delivery struct {
	Topic    string
	Payload  []byte // not kept after Take returns
	Retained bool   // from the broker's store on subscribing; a live publish with the retain flag is not
	Again    bool   // the publisher or broker says that it sends it a second time (MQTT's DUP flag)

	// Link numbers the connection that brought it. Direct says that it is the
	// publisher's own, and Away for how long that connection had been missing: a
	// backlog is recognised by them.
	Link   uint64
	Direct bool
	Away   time.Duration

	From Publisher // who waits for the acknowledgement; nil for nobody (QoS 0)
	ID   uint16    // the packet identifier that From knows it by
}

// Publisher is one connection that waits for acknowledgements.
type Publisher interface {
	// Acknowledge says that deliveries, in the order of their arrival, are on disk.
	// It must not block.
	Acknowledge(ids []uint16)

	// Drop says why deliveries are not on disk, and ends the connection, because a
	// redelivery is due only on reconnecting (MQTT 3.1.1, section 4.4). It must not
	// block.
	Drop(err error)
}

// Taker takes deliveries in. An Intake is one.
type Taker interface{ Take(Delivery) }
