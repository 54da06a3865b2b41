package publish_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ductwarden/controller"
	"ductwarden/controller/publish"
	"ductwarden/gates"
)

// admission is one that was connected long ago, with everything allowed.
func admission(level publish.Commands) *publish.Admission {
	s := settings()
	s.Commands = level
	a := publish.NewAdmission(s, shopOfThree())
	a.Connected(moment(0))
	return a
}

func TestRequestsBecomeEvents(t *testing.T) {
	for _, c := range []struct {
		topic, payload string
		want           controller.Event
	}{
		{"finish", "", controller.Event{Kind: controller.FinishPressed}},
		{"finish", "press", controller.Event{Kind: controller.FinishPressed}},
		{"halt", "halt", controller.Event{Kind: controller.HaltPressed}},
		{"ready", "press", controller.Event{Kind: controller.ReadyPressed}},
		{"acknowledge", "", controller.Event{Kind: controller.Acknowledged, N: controller.Everything}},
		{"acknowledge", "everything", controller.Event{Kind: controller.Acknowledged, N: controller.Everything}},
		{"acknowledge", "gate_not_open/planer", controller.Event{Kind: controller.Acknowledged, N: uint8(controller.GateNotOpen)}},
		{"gate/lathe", "hold", controller.Event{Kind: controller.HoldGate, N: 1, V: 600_000}},
		{"gate/lathe", " hold 90s\n", controller.Event{Kind: controller.HoldGate, N: 1, V: 90_000}},
		{"gate/planer", "automatic", controller.Event{Kind: controller.SelectGate, N: 0, V: int32(gates.Automatic)}},
		{"collector/collector", "automatic", controller.Event{Kind: controller.SelectCollector, N: 0, V: int32(gates.Automatic)}},
		{"air/sweep", "press", controller.Event{Kind: controller.CallAir, N: 2, V: 180_000}},
		{"air/planer", "5m", controller.Event{Kind: controller.CallAir, N: 0, V: 300_000}},
		{"", `{"request":"hold","subject":"lathe","for":"2m","id":"7","more":[1]}`, controller.Event{Kind: controller.HoldGate, N: 1, V: 120_000}},
		{"", `{"v":1,"request":"halt","ts":"2026-03-02T07:30:09Z"}`, controller.Event{Kind: controller.HaltPressed}},
		{"", `{"request":"automatic","subject":"collector/collector","ts":1772436611.5}`, controller.Event{Kind: controller.SelectCollector, N: 0}},
	} {
		topic := strings.TrimSuffix(base+"request/"+c.topic, "/")
		_, e, no := admission(publish.CommandsStart).Admit(publish.Arrival{Topic: topic, Payload: []byte(c.payload)}, quiet(10_000), moment(10_000))
		require.Nil(t, no, "%s %q: %v", c.topic, c.payload, no)
		c.want.By = controller.FromNetwork
		assert.Equal(t, c.want, e, "%s %q", c.topic, c.payload)
	}
}

func TestRefusals(t *testing.T) {
	off := quiet(10_000)
	off.Gates[1].Selector, off.Collectors[0].Selector = "off", "off"
	for _, c := range []struct {
		name    string
		in      publish.Arrival
		level   publish.Commands
		snap    *controller.Snapshot
		at      int64
		want    publish.Code
		unclock bool
	}{
		{name: "retained", in: publish.Arrival{Topic: "finish", Retained: true}, want: publish.CodeRetained},
		{name: "delivered twice", in: publish.Arrival{Topic: "finish", Again: true}, want: publish.CodeReplayed},
		{name: "long", in: publish.Arrival{Topic: "finish", Payload: []byte(strings.Repeat("x", 1025))}, want: publish.CodeTooLong},
		{name: "not text", in: publish.Arrival{Topic: "finish", Payload: []byte{0xff, 0xfe}}, want: publish.CodeMalformed},
		{name: "a zero in it", in: publish.Arrival{Topic: "halt", Payload: []byte{0}}, want: publish.CodeMalformed},
		{name: "not JSON", in: publish.Arrival{Payload: []byte("hold")}, want: publish.CodeMalformed},
		{name: "a number for a word", in: publish.Arrival{Payload: []byte(`{"request":5}`)}, want: publish.CodeMalformed},
		{name: "a list", in: publish.Arrival{Payload: []byte(`[{"request":"halt"}]`)}, want: publish.CodeMalformed},
		{name: "next version", in: publish.Arrival{Payload: []byte(`{"v":2,"request":"halt"}`)}, want: publish.CodeMalformed},
		{name: "odd time", in: publish.Arrival{Payload: []byte(`{"request":"halt","ts":"yesterday"}`)}, want: publish.CodeMalformed},
		{name: "long id", in: publish.Arrival{Payload: []byte(`{"request":"halt","id":"` + strings.Repeat("i", 65) + `"}`)}, want: publish.CodeMalformed},
		{name: "late", in: publish.Arrival{Payload: []byte(`{"request":"halt","ts":"2026-03-02T07:30:04Z"}`)}, want: publish.CodeLate},
		{name: "early", in: publish.Arrival{Payload: []byte(`{"request":"hold","subject":"lathe","ts":"2026-03-02T07:31:04Z"}`)}, want: publish.CodeLate},
		{name: "clock not set", in: publish.Arrival{Payload: []byte(`{"request":"hold","subject":"lathe","ts":"2026-03-02T07:30:10Z"}`)}, want: publish.CodeLate, unclock: true},
		{name: "unknown verb", in: publish.Arrival{Topic: "start"}, want: publish.CodeUnknown},
		{name: "unknown verb in JSON", in: publish.Arrival{Payload: []byte(`{"request":"start"}`)}, want: publish.CodeUnknown},
		{name: "unknown gate", in: publish.Arrival{Topic: "gate/attic", Payload: []byte("hold")}, want: publish.CodeUnknown},
		{name: "unknown machine", in: publish.Arrival{Topic: "air/attic"}, want: publish.CodeUnknown},
		{name: "unknown collector", in: publish.Arrival{Topic: "collector/attic", Payload: []byte("automatic")}, want: publish.CodeUnknown},
		{name: "unknown alarm", in: publish.Arrival{Topic: "acknowledge", Payload: []byte("rain")}, want: publish.CodeUnknown},
		{name: "gate by hand", in: publish.Arrival{Topic: "gate/mortiser", Payload: []byte("hold")}, want: publish.CodeByHand},
		{name: "forever", in: publish.Arrival{Topic: "gate/lathe", Payload: []byte("hold 5h")}, want: publish.CodeMalformed},
		{name: "backwards", in: publish.Arrival{Topic: "gate/lathe", Payload: []byte("hold -5m")}, want: publish.CodeMalformed},
		{name: "no number", in: publish.Arrival{Topic: "air/planer", Payload: []byte("NaN")}, want: publish.CodeMalformed},
		{name: "raw motion", in: publish.Arrival{Topic: "gate/lathe", Payload: []byte("close")}, want: publish.CodeUnknown},
		{name: "time on a finish", in: publish.Arrival{Payload: []byte(`{"request":"finish","for":"1m"}`)}, want: publish.CodeMalformed},
		{name: "too many words", in: publish.Arrival{Topic: "gate/lathe", Payload: []byte("hold 10 m")}, want: publish.CodeMalformed},
		{name: "not offered: hold", in: publish.Arrival{Topic: "gate/lathe", Payload: []byte("hold")}, level: publish.CommandsStop, want: publish.CodeNotOffered},
		{name: "not offered: ready", in: publish.Arrival{Topic: "ready"}, level: publish.CommandsRequests, want: publish.CodeNotOffered},
		{name: "not offered: air", in: publish.Arrival{Topic: "air/planer"}, level: publish.CommandsRequests, want: publish.CodeNotOffered},
		{name: "just connected", in: publish.Arrival{Topic: "gate/lathe", Payload: []byte("hold")}, at: 1999, want: publish.CodeTooEarly},
		{name: "gate in Off", in: publish.Arrival{Topic: "gate/lathe", Payload: []byte("hold")}, snap: off, want: publish.CodeOff},
		{name: "gate in Off, automatic", in: publish.Arrival{Topic: "gate/lathe", Payload: []byte("automatic")}, snap: off, want: publish.CodeOff},
		{name: "collector in Off", in: publish.Arrival{Topic: "collector/collector", Payload: []byte("automatic")}, snap: off, want: publish.CodeOff},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.level == 0 {
				c.level = publish.CommandsStart
			}
			if c.at == 0 {
				c.at = 10_000
			}
			if c.snap == nil {
				c.snap = quiet(c.at)
			}
			c.in.Topic = strings.TrimSuffix(base+"request/"+c.in.Topic, "/")
			m := moment(c.at)
			m.Synced = !c.unclock
			a := admission(c.level)
			r, _, no := a.Admit(c.in, c.snap, m)
			require.NotNil(t, no)
			assert.Equal(t, c.want, no.Code, no.Text)
			assert.NotEmpty(t, no.Text)
			answer := doc(t, settings().Answer(r, no, m).Payload)
			assert.Equal(t, false, answer["accepted"])
			assert.Equal(t, string(c.want), answer["code"])
			var counted int64
			for _, codes := range a.Counts {
				counted += codes[c.want]
			}
			assert.Equal(t, int64(1), counted, "counted once")
		})
	}
}

func TestAStopIsTakenWhereOthersAreNot(t *testing.T) {
	a := admission(publish.CommandsStop)
	_, e, no := a.Admit(publish.Arrival{Topic: base + "request/halt"}, nil, moment(5))
	require.Nil(t, no, "no snapshot yet, only just connected")
	assert.Equal(t, controller.HaltPressed, e.Kind)
	m := moment(20)
	m.Synced = false
	_, _, no = a.Admit(publish.Arrival{Topic: base + "request", Payload: []byte(`{"request":"finish","ts":5}`)}, nil, m)
	require.Nil(t, no, "our clock is not set, so its time says nothing")
}

func TestTheSameIDDoesNothingTwice(t *testing.T) {
	a := admission(publish.CommandsStart)
	ask := func(id string, at int64) *publish.Refusal {
		_, _, no := a.Admit(publish.Arrival{Topic: base + "request", Payload: fmt.Appendf(nil, `{"request":"hold","subject":"lathe","id":%q}`, id)}, quiet(at), moment(at))
		return no
	}
	require.Nil(t, ask("a", 10_000))
	assert.Equal(t, publish.CodeReplayed, ask("a", 20_000).Code)
	require.Nil(t, ask("b", 20_000))
	require.Nil(t, ask("a", 10_000+11*60_000), "after its time it may be used again")
	for i := range 3000 { // what is remembered is bounded
		ask(fmt.Sprint("x", i), 800_000)
	}
	assert.Equal(t, publish.CodeTooMany, ask("new", 800_000).Code)
}

func TestAFloodLetsAFewThroughAndCountsTheRest(t *testing.T) {
	a := admission(publish.CommandsStart)
	through := 0
	for i := range int64(10_000) { // ten seconds, a thousand a second
		at := 10_000 + i
		if _, _, no := a.Admit(publish.Arrival{Topic: base + "request/gate/lathe", Payload: []byte("hold")}, quiet(at), moment(at)); no == nil {
			through++
		}
	}
	assert.InDelta(t, 12, through, 1)
	assert.Equal(t, int64(10_000-through), a.Counts[publish.Hold][publish.CodeTooMany])
	_, _, no := a.Admit(publish.Arrival{Topic: base + "request/halt"}, quiet(20_000), moment(20_000))
	assert.Nil(t, no, "a flood of others does not drown a halt")
}

// Any bytes on any topic: no panic, a bounded answer, and nothing of a stranger's words in our counters.
func TestAnyBytes(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		a := admission(publish.CommandsRequests)
		for range 20 {
			in := publish.Arrival{
				Topic:    base + rapid.SampledFrom([]string{"request", "request/", "request/gate/lathe", "request/x/y/z", "request/acknowledge", "state"}).Draw(rt, "topic"),
				Payload:  rapid.SliceOfN(rapid.Byte(), 0, 1200).Draw(rt, "payload"),
				Retained: rapid.Bool().Draw(rt, "retained"),
			}
			r, e, no := a.Admit(in, quiet(10_000), moment(10_000))
			if no == nil && (e.Kind == controller.ReadyPressed || e.Kind == controller.CallAir || in.Retained) {
				rt.Fatalf("%+v was let through as %+v", in, e)
			}
			if got := len(settings().Answer(r, no, moment(10_000)).Payload); got > 600 {
				rt.Fatalf("an answer of %d bytes", got)
			}
		}
		for v := range a.Counts {
			if v != "" && !strings.Contains("finish halt acknowledge hold automatic ready air", string(v)) {
				rt.Fatalf("%q became a name", v)
			}
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"", "hold 10m", `{"request":"hold","subject":"lathe","for":"2m","ts":1e300}`, `{"ts":-1}`, "\xff"} {
		f.Add("request", s)
		f.Add("request/gate/lathe", s)
	}
	t := settings().Topics()
	f.Fuzz(func(tt *testing.T, leaf, payload string) {
		r, no := t.Parse(base+leaf, []byte(payload))
		if no == nil {
			if r.For < 0 || r.For > 4*time.Hour || int64(r.For/time.Millisecond) > math.MaxInt32 {
				tt.Fatalf("%q %q gave %s", leaf, payload, r.For)
			}
			_, _ = shopOfThree().Event(r)
		}
	})
}

func TestSamplesHaveTheirFamilies(t *testing.T) {
	labels := map[string]int{}
	for _, f := range publish.ShopFamilies() {
		labels[f.Name] = len(f.Labels)
		assert.NotEmpty(t, f.Help)
		assert.Equal(t, f.Kind == publish.Counter, strings.HasSuffix(f.Name, "_total"), f.Name)
	}
	seen := map[string]bool{}
	for _, s := range publish.Samples(cutting(1000), &publish.Totals{}) {
		n, ok := labels[s.Name]
		assert.True(t, ok, s.Name)
		assert.Len(t, s.Labels, n, s.Name)
		key := s.Name + strings.Join(s.Labels, " ")
		assert.False(t, seen[key], "%s twice", key)
		seen[key] = true
		seen[s.Name] = true
	}
	for name := range labels {
		assert.True(t, seen[name], "%s is never given", name)
	}
	assert.Empty(t, publish.Samples(nil, nil))
}
