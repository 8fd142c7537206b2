package page

import (
	"context"
	"strconv"

	"github.com/prometheus/client_golang/prometheus"

	"parstead/light"
)

// Collector turns the State into metrics each time they are asked for; nothing
// is kept between two views.
type Collector struct {
	state func(context.Context) (*State, error)
}

// NewCollector is a collector over the same state that the page shows.
func NewCollector(state func(context.Context) (*State, error)) *Collector { return &Collector{state} }

var (
	position = []string{"bin", "row", "column"}

	today = prometheus.NewDesc("parstead_dli_moles_per_square_meter",
		"Light of the running light day so far.", position, nil)
	lastDay = prometheus.NewDesc("parstead_dli_last_day_moles_per_square_meter",
		"Daily light integral of the last whole light day.", position, nil)
	total = prometheus.NewDesc("parstead_light_total_moles_per_square_meter",
		"Light since the trial's start.", position, nil)
	coverage = prometheus.NewDesc("parstead_coverage_ratio",
		"Share of the running light day so far that readings cover.", []string{"bin"}, nil)
	target = prometheus.NewDesc("parstead_dli_target_moles_per_square_meter",
		"Daily light integral that the bin is meant to get; absent where none is set.", []string{"bin"}, nil)
	interval = prometheus.NewDesc("parstead_sensor_interval_seconds",
		"Time between readings that the trial's file states.", []string{"sensor"}, nil)
	active = prometheus.NewDesc("parstead_condition_active",
		"1 while a condition holds.", []string{"condition", "bin", "sensor"}, nil)
)

// newest are the metrics of what sensors measure. Light is told as PPFD and by
// position.
var newest = func() map[light.Quantity]*prometheus.Desc {
	all := map[light.Quantity]*prometheus.Desc{}
	for _, q := range light.Quantities() {
		m, ok := q.Metric()
		if !ok {
			continue
		}
		labels := []string{"bin", "sensor"}
		if q.IsLight() {
			labels = append(position[:3:3], "sensor")
		}
		all[q] = prometheus.NewDesc(m.Name, m.Help, labels, nil)
	}
	return all
}()

// Describe lists the metrics.
func (c *Collector) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range newest {
		ch <- d
	}
	for _, d := range []*prometheus.Desc{today, lastDay, total, coverage, target, interval, active} {
		ch <- d
	}
}

// Collect reads the state once.
func (c *Collector) Collect(ch chan<- prometheus.Metric) {
	s, err := c.state(context.Background())
	if err != nil {
		ch <- prometheus.NewInvalidMetric(today, err)
		return
	}
	gauge := func(d *prometheus.Desc, value float64, labels ...string) {
		ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, value, labels...)
	}
	for _, x := range s.Sensors {
		gauge(interval, x.Every.Seconds(), x.Name)
		if !x.Usable(s.Now) {
			continue
		}
		if p := x.Position; x.Measures.IsLight() {
			gauge(newest[light.QuantityPPFD], float64(x.PPFD), p.Bin, strconv.Itoa(p.Row), strconv.Itoa(p.Column), x.Name)
		} else if m, ok := x.Measures.Metric(); ok {
			gauge(newest[x.Measures], x.Value/m.Units, p.Bin, x.Name)
		}
	}
	for _, b := range s.Bins {
		gauge(coverage, b.Coverage, b.Name)
		if b.TargetDLI > 0 {
			gauge(target, float64(b.TargetDLI), b.Name)
		}
		for i, p := range b.Positions() {
			row, column := strconv.Itoa(p.Row), strconv.Itoa(p.Column)
			for _, f := range []struct {
				desc   *prometheus.Desc
				figure Figure
			}{{today, b.Cells[i].Today}, {lastDay, b.Cells[i].Yesterday}, {total, b.Cells[i].Total}} {
				if f.figure.Known {
					gauge(f.desc, float64(f.figure.DLI), p.Bin, row, column)
				}
			}
		}
	}
	for _, x := range s.Conditions {
		gauge(active, 1, string(x.Kind), x.Bin, x.Sensor)
	}
}
