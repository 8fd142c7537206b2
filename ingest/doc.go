// Package ingest takes readings in: it decodes what a broker delivers or a
// logger wrote, judges each reading, commits readings in groups and only then
// acknowledges them.
//
// An [Intake] is the one judged path. Deliveries come to it from a [Session]
// with another broker, from the embedded broker in ingest/broker, or from
// [Intake.Import]. The store behind it is a [Sink].
//
// The promise is at least once, and exactly once for readings that carry their
// own time: no reading that a publisher saw acknowledged is lost, whenever the
// process is killed.
// Of readings that nobody waits for (QoS 0) a kill loses at most what came in
// the last ten seconds: they linger, so that a rack at rest spares its card.
package ingest
