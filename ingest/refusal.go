package ingest

import (
	"slices"
	"time"
)

// Refusal is the record of a reading refused at the door.
type Refusal struct {
	At      time.Time
	Topic   string
	Sensor  string // "unknown" where no sensor has the topic
	Reason  string
	Detail  string // what is wrong, and where in the payload
	Payload string // its beginning
}

const (
	keptRefusals = 50              // records kept to be shown
	quietFor     = 5 * time.Minute // between log lines of one sensor and reason
	shownPayload = 80              // bytes
)

// Refusals lists the latest refusals, oldest first. All are counted in the
// metrics.
func (in *Intake) Refusals() []Refusal {
	in.mu.Lock()
	defer in.mu.Unlock()
	return slices.Clone(in.refusals)
}

// refuse counts, keeps and logs a refusal. The caller holds in.mu.
func (in *Intake) refuse(r *Refusal, d *Delivery, moment stamp) {
	in.metrics.rejected.WithLabelValues(r.Sensor, r.Reason).Inc()
	r.At, r.Topic, r.Payload = moment.now, d.Topic, string(d.Payload[:min(len(d.Payload), shownPayload)])
	if len(in.refusals) == keptRefusals {
		in.refusals = slices.Delete(in.refusals, 0, 1)
	}
	in.refusals = append(in.refusals, *r)
	complaint := [2]string{r.Sensor, r.Reason}
	if last, said := in.complained[complaint]; said && moment.uptime-last < quietFor {
		return
	}
	in.complained[complaint] = moment.uptime
	in.Log.Warn("reading refused", "sensor", r.Sensor, "reason", r.Reason, "detail", r.Detail, "topic", r.Topic, "payload", r.Payload)
}
