package remote_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ductwarden/gates"
	"ductwarden/gates/gatestest"
	"ductwarden/gates/remote"
)

// leased hides from the suite that a lease must be renewed: at rest, the suite wants no further call. That it
// is renewed has tests of its own.
type leased struct{ *remote.Gate }

func (l leased) Poll(now time.Duration) (time.Duration, error) {
	next, err := l.Gate.Poll(now)
	if err == nil && !l.State().Moving && next > now+200*time.Millisecond {
		next = 0
	}
	return next, err
}

func TestActuator(t *testing.T) {
	gatestest.Run(t, func(t *testing.T) gatestest.Rig {
		b := newBench(t)
		b.n.delay = 0                                  // the suite looks at once; latency has tests of its own
		b.n.travel, b.n.place = time.Hour, time.Hour/2 // it never comes to an end, so that only we end a push
		b.linked()
		b.run(time.Second - b.n.now)
		return gatestest.Rig{
			Actuator: leased{b.g},
			Pushing:  func(now time.Duration) gates.Drive { b.n.run(now); return b.n.pushing() },
			Soon:     200 * time.Millisecond, Longest: 3600 * time.Millisecond,
			Fail: func(failing bool) { b.n.fail = failing },
		}
	})
}

func TestHandshakeThenMove(t *testing.T) {
	b := newBench(t)
	assert.Error(t, b.g.Drive(b.n.now+1, gates.DriveOpen), "nothing has been heard of the node")
	_, err := b.g.Read()
	assert.Error(t, err)
	b.linked()
	require.NotEmpty(t, b.n.Sent)
	assert.Equal(t, "rest", b.n.Sent[0].Position, "hands are shaken without moving")
	took := b.until(func() bool { return b.g.Proof() == gates.SeenOpen }, 3*time.Second, "the push that waited goes out")
	assert.Less(t, took, b.n.travel*3/2)
	levels, err := b.g.Read()
	require.NoError(t, err)
	assert.Equal(t, uint64(1), levels)
	require.NoError(t, b.g.Drive(b.n.now, gates.DriveClose))
	b.until(func() bool { return b.g.Proof() == gates.SeenClosed }, 3*time.Second, "closes")
	require.NoError(t, b.g.Drive(b.n.now, gates.DriveNone))
	b.run(time.Minute)
	assert.Equal(t, remote.Linked, b.g.State().Link)
	last := uint64(0)
	for _, s := range b.n.Sent {
		assert.Greater(t, s.Seq, last, "seq rises strictly")
		last = s.Seq
	}
	assert.Empty(t, b.g.State().Fault, "the lease was renewed for a minute")
	assert.InDelta(t, 22, len(b.n.Sent), 4, "every three seconds, not more")
}

func TestAnAssumedPositionProvesNothing(t *testing.T) {
	b := newBench(t)
	b.n.feedback = false
	b.linked()
	_ = b.g.Drive(b.n.now, gates.DriveOpen)
	b.run(3 * time.Second)
	assert.Equal(t, b.n.travel, b.n.place, "it is open")
	assert.Equal(t, gates.SeenNeither, b.g.Proof())
	assert.True(t, b.g.State().Assumed)
}

func TestRetainedAndOldReportsAreNotBelieved(t *testing.T) {
	b := newBench(t)
	b.n.handle(base+"/report", []byte(`{"v":1,"boot":"b0","ack":{"epoch":"e1","seq":1},"position":"open","source":"measured"}`), true)
	b.n.handle(base+"/availability", []byte("online"), true)
	_, _ = b.g.Poll(1)
	assert.Equal(t, remote.Absent, b.g.State().Link, "what the broker kept says nothing of now")
	b.linked()
	b.n.handle(base+"/report", []byte(`{"v":1,"boot":"b1","ack":{"epoch":"e0","seq":999},"position":"open","source":"measured"}`), false)
	b.run(10 * time.Millisecond)
	assert.Equal(t, gates.SeenClosed, b.g.Proof(), "an answer to another start of the program is none to us")
	for _, bad := range []string{"", "[]", `{"v":1}`, `{"boot":5}`, "\xff"} {
		b.n.handle(base+"/report", []byte(bad), false)
		b.run(10 * time.Millisecond)
	}
	assert.Equal(t, 5, b.g.State().Ignored)
	assert.Equal(t, remote.Linked, b.g.State().Link)
}

func TestNodeLostAndFound(t *testing.T) {
	for name, lose := range map[string]func(*bench){
		"its will": func(b *bench) {
			b.n.dumb = true
			b.n.handle(base+"/availability", []byte("offline"), false)
		},
		"silence":    func(b *bench) { b.n.dumb, b.n.deaf = true, true },
		"no answers": func(b *bench) { b.n.deaf = true },
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			b.linked()
			_ = b.g.Drive(b.n.now, gates.DriveOpen)
			b.until(func() bool { return b.g.Proof() == gates.SeenOpen }, 3*time.Second, "open")
			lose(b)
			took := b.until(func() bool { return b.g.State().Link == remote.Gone }, 15*time.Second, "it is missed")
			t.Logf("%s: lost after %s", name, took)
			assert.Equal(t, gates.SeenNeither, b.g.Proof(), "its position is not known any more")
			_, err := b.g.Read()
			assert.Error(t, err)
			assert.Error(t, b.err)
			assert.Error(t, b.g.Drive(b.n.now, gates.DriveClose))
			b.run(15 * time.Second)
			assert.Zero(t, b.g.State().Resets)
			if b.n.deaf {
				assert.Equal(t, "lease_expired", b.n.fault, "left alone, it did what it was set up to do")
			}
			b.n.dumb, b.n.deaf = false, false
			b.n.said = ""
			b.until(func() bool { return b.g.State().Link == remote.Linked }, 6*time.Second, "and found")
			b.run(100 * time.Millisecond)
			assert.Equal(t, gates.SeenOpen, b.g.Proof(), "its own word, after a handshake; the push from while it was away is over")
		})
	}
}

func TestASilentProgramIsNotASilentNode(t *testing.T) {
	b := newBench(t)
	b.linked()
	b.n.run(b.n.now + time.Hour) // nobody polled
	_, err := b.g.Poll(b.n.now)
	assert.NoError(t, err)
	assert.Equal(t, remote.Linked, b.g.State().Link)
}

func TestAProgramThatStoodStillWithItsNetwork(t *testing.T) {
	b := newBench(t)
	b.linked()
	b.n.now += time.Hour // the whole computer slept: nothing was delivered either
	_, _ = b.g.Poll(b.n.now)
	assert.Equal(t, remote.Linked, b.g.State().Link, "nobody was missed yet")
	b.n.dumb = true
	b.until(func() bool { return b.g.State().Link == remote.Gone }, 15*time.Second, "but from now on")
}

func TestHandsAreShakenInThisStartOnly(t *testing.T) {
	b := newBench(t)
	b.n.deaf = true
	b.until(func() bool { return b.g.State().Link == remote.Shaking }, 5*time.Second, "it beats")
	b.n.handle(base+"/report", []byte(`{"v":1,"boot":"b1","ack":{"epoch":"e0","seq":1},"position":"open","source":"measured"}`), false)
	b.run(50 * time.Millisecond)
	assert.NotEqual(t, remote.Linked, b.g.State().Link, "an answer to an earlier start of the program")
}

func TestANodeThatStartsAnew(t *testing.T) {
	b := newBench(t)
	b.linked()
	_ = b.g.Drive(b.n.now, gates.DriveOpen)
	b.run(400 * time.Millisecond)
	b.n.restart()
	moves := len(b.n.Sent)
	b.until(func() bool { return b.g.State().Resets == 1 }, 3*time.Second, "noticed")
	b.linked()
	assert.Equal(t, "rest", b.n.Sent[moves].Position, "the first target after its start moves nothing")
}

func TestAnotherStartOfTheProgram(t *testing.T) {
	b := newBench(t)
	b.linked()
	g, err := remote.New(b.n, remote.Settings{Node: "annex", Base: base, Epoch: "e2", Travel: b.n.travel}, nil)
	require.NoError(t, err)
	b.g = g
	b.linked()
	_ = b.g.Drive(b.n.now, gates.DriveOpen)
	b.until(func() bool { return b.g.Proof() == gates.SeenOpen }, 3*time.Second, "it obeys the new start, although its numbers begin anew")
}

func TestAFloodFromANodeCostsOneReadingAPoll(t *testing.T) {
	b := newBench(t)
	b.linked()
	for range 100_000 {
		b.n.handle(base+"/report", []byte(`{`), false)
	}
	_, _ = b.g.Poll(b.n.now)
	assert.Equal(t, 1, b.g.State().Ignored)
	b.n.handle(base+"/report", make([]byte, 100_000), false)
	b.n.handle(base+"/other", nil, false)
	b.n.handle("x", nil, false)
	_, _ = b.g.Poll(b.n.now)
	assert.Equal(t, 1, b.g.State().Ignored)
}

func TestSettings(t *testing.T) {
	for _, s := range []remote.Settings{
		{}, {Node: "a", Base: "b", Epoch: "e"}, {Node: "a", Base: "b", Epoch: "e", Travel: time.Second, Lease: time.Second},
		{Node: "a", Base: "b", Epoch: "e", Travel: time.Second, LongestRun: time.Millisecond},
	} {
		_, err := remote.New(newNode(), s, nil)
		assert.Error(t, err)
	}
}

// Whatever network there is and whatever is asked: a push never outlives its lease and its longest run, and
// after a calm the node is linked and rests.
func TestAnyNetwork(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		b := newBench(t)
		b.n.travel, b.n.place = time.Hour, time.Hour/2
		pushed := time.Duration(0)
		for range rapid.IntRange(1, 60).Draw(rt, "steps") {
			switch rapid.IntRange(0, 7).Draw(rt, "what") {
			case 0, 1, 2:
				_ = b.g.Drive(b.n.now, gates.Drive(rapid.IntRange(-1, 1).Draw(rt, "level")))
			case 3:
				b.n.deaf = rapid.Bool().Draw(rt, "deaf")
			case 4:
				b.n.dumb = rapid.Bool().Draw(rt, "dumb")
			case 5:
				b.n.fail = rapid.Bool().Draw(rt, "broker")
			case 6:
				b.n.restart()
			case 7:
				_ = b.g.Halt()
			}
			for range rapid.IntRange(1, 100).Draw(rt, "time") {
				b.run(50 * time.Millisecond)
				if pushed += 50 * time.Millisecond; b.n.pushing() == gates.DriveNone {
					pushed = 0
				}
				if pushed > 60*time.Second {
					rt.Fatalf("pushed for %s", pushed)
				}
			}
		}
		b.n.deaf, b.n.dumb, b.n.fail = false, false, false
		_ = b.g.Drive(b.n.now, gates.DriveNone)
		b.run(20 * time.Second)
		if s := b.g.State(); s.Link != remote.Linked {
			rt.Fatalf("not linked again: %+v", s)
		}
		if b.n.pushing() != gates.DriveNone {
			rt.Fatalf("still pushing")
		}
	})
}

func FuzzReport(f *testing.F) {
	f.Add("report", []byte(`{"v":1,"boot":"b1","ack":{"epoch":"e1","seq":1},"position":"open","source":"measured"}`), false)
	f.Add("availability", []byte("offline"), true)
	f.Fuzz(func(t *testing.T, leaf string, payload []byte, retained bool) {
		b := newBench(t)
		b.linked()
		b.n.handle(base+"/"+leaf, payload, retained)
		b.run(100 * time.Millisecond)
	})
}
