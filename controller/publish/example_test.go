package publish_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/publish"
)

// shopOfThree is a small shop with everything that is published.
func shopOfThree() publish.Shop {
	return publish.Shop{
		Name: "Mossfen chair shop",
		Machines: []publish.Machine{
			{ID: "planer", Name: "thickness planer", Current: true, Share: true},
			{ID: "lathe", Name: "lathe", Current: true, Share: true},
			{ID: "sweep", Name: "floor sweep"},
		},
		Gates:      []publish.Gate{{ID: "planer", Name: "planer"}, {ID: "lathe", Name: "lathe"}, {ID: "mortiser", Name: "mortiser", Hand: true}},
		Collectors: []publish.Collector{{ID: "collector", Name: "collector", Judged: true, Suction: true}},
		Ducts:      []publish.Duct{{ID: "trunk", Name: "trunk", Collector: "collector"}, {ID: "bench-run", Name: "bench run", Collector: "collector"}},
	}
}

func settings() publish.Settings {
	return publish.Settings{Site: "mossfen", Plain: true, Discovery: publish.DiscoveryDevice, Commands: publish.CommandsRequests, Release: "1.2.3"}
}

func ptr[T any](v T) *T { return &v }

// quiet is that shop at rest.
func quiet(at int64) *controller.Snapshot {
	return &controller.Snapshot{
		AtMS: at, Shop: "Mossfen chair shop", Mode: "on_duty", Why: "nothing runs",
		Machines: []controller.MachineSnapshot{
			{ID: "planer", Name: "thickness planer", State: "idle", Health: "good", CurrentA: ptr(0.04), Share: ptr(0.0)},
			{ID: "lathe", Name: "lathe", State: "idle", Health: "good", CurrentA: ptr(0.02), Share: ptr(0.0)},
			{ID: "sweep", Name: "floor sweep", State: "idle", Health: "good"},
		},
		Gates: []controller.GateSnapshot{
			{ID: "planer", Name: "planer", State: "closed", Proved: true, StrokeMS: 640, Selector: "automatic"},
			{ID: "lathe", Name: "lathe", State: "open", Selector: "automatic"},
			{ID: "mortiser", Name: "mortiser", State: "unknown", Hand: true, Selector: "automatic"},
		},
		Collectors: []controller.CollectorSnapshot{
			{ID: "collector", Name: "collector", Phase: "off", Why: "nothing runs", Selector: "automatic", StartsLeft: 8, StartsHour: 8,
				Feedback: "still", Transport: "not_judged", FlowM3S: ptr(0.0), SuctionPa: ptr(0.0)},
		},
		Ducts: []controller.DuctSnapshot{
			{ID: "trunk", Name: "trunk", Collector: "collector", TransportMS: 21, Verdict: "not_judged"},
			{ID: "bench-run", Name: "bench run", Collector: "collector", TransportMS: 21, Verdict: "not_judged"},
		},
	}
}

// cutting is the planer at work.
func cutting(at int64) *controller.Snapshot {
	s := quiet(at)
	s.Why = "thickness planer runs"
	s.Machines[0].State, s.Machines[0].CurrentA, s.Machines[0].Share, s.Machines[0].AirReady = "running", ptr(6.21), ptr(1.02), true
	s.Gates[0].State, s.Gates[0].Role = "open", "needed"
	s.Gates[1].State, s.Gates[1].Proved = "closed", false
	c := &s.Collectors[0]
	c.Phase, c.Why, c.StartsLeft, c.Feedback, c.Transport = "running", "thickness planer runs", 7, "turning", "carries"
	c.Margin, c.Weakest, c.FlowM3S, c.SuctionPa = ptr(0.09), "trunk", ptr(0.45), ptr(1320.0)
	s.Ducts[0].VelocityMS, s.Ducts[0].Carrying, s.Ducts[0].Verdict = 22.8, true, "carries"
	return s
}

func moment(at int64) publish.Moment {
	start := time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)
	return publish.Moment{MonoMS: at, Wall: start.Add(time.Duration(at) * time.Millisecond), Synced: true}
}

func doc(t *testing.T, payload []byte) map[string]any {
	t.Helper()
	var out map[string]any
	require.NoError(t, json.Unmarshal(payload, &out), "%s", payload)
	return out
}

func byTopic(t *testing.T, all []publish.Message) map[string]publish.Message {
	t.Helper()
	out := map[string]publish.Message{}
	for _, m := range all {
		require.NotContains(t, out, m.Topic, "told twice in one go")
		out[m.Topic] = m
	}
	return out
}
