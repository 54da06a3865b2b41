package publish_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ductwarden/controller"
	"ductwarden/controller/publish"
)

const base = "ductwarden/1/mossfen/"

func TestFirstSnapshotTellsEverythingRetained(t *testing.T) {
	o := publish.NewOutlet(settings(), shopOfThree(), nil)
	state, events := o.Take(quiet(1000), moment(1000))
	assert.Empty(t, events, "nothing has happened yet")
	got := byTopic(t, state)
	for _, m := range state {
		assert.True(t, m.Retained, m.Topic)
		assert.Equal(t, byte(1), m.QoS, m.Topic)
		assert.True(t, strings.HasPrefix(m.Topic, base), m.Topic)
	}
	for _, topic := range []string{"state/shop", "state/machine/planer", "state/gate/mortiser", "state/collector/collector", "state/air/collector", "state/duct/bench-run"} {
		require.Contains(t, got, base+topic)
		for key, v := range doc(t, got[base+topic].Payload) {
			switch v.(type) {
			case map[string]any, []any:
				t.Errorf("%s is not flat at %s", topic, key)
			}
		}
	}
	planer := doc(t, got[base+"state/machine/planer"].Payload)
	assert.Equal(t, map[string]any{"v": 1.0, "seq": planer["seq"], "ts": "2026-03-02T07:30:01.000Z", "mono_ms": 1000.0, "name": "thickness planer",
		"state": "idle", "running": false, "air_ready": false, "unserved": false, "health": "good", "until": nil, "current_a": 0.04,
		"share_percent": 0.0, "run_h": 0.0, "starts": 0.0}, planer)
	mortiser := doc(t, got[base+"state/gate/mortiser"].Payload)
	assert.Nil(t, mortiser["open"], "unknown is neither open nor closed")
	assert.Nil(t, mortiser["damper"])
	assert.Equal(t, "closed", string(got[base+"state/gate/planer/state"].Payload), "plain topics beside the document")
	assert.Equal(t, "0.04", string(got[base+"state/machine/planer/current_a"].Payload))
	assert.Empty(t, got[base+"state/gate/mortiser/open"].Payload, "a plain topic of an unknown value is cleared")
}

func TestNothingIsToldTwice(t *testing.T) {
	o := publish.NewOutlet(settings(), shopOfThree(), nil)
	o.Take(cutting(1000), moment(1000))
	for at := int64(1025); at < 30_000; at += 25 {
		state, events := o.Take(cutting(at), moment(at))
		require.Empty(t, state, "at %d ms", at)
		require.Empty(t, events)
	}
	state, _ := o.Take(cutting(40_000), moment(40_000))
	got := byTopic(t, state)
	assert.Len(t, got, 4, "only the hours of what runs have moved: %v", got)
	assert.Equal(t, 0.01, doc(t, got[base+"state/machine/planer"].Payload)["run_h"])
	assert.Contains(t, got, base+"state/collector/collector/run_h")
}

func TestAnEdgeIsToldAtOnceWithItsEvent(t *testing.T) {
	o := publish.NewOutlet(settings(), shopOfThree(), nil)
	o.Take(quiet(1000), moment(1000))
	state, events := o.Take(cutting(1010), moment(1010))
	got := byTopic(t, state)
	assert.Equal(t, true, doc(t, got[base+"state/machine/planer"].Payload)["running"])
	assert.NotContains(t, got, base+"state/machine/lathe", "the lathe has not changed")
	assert.NotContains(t, got, base+"state/machine/planer/name")
	var types []string
	for _, e := range events {
		assert.False(t, e.Retained, "what happened once must not come back")
		types = append(types, doc(t, e.Payload)["event_type"].(string)+" "+doc(t, e.Payload)["name"].(string))
	}
	assert.Equal(t, []string{"machine_running planer", "gate_open planer", "gate_closed lathe", "collector_running collector"}, types)
}

func TestAWaveringFigureIsToldOnceASecondAndByItsStep(t *testing.T) {
	s := settings()
	s.Plain = false
	o := publish.NewOutlet(s, shopOfThree(), nil)
	o.Take(quiet(0), moment(0))
	told := 0
	for at := int64(100); at <= 10_000; at += 100 { // ten times a second between 0.3 and 0.9 A
		snap := quiet(at)
		snap.Machines[0].CurrentA = ptr(0.3 + 0.6*float64(at/100%2))
		state, _ := o.Take(snap, moment(at))
		told += len(state)
	}
	assert.LessOrEqual(t, told, 10)
	assert.GreaterOrEqual(t, told, 5)
	calm := 0
	for at := int64(20_000); at <= 30_000; at += 100 { // less than the step
		snap := quiet(at)
		snap.Machines[0].CurrentA = ptr(0.90 + 0.05*float64(at/100%2))
		state, _ := o.Take(snap, moment(at))
		calm += len(state)
	}
	assert.LessOrEqual(t, calm, 1)
}

func TestAHeldFigureIsToldLater(t *testing.T) {
	o := publish.NewOutlet(settings(), shopOfThree(), nil)
	o.Take(quiet(0), moment(0))
	snap := quiet(200)
	snap.Machines[0].CurrentA = ptr(0.5)
	state, _ := o.Take(snap, moment(200))
	assert.Empty(t, state)
	assert.Empty(t, o.Again(moment(900)))
	got := byTopic(t, o.Again(moment(1000)))
	assert.Equal(t, "0.50", string(got[base+"state/machine/planer/current_a"].Payload))
}

func TestSmallStepsAddUp(t *testing.T) {
	o := publish.NewOutlet(settings(), shopOfThree(), nil)
	o.Take(quiet(0), moment(0))
	last := ""
	for i := int64(1); i <= 20; i++ {
		snap := quiet(i * 2000)
		snap.Machines[0].CurrentA = ptr(0.04 + 0.03*float64(i))
		state, _ := o.Take(snap, moment(i*2000))
		if m, ok := byTopic(t, state)[base+"state/machine/planer/current_a"]; ok {
			last = string(m.Payload)
		}
	}
	assert.Equal(t, "0.64", last)
}

func TestSmallStepsAddUpBesideOtherNews(t *testing.T) {
	o := publish.NewOutlet(settings(), shopOfThree(), nil)
	o.Take(quiet(0), moment(0))
	last := "0.04"
	for i := int64(1); i <= 20; i++ {
		snap := quiet(i * 2000)
		snap.Machines[0].CurrentA, snap.Machines[0].AirReady = ptr(0.04+0.03*float64(i)), i%2 == 0 // the document is told each time
		state, _ := o.Take(snap, moment(i*2000))
		if m, ok := byTopic(t, state)[base+"state/machine/planer/current_a"]; ok {
			last = string(m.Payload)
		}
	}
	assert.Contains(t, []string{"0.58", "0.61", "0.64"}, last, "the plain topic keeps up too")
}

func TestTimeLeftIsToldAsAnEndOnce(t *testing.T) {
	o := publish.NewOutlet(settings(), shopOfThree(), nil)
	at := func(ms, left int64) *controller.Snapshot {
		s := quiet(ms)
		s.Collectors[0].Phase, s.Collectors[0].LeftMS = "clearing", left
		return s
	}
	o.Take(at(0, 15_000), moment(0))
	for ms := int64(25); ms < 14_000; ms += 25 {
		state, _ := o.Take(at(ms, 15_000-ms+ms/25%3), moment(ms)) // wavers by milliseconds
		for _, m := range state {
			require.NotContains(t, m.Topic, "until", "at %d", ms)
		}
	}
	state, _ := o.Take(at(14_000, 30_000), moment(14_000))
	assert.Equal(t, "2026-03-02T07:30:44Z", string(byTopic(t, state)[base+"state/collector/collector/until"].Payload))
}

func TestAnAlarmComesAndIsCleared(t *testing.T) {
	o := publish.NewOutlet(settings(), shopOfThree(), nil)
	o.Take(quiet(0), moment(0))
	snap := quiet(1000)
	snap.Alarms = []controller.AlarmSnapshot{{Key: "gate_not_open/planer", Text: "gate planer did not open", ToDo: "look at it", Priority: "urgent", Active: true, SinceMS: 900}}
	state, events := o.Take(snap, moment(1000))
	got := byTopic(t, state)
	alarm := doc(t, got[base+"alarm/gate_not_open/planer"].Payload)
	assert.Equal(t, "look at it", alarm["to_do"])
	assert.Equal(t, "2026-03-02T07:30:00Z", alarm["since"])
	assert.Equal(t, "gate planer did not open", doc(t, got[base+"state/shop"].Payload)["alarm_text"])
	require.Len(t, events, 1)
	assert.Equal(t, "alarm_raised", doc(t, events[0].Payload)["event_type"])
	assert.Equal(t, []string{base + "alarm/gate_not_open/planer"}, o.Standing())

	state, events = o.Take(quiet(2000), moment(2000))
	cleared := byTopic(t, state)[base+"alarm/gate_not_open/planer"]
	assert.True(t, cleared.Retained)
	assert.Empty(t, cleared.Payload)
	require.Len(t, events, 1)
	assert.Equal(t, "alarm_gone", doc(t, events[0].Payload)["event_type"])
	assert.Empty(t, o.Standing())
}

func TestEverythingIsToldAnewWhenTheClockIsSet(t *testing.T) {
	o := publish.NewOutlet(settings(), shopOfThree(), nil)
	m := moment(1000)
	m.Synced = false
	first, _ := o.Take(quiet(1000), m)
	assert.Empty(t, o.Again(m))
	assert.Len(t, o.Again(moment(2000)), len(first))
}

func TestLongSentencesAreCutAtACharacter(t *testing.T) {
	o := publish.NewOutlet(settings(), shopOfThree(), nil)
	snap := quiet(0)
	snap.Why = strings.Repeat("ä", 400)
	state, _ := o.Take(snap, moment(0))
	why := string(byTopic(t, state)[base+"state/shop/why"].Payload)
	assert.LessOrEqual(t, len(why), 255)
	assert.Equal(t, strings.ToValidUTF8(why, "?"), why)
}

// Whatever snapshots come, the documents told last are those of the last snapshot, in every fact.
func TestWhatWasToldLastIsTrue(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := settings()
		s.Plain = rapid.Bool().Draw(rt, "plain")
		o := publish.NewOutlet(s, shopOfThree(), nil)
		held := map[string]string{}
		var snap *controller.Snapshot
		at := int64(0)
		for range rapid.IntRange(1, 30).Draw(rt, "steps") {
			at += rapid.Int64Range(1, 3000).Draw(rt, "pause")
			snap = quiet(at)
			snap.Mode = rapid.SampledFrom([]string{"standing_by", "on_duty", "halted"}).Draw(rt, "mode")
			for i := range snap.Machines {
				snap.Machines[i].State = rapid.SampledFrom([]string{"unknown", "idle", "running", "running_down"}).Draw(rt, "machine")
				snap.Machines[i].CurrentA = ptr(rapid.Float64Range(0, 9).Draw(rt, "amperes"))
			}
			snap.Gates[1].State = rapid.SampledFrom([]string{"opening", "open", "closing", "closed", "failed", "unknown"}).Draw(rt, "gate")
			if rapid.Bool().Draw(rt, "alarm") {
				snap.Alarms = []controller.AlarmSnapshot{{Key: "no_air/lathe", Active: true, Priority: "high"}}
			}
			state, _ := o.Take(snap, moment(at))
			for _, m := range state {
				held[m.Topic] = string(m.Payload)
				if len(m.Payload) == 0 {
					delete(held, m.Topic)
				}
			}
		}
		fresh, _ := publish.NewOutlet(s, shopOfThree(), nil).Take(snap, moment(at))
		want := 0
		for _, m := range fresh {
			if len(m.Payload) == 0 {
				continue
			}
			want++
			got, ok := held[m.Topic]
			if !ok {
				rt.Fatalf("%s was never told", m.Topic)
			}
			if strings.Contains(m.Topic, "current_a") || strings.Contains(m.Topic, "run_h") || strings.Contains(m.Topic, "starts") || strings.Contains(m.Topic, "moves") {
				continue
			}
			if m.Payload[0] != '{' {
				if got != string(m.Payload) {
					rt.Fatalf("%s is told as %q and is %q", m.Topic, got, m.Payload)
				}
				continue
			}
			is, was := doc(t, m.Payload), doc(t, []byte(got))
			for k, v := range is {
				switch k {
				case "seq", "ts", "mono_ms", "current_a", "run_h", "starts", "moves":
				default:
					if was[k] != v {
						rt.Fatalf("%s: %s is told as %v and is %v", m.Topic, k, was[k], v)
					}
				}
			}
		}
		if len(held) != want {
			rt.Fatalf("%d topics are held, %d exist", len(held), want)
		}
	})
}

func TestTotals(t *testing.T) {
	var n publish.Totals
	seed := publish.Totals{Machines: map[string]publish.MachineTotals{"planer": {RunMS: 3600_000, Starts: 4}}}
	o := publish.NewOutlet(settings(), shopOfThree(), &seed)
	o.Take(quiet(0), moment(0))
	o.Take(cutting(1000), moment(1000))
	creeping := cutting(5000)
	creeping.Collectors[0].Transport = "creeps"
	o.Take(creeping, moment(5000))
	failed := quiet(7000)
	failed.Gates[0].State = "failed"
	o.Take(failed, moment(7000))
	n = *o.Totals()
	assert.Equal(t, publish.MachineTotals{RunMS: 3606_000, Starts: 5}, n.Machines["planer"])
	assert.Equal(t, publish.GateTotals{Moves: 1, Failed: 1}, n.Gates["planer"])
	assert.Equal(t, publish.GateTotals{Moves: 2}, n.Gates["lathe"])
	assert.Equal(t, publish.CollectorTotals{RunMS: 6000, Starts: 1}, n.Collectors["collector"])
	assert.Equal(t, int64(1), n.NotCarried["creeps"])
	assert.Equal(t, int64(4), seed.Machines["planer"].Starts, "the seed is not ours to change")
}
