package main

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/journal"
	"ductwarden/controller/publish"
)

// demoShopWith is the demo shop with another line for its page.
func demoShopWith(t *testing.T, page string) []byte {
	t.Helper()
	line := regexp.MustCompile(`(?m)^page: .*$`)
	require.Regexp(t, line, string(demoShop))
	return line.ReplaceAll(demoShop, []byte(page))
}

// TestARehearsalIsScraped asks a running rehearsal for its figures as a scraper does: no session, no page.
func TestARehearsalIsScraped(t *testing.T) {
	file := filepath.Join(t.TempDir(), "shop.yaml")
	require.NoError(t, os.WriteFile(file, demoShopWith(t, `page: {listen: "127.0.0.1:8480", viewing: open}`), 0o600))
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var out writer
	go run(ctx, []string{"rehearse", file, "--speed", "20", "--page", "127.0.0.1:0"}, strings.NewReader(""), &out, &out)
	address := regexp.MustCompile(`http://[0-9.:]+/`)
	require.Eventually(t, func() bool { return address.MatchString(out.String()) }, 20*time.Second, 20*time.Millisecond, "%s", &out)
	url := address.FindString(out.String()) + "metrics"
	var text string
	require.Eventually(t, func() bool {
		r, err := http.Get(url)
		if err != nil {
			return false
		}
		defer r.Body.Close()
		b, _ := io.ReadAll(r.Body)
		text = string(b)
		return strings.Contains(text, "ductwarden_collector_starts_total{collector=\"collector\"} 1")
	}, 20*time.Second, 50*time.Millisecond, "%s", &text)
	assert.Contains(t, text, `ductwarden_mode{mode="on_duty"} 1`)
	assert.Regexp(t, `ductwarden_machine_starts_total\{machine="[a-z-]+"\} 1`, text)
	assert.NotContains(t, text, "ductwarden_mqtt_connected", "a figure of what is not there")
}

func TestFiguresNeedALogin(t *testing.T) {
	file := filepath.Join(t.TempDir(), "shop.yaml")
	require.NoError(t, os.WriteFile(file, demoShopWith(t, `page: {listen: "127.0.0.1:8480"}`), 0o600))
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var out writer
	go run(ctx, []string{"rehearse", file, "--page", "127.0.0.1:0"}, strings.NewReader(""), &out, &out)
	address := regexp.MustCompile(`http://[0-9.:]+/`)
	require.Eventually(t, func() bool { return address.MatchString(out.String()) }, 20*time.Second, 20*time.Millisecond, "%s", &out)
	r, err := http.Get(address.FindString(out.String()) + "metrics")
	require.NoError(t, err)
	r.Body.Close()
	assert.Equal(t, http.StatusUnauthorized, r.StatusCode)
}

// stateOfGate is a snapshot with one gate.
func stateOfGate(at int64, state string, proved bool) *controller.Snapshot {
	return &controller.Snapshot{AtMS: at, Gates: []controller.GateSnapshot{{ID: "planer", State: state, Proved: proved}}}
}

func TestStrokesAreTimedWhereTheyAreProved(t *testing.T) {
	f, err := newFigures(&publish.Totals{}, nil)
	require.NoError(t, err)
	for _, s := range []*controller.Snapshot{
		stateOfGate(0, "closed", true), stateOfGate(1000, "opening", false), stateOfGate(1250, "opening", false), stateOfGate(1800, "open", true),
		stateOfGate(5000, "closing", false), stateOfGate(5700, "closed", false), // assumed, not seen
		stateOfGate(6000, "opening", false), stateOfGate(9000, "failed", false), stateOfGate(9500, "open", true),
	} {
		f.note(s)
	}
	text := scraped(t, f)
	assert.Contains(t, text, "ductwarden_gate_stroke_seconds_count 1\n")
	assert.Contains(t, text, "ductwarden_gate_stroke_seconds_sum 0.8\n")
	assert.Contains(t, text, `ductwarden_gate_moves_total{gate="planer",result="failed"} 1`)
}

func scraped(t *testing.T, f *figures) string {
	t.Helper()
	w := httptest.NewRecorder()
	f.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	require.Equal(t, http.StatusOK, w.Code)
	return w.Body.String()
}

// TestTotalsOutliveTheProgram counts in one run, and goes on from there in the next.
func TestTotalsOutliveTheProgram(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	clock := time.Date(2031, 5, 6, 9, 0, 0, 0, time.UTC)
	j, err := journal.Open(path, "test", nil, func() time.Time { return clock })
	require.NoError(t, err)
	w := j.Watcher()
	for i, running := range []string{"idle", "running", "running", "idle", "running", "idle"} {
		state, phase := "closed", "off"
		if running == "running" {
			state, phase = "opening", "starting"
		}
		w.Note(&controller.Snapshot{AtMS: int64(i) * 10_000,
			Machines:   []controller.MachineSnapshot{{ID: "planer", State: running}},
			Gates:      []controller.GateSnapshot{{ID: "planer", State: state}},
			Collectors: []controller.CollectorSnapshot{{ID: "collector", Phase: phase}}})
	}
	w.End()
	require.NoError(t, j.Close())

	log := slog.New(slog.DiscardHandler)
	got := lifetime(path, log)
	assert.Equal(t, publish.MachineTotals{RunMS: 30_000, Starts: 2}, got.Machines["planer"])
	assert.Equal(t, publish.CollectorTotals{RunMS: 30_000, Starts: 2}, got.Collectors["collector"])
	assert.Equal(t, int64(2), got.Gates["planer"].Moves)
	f, err := newFigures(got, nil)
	require.NoError(t, err)
	f.note(&controller.Snapshot{Machines: []controller.MachineSnapshot{{ID: "planer", State: "idle"}}})
	f.note(&controller.Snapshot{AtMS: 10, Machines: []controller.MachineSnapshot{{ID: "planer", State: "running"}}})
	assert.Contains(t, scraped(t, f), `ductwarden_machine_starts_total{machine="planer"} 3`)
	assert.Equal(t, int64(2), got.Machines["planer"].Starts, "the seed is not changed")

	assert.Empty(t, lifetime("", log).Machines)
	assert.Empty(t, lifetime(filepath.Join(t.TempDir(), "none.db"), log).Machines, "a first start has no journal")
}

func TestPageURLIsOneThatOthersReach(t *testing.T) {
	for listen, want := range map[string]string{
		"127.0.0.1:8480": "", "[::1]:8480": "", "localhost:80": "", "192.0.2.7:8480": "http://192.0.2.7:8480/", ":8480": "http://workshop.local:8480/", "off": "",
	} {
		s := &config.Shop{Page: config.Page{Listen: listen, Names: []string{"workshop.local"}}}
		assert.Equal(t, want, pageURL(s), listen)
		s.Page.Cert = "page.pem"
		assert.Equal(t, strings.Replace(want, "http:", "https:", 1), pageURL(s), listen)
	}
}
