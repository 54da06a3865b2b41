package remote_test

import (
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/current"
	"ductwarden/current/currenttest"
	"ductwarden/current/remote"
)

const ms = time.Millisecond

func TestMeter(t *testing.T) {
	for name, online := range map[string]bool{"by silence": false, "by its word": true} {
		for _, power := range []bool{false, true} {
			t.Run(name, func(t *testing.T) {
				currenttest.Run(t, func(t *testing.T) currenttest.Bench {
					m, err := remote.New(remote.Settings{
						Name: "bench/saw", Pointer: "/value", Power: power, Running: 1200, Idle: 600, MaxAge: 700 * ms,
						Yes: "online", No: "offline",
					})
					require.NoError(t, err)
					whole, running := true, false
					return currenttest.Bench{
						Meter:   m,
						Machine: func(now time.Duration, on bool) { running = on },
						Wire: func(now time.Duration, ok bool) {
							whole = ok
							if online && !ok {
								m.Online(now, []byte("offline"))
							}
						},
						Feed: func(now time.Duration) {
							if !whole || now%(200*ms) != 0 {
								return
							}
							v := 0.1
							if running {
								v = 2
							}
							m.Message(now, fmt.Appendf(nil, `{"value": %v}`, v), false)
						},
						Measures: !power, Current: 2000,
						Start: 250 * ms, End: 250 * ms, Notice: time.Second,
					}
				})
			})
		}
	}
}

func saw(t *testing.T, change func(*remote.Settings)) *remote.Meter {
	s := remote.Settings{Name: "bench/saw", Power: true, Running: 60_000, Idle: 20_000, MaxAge: 30 * time.Second, Yes: "online", No: "offline"}
	if change != nil {
		change(&s)
	}
	m, err := remote.New(s)
	require.NoError(t, err)
	return m
}

func TestRetainedIsNotFresh(t *testing.T) {
	m := saw(t, nil)
	m.Message(time.Second, []byte("800"), true)
	assert.Equal(t, current.Unknown, m.Belief())
	assert.Equal(t, current.HealthUntried, m.Health())
	m.Message(2*time.Second, []byte("5"), false)
	assert.Equal(t, current.Idle, m.Belief())
	m.Message(3*time.Second, []byte("800"), true)
	assert.Equal(t, current.Idle, m.Belief(), "nor does it start anything later")
	_, _ = m.Poll(32*time.Second + 1)
	assert.Equal(t, current.Unknown, m.Belief(), "nor does it keep a reading fresh")
}

func TestStaleIsNotZero(t *testing.T) {
	m := saw(t, nil)
	m.Message(time.Second, []byte("800"), false)
	require.Equal(t, current.Running, m.Belief())
	next, err := m.Poll(2 * time.Second)
	require.NoError(t, err)
	assert.Equal(t, 31*time.Second+1, next)
	_, _ = m.Poll(31 * time.Second)
	require.Equal(t, current.Running, m.Belief())
	_, _ = m.Poll(next)
	assert.Equal(t, current.Unknown, m.Belief())
	assert.Equal(t, current.Late, m.Health())
	_, ok := m.Milliwatts()
	assert.False(t, ok)
	next, _ = m.Poll(40 * time.Second)
	assert.Zero(t, next)
}

func TestHysteresis(t *testing.T) {
	m := saw(t, nil)
	for i, c := range []struct {
		watts string
		want  current.Belief
	}{
		{"40", current.Unknown}, {"5", current.Idle}, {"59.9", current.Idle}, {"60", current.Running}, {"40", current.Running}, {"20", current.Running},
		{"19.9994", current.Idle}, {"-800", current.Running}, {`"7.5"`, current.Idle},
	} {
		m.Message(time.Duration(i+1)*time.Second, []byte(c.watts), false)
		require.Equal(t, c.want, m.Belief(), "%s W", c.watts)
	}
	w, ok := m.Milliwatts()
	assert.True(t, ok)
	assert.Equal(t, int64(7500), w)
	_, ok = m.RMS()
	assert.False(t, ok)
}

func TestWhereTheNumberStands(t *testing.T) {
	for _, c := range []struct {
		pointer, payload string
		factor           float64
		want             int64 // milliwatts; -1: left
		says             string
	}{
		{"", " 12.5\n", 1, 12_500, ""},
		{"", "0.0125", 1000, 12_500, ""},
		{"", "twelve", 1, -1, `"twelve" is no reading`},
		{"", "NaN", 1, -1, "is no reading"},
		{"", "1e300", 1, -1, "is no reading"},
		{"", strings.Repeat("1", 70), 1, -1, "is no number"},
		{"/ENERGY/Power", `{"Time":"x","ENERGY":{"Power":5,"Current":0.021}}`, 1, 5000, ""},
		{"/ENERGY/Power", `{"ENERGY":{"Current":0.021}}`, 1, -1, "does not hold what the pointer points at"},
		{"/ENERGY/Power", `{"ENERGY":[1]}`, 1, -1, "does not hold what the pointer points at"},
		{"/ENERGY/Power", `{"ENERGY":5}`, 1, -1, "does not hold what the pointer points at"},
		{"/a/1", `{"a":[1,"7"]}`, 1, 7000, ""},
		{"/a/01", `{"a":[1,"7"]}`, 1, -1, "does not hold"},
		{"/a/-1", `{"a":[1,"7"]}`, 1, -1, "does not hold"},
		{"/m~1n/o~0p", `{"m/n":{"o~p":3}}`, 1, 3000, ""},
		{"/~01", `{"~1":3}`, 1, 3000, ""},
		{"/", `{"":3}`, 1, 3000, ""},
		{"/a", `{"a":true}`, 1, -1, "which is no number"},
		{"/a", `{"a":3`, 1, -1, "is no JSON"},
		{"/a", `{"a":3} {"a":4}`, 1, -1, "goes on after its value"},
		{"/a", `{"a":3,"b":"` + strings.Repeat("x", remote.MaxPayload) + `"}`, 1, -1, "at most 16384 are looked at"},
		{"/a", strings.Repeat("[", 15_000), 1, -1, "is no JSON"},
	} {
		m := saw(t, func(s *remote.Settings) { s.Pointer, s.Factor = c.pointer, c.factor })
		m.Message(time.Second, []byte(c.payload), false)
		v, ok := m.Milliwatts()
		if c.want >= 0 {
			assert.True(t, ok, "%s in %.60s: %v", c.pointer, c.payload, m.Err())
			assert.Equal(t, c.want, v, "%s in %.60s", c.pointer, c.payload)
			continue
		}
		assert.False(t, ok, "%.60s", c.payload)
		assert.Equal(t, 1, m.Ignored())
		require.ErrorContains(t, m.Err(), c.says)
		require.ErrorContains(t, m.Err(), "remote@bench/saw: ")
		assert.Equal(t, current.Unknown, m.Belief(), "no number is not zero")
	}
}

func TestSenderGone(t *testing.T) {
	m := saw(t, func(s *remote.Settings) { s.OnlinePointer = "/state" })
	m.Online(time.Second, []byte(`{"state":"online"}`))
	assert.Equal(t, current.Unknown, m.Belief(), "being there is no reading")
	m.Message(2*time.Second, []byte("800"), false)
	m.Online(3*time.Second, []byte(`{"state":"perhaps"}`))
	require.ErrorContains(t, m.Err(), `is neither "online" nor "offline"`)
	assert.Equal(t, current.Running, m.Belief())
	m.Online(3*time.Second, []byte(`{"state":"offline"}`))
	assert.Equal(t, current.Unknown, m.Belief())
	assert.Equal(t, current.Lost, m.Health())
	m.Online(4*time.Second, []byte(`{"state":"online"}`))
	assert.Equal(t, current.Unknown, m.Belief(), "its old reading does not come back")
	m.Message(5*time.Second, []byte("5"), false)
	assert.Equal(t, current.Idle, m.Belief())
	m.Fail(6 * time.Second)
	assert.Equal(t, current.Unknown, m.Belief())
}

func TestSettings(t *testing.T) {
	good := remote.Settings{Name: "a/b", Running: 2, Idle: 1, MaxAge: time.Second}
	for says, change := range map[string]func(*remote.Settings){
		"idle must be below running":     func(s *remote.Settings) { s.Idle = 2 },
		"after what time a reading":      func(s *remote.Settings) { s.MaxAge = 0 },
		"must begin with /":              func(s *remote.Settings) { s.Pointer = "power" },
		"neither ~0 nor ~1":              func(s *remote.Settings) { s.OnlinePointer = "/a~0~" },
		"is deeper than 16":              func(s *remote.Settings) { s.Pointer = strings.Repeat("/a", 17) },
		`"/x~2" has a ~ that is neither`: func(s *remote.Settings) { s.Pointer = "/x~2" },
	} {
		s := good
		change(&s)
		_, err := remote.New(s)
		require.ErrorContains(t, err, says)
		require.ErrorContains(t, err, "remote@a/b: ")
	}
}

// Messages come on the broker's goroutine while the loop polls; run with -race.
func TestTwoGoroutines(t *testing.T) {
	m := saw(t, nil)
	var all sync.WaitGroup
	all.Go(func() {
		for i := range 1000 {
			m.Message(time.Duration(i)*ms, []byte("800"), false)
			m.Online(time.Duration(i)*ms, []byte("online"))
		}
	})
	for i := range 1000 {
		_, _ = m.Poll(time.Duration(i) * ms)
		_, _ = m.RMS()
		_ = m.Belief()
	}
	all.Wait()
	assert.Equal(t, current.Running, m.Belief())
}

func FuzzMessage(f *testing.F) {
	f.Add("/a/b", `{"a":{"b":1}}`)
	f.Add("", "12")
	f.Fuzz(func(t *testing.T, pointer, payload string) {
		m, err := remote.New(remote.Settings{Pointer: pointer, Running: 2, Idle: 1, MaxAge: time.Second})
		if err != nil {
			return
		}
		m.Message(0, []byte(payload), false)
		m.Online(0, []byte(payload))
		if v, ok := m.RMS(); ok && v < 0 {
			t.Fatalf("a reading of %d", v)
		}
	})
}
