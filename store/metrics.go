package store

import "github.com/prometheus/client_golang/prometheus"

type metrics struct {
	commit prometheus.Histogram
}

func newMetrics(r prometheus.Registerer) *metrics {
	m := &metrics{
		commit: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name:    "parstead_store_commit_duration_seconds",
			Help:    "How long a commit to the database took, syncs to the disk included.",
			Buckets: prometheus.ExponentialBuckets(0.00025, 2, 16), // 0.25 ms, a fast disk, to 8 s, a failing card
		}),
	}
	r.MustRegister(m.commit)
	return m
}

// commitTimer times one commit; without metrics its result goes nowhere.
func (m *metrics) commitTimer() *prometheus.Timer {
	if m == nil {
		return prometheus.NewTimer(prometheus.ObserverFunc(func(float64) {}))
	}
	return prometheus.NewTimer(m.commit)
}
