// Package metrics serves the shop's figures to a time-series scraper, in the text format that Prometheus
// reads. Figures are gathered when somebody asks, from the last snapshot and from counters: nothing is added
// to the control path but two histograms whose Observe never waits.
package metrics

import (
	"fmt"
	"net/http"
	"runtime"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"ductwarden/controller/publish"
)

// Source gives figures of its families when they are asked for. It must not wait for the control loop.
type Source struct {
	Families []publish.Family
	Samples  func() []publish.Sample
}

// Metrics is one registry with everything in it.
type Metrics struct {
	registry *prometheus.Registry

	scan, lag, ack, stroke prometheus.Histogram
}

// New makes the registry. version is the program's.
func New(version string, sources ...Source) (*Metrics, error) {
	m := &Metrics{registry: prometheus.NewRegistry()}
	histogram := func(name, help string, buckets []float64) prometheus.Histogram {
		return prometheus.NewHistogram(prometheus.HistogramOpts{Name: name, Help: help, Buckets: buckets})
	}
	fine := []float64{0.00005, 0.0001, 0.00025, 0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1}
	wide := []float64{0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1}
	m.scan = histogram(scanName, "time that one scan of the control loop took", fine)
	m.lag = histogram(lagName, "age of a state of the shop when it was laid out for the broker", wide)
	m.ack = histogram(ackName, "time from sending a message to the broker's acknowledgement", wide)
	m.stroke = histogram(strokeName, "time that a gate took from one end to the other", []float64{0.2, 0.4, 0.6, 0.8, 1, 1.5, 2, 3, 5, 10})
	build := prometheus.NewGauge(prometheus.GaugeOpts{Name: buildName, Help: "always 1; the version is in the label",
		ConstLabels: prometheus.Labels{"version": version, "go": runtime.Version()}})
	build.Set(1)
	for _, c := range []prometheus.Collector{m.scan, m.lag, m.ack, m.stroke, build} {
		if err := m.registry.Register(c); err != nil {
			return nil, fmt.Errorf("metrics: %w", err)
		}
	}
	for _, s := range sources {
		if err := m.registry.Register(newGatherer(s)); err != nil {
			return nil, fmt.Errorf("metrics: %w", err)
		}
	}
	return m, nil
}

const (
	buildName  = "ductwarden_build_info"
	scanName   = "ductwarden_control_scan_seconds"
	lagName    = "ductwarden_edge_to_publish_seconds"
	ackName    = "ductwarden_mqtt_ack_seconds"
	strokeName = "ductwarden_gate_stroke_seconds"
)

// Families are the figures that every registry has, beside those of its sources.
func Families() []publish.Family {
	return []publish.Family{
		{Name: buildName, Kind: publish.Gauge, Labels: []string{"version", "go"}},
		{Name: scanName, Kind: publish.Histogram}, {Name: lagName, Kind: publish.Histogram}, {Name: ackName, Kind: publish.Histogram},
		{Name: strokeName, Kind: publish.Histogram},
	}
}

// Scan notes how long a scan of the control loop took, in seconds.
func (m *Metrics) Scan(seconds float64) { m.scan.Observe(seconds) }

// Lag notes how old a state was when it was laid out for the broker, in seconds.
func (m *Metrics) Lag(seconds float64) { m.lag.Observe(seconds) }

// Ack notes how long the broker took to acknowledge, in seconds.
func (m *Metrics) Ack(seconds float64) { m.ack.Observe(seconds) }

// Stroke notes how long a gate took from one end to the other, in seconds.
func (m *Metrics) Stroke(seconds float64) { m.stroke.Observe(seconds) }

// Handler serves the figures.
func (m *Metrics) Handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{ErrorHandling: promhttp.ContinueOnError, MaxRequestsInFlight: 2})
}

// gatherer turns samples into what the library wants.
type gatherer struct {
	source Source
	desc   map[string]*prometheus.Desc
	kind   map[string]prometheus.ValueType
}

func newGatherer(s Source) *gatherer {
	g := &gatherer{s, map[string]*prometheus.Desc{}, map[string]prometheus.ValueType{}}
	for _, f := range s.Families {
		g.desc[f.Name] = prometheus.NewDesc(f.Name, f.Help, f.Labels, nil)
		g.kind[f.Name] = prometheus.GaugeValue
		if f.Kind == publish.Counter {
			g.kind[f.Name] = prometheus.CounterValue
		}
	}
	return g
}

// Describe names the families.
func (g *gatherer) Describe(c chan<- *prometheus.Desc) {
	for _, d := range g.desc {
		c <- d
	}
}

// Collect gathers one answer. A sample that fits no family is reported in the answer's error, not dropped.
func (g *gatherer) Collect(c chan<- prometheus.Metric) {
	for _, s := range g.source.Samples() {
		d, ok := g.desc[s.Name]
		if !ok {
			c <- prometheus.NewInvalidMetric(prometheus.NewInvalidDesc(fmt.Errorf("%s has no family", s.Name)), fmt.Errorf("%s has no family", s.Name))
			continue
		}
		metric, err := prometheus.NewConstMetric(d, g.kind[s.Name], s.Value, s.Labels...)
		if err != nil {
			metric = prometheus.NewInvalidMetric(d, err)
		}
		c <- metric
	}
}
