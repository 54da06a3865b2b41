package alarm

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/plan"
)

func shop() *controller.Shop {
	return &controller.Shop{
		Machines:   []controller.Machine{{ID: "saw", Name: "table saw"}, {ID: "planer", Name: "thickness planer"}},
		Gates:      []controller.Gate{{ID: "saw", Name: "saw"}, {ID: "planer", Name: "planer"}},
		Collectors: []controller.Collector{{ID: "collector", Name: "collector"}},
		Ducts:      []controller.Duct{{ID: "main", Name: "main", Transport: 20_800}},
	}
}

func of(is controller.Condition, n uint8) []controller.Standing {
	return []controller.Standing{{Is: is, N: n, A: plan.NoDuct, B: plan.NoMachine}}
}

func shown(a *Alarms) (keys []string) {
	for _, s := range a.Fill(0, nil) {
		keys = append(keys, s.Key)
	}
	return keys
}

// The list is complete and says everything about every condition.
func TestTheListIsComplete(t *testing.T) {
	require.Len(t, List, len(controller.Conditions()))
	for i, c := range controller.Conditions() {
		e := List[i]
		assert.Equal(t, c, e.Is, "in the order of the conditions")
		for _, s := range []string{e.Text, e.Cause, e.Consequence, e.ToDo} {
			assert.NotEmpty(t, s, c)
			assert.False(t, strings.HasSuffix(s, "."), "no full stop: %s", s)
		}
		assert.Equal(t, c.Of() != controller.OfShop, strings.Contains(e.Text, "%s"), "%s names its subject", c)
		assert.GreaterOrEqual(t, e.On, controller.Span(0))
		assert.GreaterOrEqual(t, e.Off, controller.Span(0))
		assert.Equal(t, e.Latch, e.Latch && e.Stays, "what the core latches stays in the list: %s", c)
		if e.Horn {
			assert.Equal(t, Urgent, e.Priority, "a horn is for what is urgent: %s", c)
			assert.LessOrEqual(t, e.On, 2*second, "and comes at once: %s", c)
		}
		got, ok := Of(c)
		assert.True(t, ok)
		assert.Equal(t, e.Text, got.Text)
	}
	_, ok := Of(controller.NoCondition)
	assert.False(t, ok)
	assert.Equal(t, []string{"low", "high", "urgent"}, []string{Low.String(), High.String(), Urgent.String()})
}

// Every alarm can be raised and cleared: it appears after its delay, waits for its acknowledgement where the list says
// so, and leaves.
func TestEveryAlarmComesAndGoes(t *testing.T) {
	for _, e := range List {
		t.Run(e.Is.String(), func(t *testing.T) {
			n := uint8(0)
			if e.Is.Of() == controller.OfShop {
				n = controller.Everything
			}
			a := New(shop())
			next := a.Update(1000, of(e.Is, n))
			if e.On > 0 {
				assert.Empty(t, shown(a), "not before its delay")
				assert.Equal(t, 1000+controller.Instant(e.On), next)
				a.Update(next, of(e.Is, n))
			}
			s := a.Fill(0, nil)
			require.Len(t, s, 1)
			assert.True(t, strings.HasPrefix(s[0].Key, e.Is.String()))
			assert.True(t, s[0].Active)
			assert.Equal(t, "unacknowledged", s[0].State)
			assert.NotEmpty(t, s[0].Cause)
			assert.NotEmpty(t, s[0].Consequence)
			assert.False(t, s[0].Acknowledged)
			assert.NotContains(t, s[0].Text, "%!")
			assert.NotEmpty(t, s[0].ToDo)
			assert.Equal(t, e.Priority.String(), s[0].Priority)
			assert.True(t, a.Sounds())

			at := controller.Instant(100_000)
			if next = a.Update(at, nil); e.Off > 0 {
				assert.Equal(t, at+controller.Instant(e.Off), next)
				require.True(t, a.Fill(0, nil)[0].Active, "not gone before its delay")
				a.Update(next, nil)
			}
			if e.Stays {
				require.Len(t, shown(a), 1, "it waits for its acknowledgement")
				assert.False(t, a.Fill(0, nil)[0].Active)
				assert.Equal(t, "returned", a.Fill(0, nil)[0].State)
				a.Acknowledge(at, uint8(e.Is))
			}
			assert.Empty(t, shown(a))
			assert.False(t, a.Sounds())
		})
	}
}

func TestAcknowledgedWhileItStands(t *testing.T) {
	a := New(shop())
	a.Update(1, of(controller.GateNotOpen, 0))
	a.Acknowledge(2, controller.Everything)
	s := a.Fill(0, nil)
	require.Len(t, s, 1)
	assert.True(t, s[0].Acknowledged)
	assert.Equal(t, "acknowledged", s[0].State)
	assert.False(t, a.Sounds(), "somebody knows")
	a.Update(3, nil)
	assert.Empty(t, shown(a), "gone and acknowledged")
	a.Update(4, of(controller.GateNotOpen, 0))
	assert.True(t, a.Sounds(), "it has come again: nobody knows of that")
	a.Acknowledge(5, uint8(controller.NoAir))
	assert.True(t, a.Sounds(), "another one's acknowledgement")
}

func TestAConditionThatFlickersDoesNotAppear(t *testing.T) {
	a := New(shop())
	for at := controller.Instant(0); at < 60_000; at += 2000 {
		a.Update(at, of(controller.SensorLost, 1))
		a.Update(at+1000, nil)
	}
	assert.Empty(t, shown(a), "five seconds must pass")
	assert.Empty(t, a.lives, "and nothing is kept of it")
}

func TestAShopsOwnDelays(t *testing.T) {
	a := New(shop(), Delay{controller.BinFull, 20 * second, -1}, Delay{controller.FilterLoaded, -1, 3 * second})
	assert.EqualValues(t, 20_001, a.Update(1, of(controller.BinFull, 0)))
	a.Update(20_001, of(controller.BinFull, 0))
	assert.Equal(t, []string{"bin_full/collector"}, shown(a))
	assert.EqualValues(t, 35_000, a.Update(30_000, nil), "the list's own five seconds")
	a = New(shop(), Delay{controller.FilterLoaded, -1, 3 * second})
	a.Update(0, of(controller.FilterLoaded, 0))
	a.Update(60_000, of(controller.FilterLoaded, 0))
	assert.EqualValues(t, 73_000, a.Update(70_000, nil))
}

func TestShelved(t *testing.T) {
	a := New(shop())
	a.Update(1, of(controller.NoAir, 0))
	assert.ErrorContains(t, a.Shelve("no_air/saw", 5000, 10, ""), "say why")
	assert.ErrorContains(t, a.Shelve("no_air/saw", 10+controller.Instant(LongestShelf)+1, 10, "x"), "up to 8 h")
	assert.ErrorContains(t, a.Shelve("no_air/saw", 9, 10, "x"), "up to 8 h")
	assert.ErrorContains(t, a.Shelve("no_air/kettle", 5000, 10, "x"), "no alarm")
	require.NoError(t, a.Shelve("no_air/saw", 5000, 10, "the clamp is on order"))
	assert.Empty(t, shown(a))
	away := a.Away(1000, nil)
	require.Len(t, away, 1)
	assert.Equal(t, []any{"shelved", int64(4000), "the clamp is on order"}, []any{away[0].State, away[0].LeftMS, away[0].Reason})
	assert.Equal(t, 1, a.Shelved())
	assert.False(t, a.Sounds())
	assert.EqualValues(t, 5000, a.Update(20, of(controller.NoAir, 0)), "it wants to be called when the time is over")
	a.Update(5000, of(controller.NoAir, 0))
	assert.Equal(t, []string{"no_air/saw"}, shown(a), "it comes back by itself")
	assert.Zero(t, a.Shelved())
	require.NoError(t, a.Shelve("no_air/saw", 9000, 6000, "again"))
	require.NoError(t, a.Shelve("no_air/saw", 6000, 6000, ""), "taken back")
	a.Update(6000, of(controller.NoAir, 0))
	assert.Equal(t, "unacknowledged", a.Fill(0, nil)[0].State)
	require.NoError(t, a.Shelve("no_air/saw", 9000, 6000, "again"))
	a.Acknowledge(6500, controller.Everything)
	a.Update(7000, nil)
	assert.Equal(t, 1, a.Shelved(), "its shelf is kept while it lasts")
	a.Update(9000, nil)
	assert.Zero(t, a.Shelved())
	assert.Empty(t, a.lives)
}

func TestAShelvedAlarmThatComesAgainIsNew(t *testing.T) {
	a := New(shop())
	a.Update(1, of(controller.NoAir, 0))
	a.Acknowledge(2, controller.Everything)
	require.NoError(t, a.Shelve("no_air/saw", 5000, 3, "away"))
	a.Update(10, nil)
	a.Update(20, of(controller.NoAir, 0))
	a.Update(5000, of(controller.NoAir, 0))
	assert.True(t, a.Sounds(), "what was acknowledged was another time")
}

func TestFirstOut(t *testing.T) {
	a := New(shop())
	assert.Empty(t, a.First())
	cause := of(controller.GateChipSilent, 0)
	a.Update(1000, cause)
	a.Update(3000, cause)
	both := append(of(controller.NoAir, 0), cause...)
	a.Update(4000, both)
	assert.Equal(t, "gate_chip_silent/saw", a.First())
	assert.True(t, a.Fill(0, nil)[1].First)
	assert.Equal(t, []string{"no_air/saw", "gate_chip_silent/saw"}, shown(a), "the most urgent is shown first")
	a.Update(5000, of(controller.NoAir, 0))
	a.Update(8000, of(controller.NoAir, 0))
	assert.Equal(t, "gate_chip_silent/saw", a.First(), "gone, and still the first cause until somebody has seen it")
	a.Acknowledge(9000, uint8(controller.GateChipSilent))
	assert.Equal(t, "no_air/saw", a.First())
}

func TestTextsNameWhatIsKnown(t *testing.T) {
	text := func(s controller.Standing) (string, string) {
		a := New(shop())
		a.Update(1, []controller.Standing{s})
		a.Update(60_000, []controller.Standing{s})
		out := a.Fill(0, nil)
		require.Len(t, out, 1)
		return out[0].Text, out[0].ToDo
	}
	say, do := text(controller.Standing{Is: controller.DuctNotCarried, A: 0, B: 1, V: -2550})
	assert.Equal(t, "main is too slow: 75 % of its transport speed", say)
	assert.Equal(t, "stop thickness planer, or let it finish alone", do)
	say, do = text(controller.Standing{Is: controller.DuctNotCarried, A: plan.NoDuct, B: plan.NoMachine})
	assert.Contains(t, say, "collector")
	assert.Contains(t, do, "page names")
	say, _ = text(controller.Standing{Is: controller.AirFarShort, A: 0, B: plan.NoMachine, V: 4400})
	assert.Equal(t, "table saw gets 44 % of its air", say)
	say, _ = text(controller.Standing{Is: controller.GateNotOpen, N: 1})
	assert.Equal(t, "gate planer did not open", say)
	say, _ = text(controller.Standing{Is: controller.NoAir, N: 99})
	assert.NotContains(t, say, "%!", "a number that the shop does not have")
	say, _ = text(controller.Standing{Is: controller.UncleanEnd, N: controller.Everything})
	assert.Equal(t, "the program ended in disorder", say)
}
