package ingest

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// Reasons why a reading is refused at the door.
const (
	NoNumber       = "no_number"       // the payload holds no finite number for the sensor
	ImpossibleTime = "impossible_time" // far ahead of the clock, or long before the trial
	Duplicate      = "duplicate"       // same sensor, own time and value as one stored
	NoSensor       = "no_sensor"       // a topic beside the grid that a sensor's placeholders span
	NotKept        = "not_kept"        // the store fails, the queue is full and nobody will send it again
)

// Reasons why a reading is stored but not used.
const (
	Stale        = "stale"         // a broker's retained value, delivered on subscribing
	Untimed      = "untimed"       // without a time of its own: from a backlog, or where its feed says that it has one
	Conflict     = "conflict"      // another value of this sensor and time is stored already
	Saturated    = "saturated"     // a mark that sensors send in place of a measurement
	OutsideValid = "outside_valid" // beyond the sensor's valid range
)

// Each reason has a counter of each sensor from the start on, or the first refusal of a
// sensor would look like no increase.
var (
	rejections = []string{NoNumber, ImpossibleTime, Duplicate, NotKept}
	asides     = []string{Stale, Untimed, Conflict, Saturated, OutsideValid}
)

// unknown is the one label for whatever no sensor has, so that strangers can't
// add series.
const unknown = "unknown"

type metrics struct {
	stored, rejected, setAside *prometheus.CounterVec
	last                       *prometheus.GaugeVec
}

func newMetrics(reg prometheus.Registerer) *metrics {
	m := &metrics{
		stored: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "parstead_readings_stored_total",
			Help: "Readings written to the store.",
		}, []string{"sensor"}),
		rejected: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "parstead_readings_rejected_total",
			Help: "Readings refused at the door, by reason.",
		}, []string{"sensor", "reason"}),
		setAside: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "parstead_readings_set_aside_total",
			Help: "Readings stored but not used, by reason.",
		}, []string{"sensor", "reason"}),
		last: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "parstead_sensor_last_reading_timestamp_seconds",
			Help: "Time of the sensor's newest usable reading.",
		}, []string{"sensor"}),
	}
	m.rejected.WithLabelValues(unknown, NoSensor)
	if reg != nil {
		reg.MustRegister(m.stored, m.rejected, m.setAside, m.last)
	}
	return m
}

// of makes a sensor's counters, at zero, and gives that of what is stored. A sensor
// that was never heard has no time.
func (m *metrics) of(sensor string) (stored prometheus.Counter) {
	for _, reason := range rejections {
		m.rejected.WithLabelValues(sensor, reason)
	}
	for _, reason := range asides {
		m.setAside.WithLabelValues(sensor, reason)
	}
	return m.stored.WithLabelValues(sensor)
}

// heard tells when a sensor's newest usable reading was.
func (m *metrics) heard(sensor string, at time.Time) {
	m.last.WithLabelValues(sensor).Set(float64(at.UnixMilli()) / 1e3)
}

// RegisterConnected adds the gauge that tells whether the broker is connected.
func RegisterConnected(reg prometheus.Registerer, connected func() bool) {
	reg.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{
		Name: "parstead_broker_connected",
		Help: "1 while readings can come in from the broker, else 0.",
	}, func() float64 {
		if connected() {
			return 1
		}
		return 0
	}))
}
