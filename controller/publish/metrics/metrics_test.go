package metrics_test

import (
	"bufio"
	"io"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/broker"
	"ductwarden/controller/publish"
	"ductwarden/controller/publish/metrics"
)

func scrape(t *testing.T, m *metrics.Metrics) string {
	t.Helper()
	w := httptest.NewRecorder()
	m.Handler().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	b, err := io.ReadAll(w.Result().Body)
	require.NoError(t, err)
	require.Equal(t, 200, w.Code, "%s", b)
	return string(b)
}

func TestScrape(t *testing.T) {
	amperes, margin := 6.2, 0.09
	snap := &controller.Snapshot{Mode: "on_duty",
		Machines:   []controller.MachineSnapshot{{ID: "planer", State: "running", Health: "good", CurrentA: &amperes}},
		Gates:      []controller.GateSnapshot{{ID: "planer", State: "open"}},
		Collectors: []controller.CollectorSnapshot{{ID: "collector", Phase: "running", Transport: "carries", Margin: &margin, StartsLeft: 7}},
		Ducts:      []controller.DuctSnapshot{{ID: "trunk", VelocityMS: 22.8, Verdict: "carries"}}}
	m, err := metrics.New("1.2.3",
		metrics.Source{Families: publish.ShopFamilies(), Samples: func() []publish.Sample { return publish.Samples(snap, &publish.Totals{}) }},
		metrics.Source{Families: broker.Families(), Samples: func() []publish.Sample { return broker.Status{Connected: true}.Samples() }},
		metrics.Source{Families: broker.RequestFamilies(), Samples: func() []publish.Sample { return nil }})
	require.NoError(t, err)
	m.Scan(0.0002)
	m.Lag(0.001)
	m.Ack(0.001)
	m.Stroke(0.6)
	text := scrape(t, m)
	for _, line := range []string{
		`ductwarden_machine_running{machine="planer"} 1`, `ductwarden_machine_current_amperes{machine="planer"} 6.2`,
		`ductwarden_air_margin_ratio{collector="collector"} 0.09`, `ductwarden_air_velocity_meters_per_second{duct="trunk"} 22.8`,
		`ductwarden_collector_phase{collector="collector",phase="running"} 1`, `ductwarden_mqtt_connected 1`,
		`# TYPE ductwarden_collector_starts_total counter`, `ductwarden_control_scan_seconds_count 1`, `version="1.2.3"`,
	} {
		assert.Contains(t, text, line)
	}
	names := map[string]bool{}
	for _, all := range [][]publish.Family{publish.ShopFamilies(), broker.Families(), broker.RequestFamilies(), metrics.Families()} {
		for _, f := range all {
			assert.False(t, names[f.Name], "%s twice", f.Name)
			names[f.Name] = true
			assert.Regexp(t, regexp.MustCompile(`^ductwarden_[a-z0-9_]+$`), f.Name)
		}
	}
	for s := bufio.NewScanner(strings.NewReader(text)); s.Scan(); {
		if fields := strings.Fields(s.Text()); len(fields) > 3 && fields[1] == "TYPE" {
			assert.True(t, names[fields[2]], fields[2])
		}
	}
}

func TestASampleWithoutAFamilyIsNotSilent(t *testing.T) {
	m, err := metrics.New("x", metrics.Source{Samples: func() []publish.Sample { return []publish.Sample{{Name: "stray"}} }})
	require.NoError(t, err)
	w := httptest.NewRecorder()
	m.Handler().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	assert.NotContains(t, w.Body.String(), "stray 0")
	_, err = metrics.New("x", metrics.Source{Families: publish.ShopFamilies(), Samples: func() []publish.Sample { return nil }}, metrics.Source{Families: publish.ShopFamilies(), Samples: func() []publish.Sample { return nil }})
	assert.Error(t, err, "the same figures twice")
}

func BenchmarkObserve(b *testing.B) {
	m, err := metrics.New("x")
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		m.Scan(0.0003)
	}
}
