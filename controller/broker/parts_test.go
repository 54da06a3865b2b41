package broker

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ductwarden/controller/publish"
)

func message(topic, payload string) publish.Message {
	return publish.Message{Topic: topic, Payload: []byte(payload), Retained: true, QoS: 1}
}

func TestOutboxKeepsTheNewestOfATopic(t *testing.T) {
	o := newOutbox()
	now := time.Now()
	o.put(message("a", "1"), message("b", "1"), message("a", "2"))
	p, ok := o.take(now, 0, time.Minute)
	require.True(t, ok)
	assert.Equal(t, "a2", p.m.Topic+string(p.m.Payload), "first come, first served, with the newest value")
	o.put(message("a", "3")) // while it is on its way
	o.arrived(p)
	b, _ := o.take(now, 1, time.Minute)
	again, ok := o.take(now, 1, time.Minute)
	require.True(t, ok)
	assert.Equal(t, "b", b.m.Topic)
	assert.Equal(t, "3", string(again.m.Payload))
	_, ok = o.take(now, 2, time.Minute)
	assert.False(t, ok)
	o.put(message("b", ""))
	p, _ = o.take(now, 0, time.Minute)
	o.arrived(p)
	topics, due, _, _ := o.counts()
	assert.Equal(t, []int{1, 0}, []int{topics, due}, "what is cleared is forgotten once the broker knows")
}

func TestOutboxSaysEverythingAgainInItsOrder(t *testing.T) {
	o, now := newOutbox(), time.Now()
	var want, got []string
	for k := range 40 {
		want = append(want, fmt.Sprint("topic ", (k*7)%40))
		o.put(message(want[k], "1"))
	}
	require.Equal(t, 40, o.again(now))
	for {
		p, ok := o.take(now, 0, time.Minute)
		if !ok {
			break
		}
		got = append(got, p.m.Topic)
		o.arrived(p)
	}
	assert.Equal(t, want, got)
}

func TestATopicThatBreaksTheConnectionIsSetAsideUntilItChanges(t *testing.T) {
	o, now := newOutbox(), time.Now()
	o.put(message("a", "1"), message("bad", "1"))
	for round := range blame {
		o.again(now)
		var flying []parcel
		for {
			p, ok := o.take(now, len(flying), time.Minute)
			if !ok {
				break
			}
			if p.m.Topic == "a" {
				o.arrived(p)
				continue
			}
			assert.Equal(t, round >= solo, p.solo)
			flying = append(flying, p)
		}
		aside := o.lost(now, flying)
		assert.Equal(t, round == blame-1, len(aside) == 1, "round %d: %v", round, aside)
	}
	assert.Equal(t, 1, o.again(now), "only the good one is due")
	o.put(message("bad", "1"))
	p, _ := o.take(now, 0, time.Minute)
	assert.Equal(t, "a", p.m.Topic)
	_, ok := o.take(now, 0, time.Minute)
	assert.False(t, ok, "the same payload again is no reason")
	o.put(message("bad", "shorter"))
	p, ok = o.take(now, 0, time.Minute)
	assert.True(t, ok)
	assert.Equal(t, "shorter", string(p.m.Payload))
}

func TestOutboxEvents(t *testing.T) {
	o := newOutbox()
	now := time.Now()
	for i := range 300 {
		o.tell(now, message("e", fmt.Sprint(i)))
	}
	_, _, n, dropped := o.counts()
	assert.Equal(t, 256, n)
	assert.Equal(t, int64(44), dropped)
	var flying []parcel
	for range 3 {
		p, _ := o.take(now, len(flying), time.Minute)
		flying = append(flying, p)
	}
	o.tell(now, message("e", "300"))
	o.lost(now, flying)
	for i := 45; i <= 300; i++ { // 44 was the oldest of one too many
		p, ok := o.take(now, 0, time.Minute)
		require.True(t, ok)
		require.Equal(t, fmt.Sprint(i), string(p.m.Payload), "in order after a loss")
	}
	o.tell(now.Add(-2*time.Minute), message("e", "old"))
	o.tell(now, message("e", "new"))
	for p, ok := o.take(now, 0, time.Minute); ok; p, ok = o.take(now, 0, time.Minute) {
		assert.NotEqual(t, "old", string(p.m.Payload))
	}
}

// Whatever is put, taken, lost and sent again: in the end the receiver has exactly the newest payloads.
func TestOutboxEndsRight(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		o, now := newOutbox(), time.Now()
		want, has := map[string]string{}, map[string]string{}
		var flying []parcel
		receive := func(p parcel) {
			has[p.m.Topic] = string(p.m.Payload)
			if len(p.m.Payload) == 0 {
				delete(has, p.m.Topic)
			}
		}
		for range rapid.IntRange(1, 80).Draw(rt, "steps") {
			switch rapid.IntRange(0, 4).Draw(rt, "what") {
			case 0, 1:
				topic, v := rapid.SampledFrom([]string{"a", "b", "c"}).Draw(rt, "topic"), rapid.SampledFrom([]string{"", "1", "2", "3"}).Draw(rt, "payload")
				want[topic] = v
				if v == "" {
					delete(want, topic)
				}
				o.put(message(topic, v))
			case 2:
				if p, ok := o.take(now, len(flying), time.Minute); ok {
					flying = append(flying, p)
				}
			case 3:
				if len(flying) > 0 {
					receive(flying[0])
					o.arrived(flying[0])
					flying = flying[1:]
				}
			case 4: // the connection breaks; some of what was on its way arrived unacknowledged
				for _, p := range flying {
					if rapid.Bool().Draw(rt, "arrived") {
						receive(p)
					}
				}
				o.lost(now, flying)
				flying = nil
				now = now.Add(time.Hour)
				o.again(now)
			}
		}
		for _, p := range flying {
			receive(p)
			o.arrived(p)
		}
		for p, ok := o.take(now, 0, time.Minute); ok; p, ok = o.take(now, 0, time.Minute) {
			receive(p)
			o.arrived(p)
		}
		assert.Equal(rt, want, has)
	})
}

func TestFramesSkipWhatIsTooLarge(t *testing.T) {
	packet := func(kind byte, body []byte) []byte {
		out := []byte{kind}
		for n := len(body); ; {
			b := byte(n & 0x7f)
			if n >>= 7; n > 0 {
				b |= 0x80
			}
			out = append(out, b)
			if n == 0 {
				return append(out, body...)
			}
		}
	}
	pub := func(topic string, n int) []byte {
		return packet(0x30, append(append([]byte{byte(len(topic) >> 8), byte(len(topic))}, topic...), bytes.Repeat([]byte("x"), n)...))
	}
	small, edge := pub("a/b", 100), pub("a/b", largest-5)
	stream := bytes.Join([][]byte{packet(0xd0, nil), small, pub("big/one", 300_000), edge, pub("big/two", largest-8), small}, nil)
	var skipped []string
	mine, theirs := net.Pipe()
	go func() {
		for len(stream) > 0 { // in pieces of any size
			n := min(len(stream), 1+rand.IntN(9000))
			theirs.Write(stream[:n])
			stream = stream[n:]
		}
		theirs.Close()
	}()
	got, err := io.ReadAll(newFrames(mine, func(topic string, size int) { skipped = append(skipped, fmt.Sprint(topic, " ", size)) }))
	require.NoError(t, err)
	assert.Equal(t, bytes.Join([][]byte{packet(0xd0, nil), small, edge, small}, nil), got)
	assert.Equal(t, []string{"big/one 300009", "big/two 65537"}, skipped)

	for name, bad := range map[string][]byte{
		"length of five bytes":    {0x30, 0xff, 0xff, 0xff, 0xff, 1},
		"large and no plain":      append([]byte{0x32, 0x80, 0x80, 0x10}, 0, 1, 'a'),
		"topic longer than it is": append([]byte{0x30, 0x80, 0x80, 0x04, 0xff, 0xff}, bytes.Repeat([]byte("x"), 70_000)...),
		"cut in the length":       {0x30, 0x80},
	} {
		f := newFrames(nil, func(string, int) {})
		f.in.Reset(bytes.NewReader(bad))
		_, err := io.ReadAll(f)
		if name == "topic longer than it is" {
			assert.NoError(t, err, name) // 65535 bytes of topic in 65536 of packet
			continue
		}
		assert.Error(t, err, name)
	}
}

func FuzzFrames(f *testing.F) {
	f.Add([]byte{0x30, 5, 0, 1, 'a', 'x', 'y'})
	f.Add([]byte{0x30, 0x80, 0x80, 0x10, 0, 1, 'a'})
	f.Fuzz(func(t *testing.T, stream []byte) {
		fr := newFrames(nil, func(string, int) {})
		fr.in.Reset(bytes.NewReader(stream))
		out, _ := io.ReadAll(fr)
		if len(out) > len(stream) {
			t.Fatal("more came out than went in")
		}
	})
}

func TestPausesDoubleUpToTheMostAndStartAnew(t *testing.T) {
	p := pauses{pace: Pace{}.filled(), chance: rand.New(rand.NewPCG(1, 2))}
	now := time.Now()
	gone := &failure{fault: Unreachable}
	var sum time.Duration
	for i, want := range []time.Duration{100, 200, 400, 800, 1600, 3200, 4500, 4500} {
		got, _ := p.after(gone, now, 0)
		assert.InDelta(t, want*time.Millisecond, got, float64(want*time.Millisecond)/5+1, "try %d", i)
		sum += got
	}
	got, _ := p.after(gone, now, 3*time.Second)
	assert.Less(t, got, 130*time.Millisecond, "after a session that lasted")
	got, _ = p.after(&failure{fault: Refused}, now, 0)
	assert.Greater(t, got, 45*time.Second)
	spread := map[time.Duration]bool{}
	for range 20 {
		d := p.jitter(time.Second)
		assert.InDelta(t, time.Second, d, float64(200*time.Millisecond))
		spread[d] = true
	}
	assert.Greater(t, len(spread), 15, "no two boards in step")
}

func TestARivalIsFound(t *testing.T) {
	p := pauses{pace: Pace{}.filled(), chance: rand.New(rand.NewPCG(1, 2))}
	now := time.Now()
	var f *failure
	for range 4 {
		_, f = p.after(&failure{fault: Lost}, now, 100*time.Millisecond)
		now = now.Add(2 * time.Second)
	}
	assert.Equal(t, Rival, f.fault)
	for i := range 20 { // a broker that restarts is no rival
		fault := Lost
		if i%2 == 1 {
			fault = Unreachable
		}
		_, f = p.after(&failure{fault: fault}, now, 100*time.Millisecond)
		assert.NotEqual(t, Rival, f.fault)
	}
	for range 20 { // nor is a line that breaks every minute
		_, f = p.after(&failure{fault: Lost}, now, 4*time.Second)
		now = now.Add(31 * time.Second)
		assert.NotEqual(t, Rival, f.fault)
	}
}

func TestExplain(t *testing.T) {
	for want, err := range map[Fault]error{
		Unreachable: fmt.Errorf("x: %w", &net.OpError{Op: "dial", Err: syscall.ECONNREFUSED}),
		Lost:        fmt.Errorf("x: %w", io.EOF),
		Silent:      fmt.Errorf("pingresp not received, disconnecting"),
		Secrets:     fmt.Errorf("x: %w", &failure{fault: Secrets, text: "said"}),
	} {
		assert.Equal(t, want, explain("b:1", err).fault)
	}
	assert.Contains(t, explain("b:1", &net.DNSError{Name: "b", Err: "no such host", IsNotFound: true}).text, "the name is not known")
}

func TestMatches(t *testing.T) {
	for _, c := range []struct {
		filter, topic string
		want          bool
	}{
		{"a/b", "a/b", true}, {"a/b", "a/c", false}, {"a/b", "a", false}, {"a", "a/b", false}, {"a/#", "a/b/c", true}, {"a/#", "a", true}, {"#", "a", true},
		{"a/+/c", "a/b/c", true}, {"a/+/c", "a/b/d", false}, {"a/+", "a/b/c", false}, {"+/b", "a/b", true}, {"a/+/#", "a/b", true}, {"a/+/#", "a", false},
	} {
		assert.Equal(t, c.want, matches(c.filter, c.topic), "%s %s", c.filter, c.topic)
	}
}

func TestFamiliesAreThoseOfTheSamples(t *testing.T) {
	known := map[string]int{}
	for _, f := range append(Families(), RequestFamilies()...) {
		known[f.Name] = len(f.Labels)
	}
	for _, s := range (Status{}).Samples() {
		n, ok := known[s.Name]
		assert.True(t, ok, s.Name)
		assert.Len(t, s.Labels, n, s.Name)
	}
	assert.False(t, strings.Contains(fmt.Sprint(known), "password"))
}
