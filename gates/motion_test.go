package gates

import (
	"fmt"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var (
	switched = Limits{Travel: 1000, OpenSwitch: true, ClosedSwitch: true}
	bare     = Limits{Travel: 1000}
	openOnly = Limits{Travel: 1000, OpenSwitch: true}
)

func TestProvesByItsSwitch(t *testing.T) {
	var m Motion
	m.See(SeenClosed, &switched)
	assert.Equal(t, ClosedProved, m.Where)
	m.Ask(DriveOpen, 100, &switched)
	assert.Equal(t, Opening, m.Where)
	assert.Equal(t, DriveOpen, m.Drive)
	m.See(SeenNeither, &switched)
	assert.Equal(t, Opening, m.Where)
	m.See(SeenOpen, &switched)
	assert.Equal(t, OpenProved, m.Where)
	assert.Equal(t, DriveNone, m.Drive)
	assert.True(t, m.Where.IsOpen())
	_, due := m.Due(&switched)
	assert.False(t, due, "a gate at rest wants nothing")
}

func TestIsAssumedAfterTwiceItsTravel(t *testing.T) {
	var m Motion
	m.See(SeenOpen, &bare)
	assert.Equal(t, WhereUnknown, m.Where, "switches that are not fitted say nothing")
	m.Ask(DriveOpen, 100, &bare)
	m.Advance(2099, &bare)
	assert.Equal(t, Opening, m.Where)
	m.Advance(2100, &bare)
	assert.Equal(t, OpenAssumed, m.Where)
	m.Ask(DriveClose, 5000, &bare)
	m.Advance(7000, &bare)
	assert.Equal(t, ClosedAssumed, m.Where)
}

func TestOneSwitchIsEnough(t *testing.T) {
	var m Motion
	m.Ask(DriveOpen, 1, &openOnly)
	m.See(SeenOpen, &openOnly)
	assert.Equal(t, OpenProved, m.Where)
	m.Ask(DriveClose, 5000, &openOnly)
	m.See(SeenNeither, &openOnly)
	m.Advance(7000, &openOnly)
	assert.Equal(t, ClosedAssumed, m.Where)

	m.See(SeenOpen, &openOnly)
	m.Ask(DriveClose, 10_000, &openOnly)
	m.Advance(12_000, &openOnly)
	assert.True(t, m.Pausing(), "its switch says that it is still open")
	m.Ask(DriveClose, 12_500, &openOnly)
	m.Advance(14_500, &openOnly)
	assert.Equal(t, Failed, m.Where)
}

func TestIsTriedOnceMore(t *testing.T) {
	var m Motion
	m.See(SeenClosed, &switched)
	m.Ask(DriveOpen, 0, &switched)
	m.Advance(2999, &switched)
	assert.Equal(t, DriveOpen, m.Drive)
	m.Advance(3000, &switched)
	assert.True(t, m.Pausing())
	assert.Equal(t, DriveNone, m.Drive)
	assert.False(t, m.Again(3499))
	assert.True(t, m.Again(3500))
	m.Ask(DriveOpen, 3500, &switched)
	assert.EqualValues(t, 2, m.Tries)
	m.Advance(7999, &switched)
	assert.Equal(t, DriveOpen, m.Drive)
	m.Advance(8000, &switched)
	assert.Equal(t, Failed, m.Where)
	assert.Equal(t, DriveOpen, m.Way, "which way it failed stays known")
	m.Ask(DriveOpen, 9000, &switched)
	assert.Equal(t, Failed, m.Where, "latched")
	m.See(SeenOpen, &switched)
	assert.Equal(t, Failed, m.Where)
	m.Clear()
	assert.Equal(t, OpenProved, m.Where)
}

func TestAContradictionIsNeither(t *testing.T) {
	var m Motion
	m.See(SeenOpen, &switched)
	m.See(SeenBoth, &switched)
	assert.Equal(t, WhereUnknown, m.Where)
	m.Ask(DriveOpen, 0, &switched)
	m.See(SeenBoth, &switched)
	m.Advance(3000, &switched)
	assert.True(t, m.Pausing())
}

func TestMovedWithoutACommand(t *testing.T) {
	var m Motion
	m.See(SeenOpen, &switched)
	m.See(SeenNeither, &switched)
	assert.Equal(t, DriveOpen, m.Left)
	assert.Equal(t, WhereUnknown, m.Where)
	m.See(SeenOpen, &switched)
	assert.Equal(t, DriveNone, m.Left, "back where it was")
	m.See(SeenClosed, &switched)
	assert.Equal(t, DriveOpen, m.Left)
	assert.Equal(t, ClosedProved, m.Where)
	m.See(SeenNeither, &switched)
	assert.Equal(t, DriveOpen, m.Left, "the first end that it left counts")
	m.Ask(DriveOpen, 1, &switched)
	assert.Equal(t, DriveNone, m.Left)

	hand := Limits{Hand: true, OpenSwitch: true, ClosedSwitch: true}
	m = Motion{}
	m.See(SeenOpen, &hand)
	m.See(SeenClosed, &hand)
	assert.Equal(t, DriveNone, m.Left, "a hand gate is meant to be moved")
	m.Ask(DriveOpen, 1, &hand)
	assert.Equal(t, DriveNone, m.Drive, "and never driven")
}

func TestStopsWhereItIs(t *testing.T) {
	var m Motion
	m.See(SeenClosed, &switched)
	m.Ask(DriveOpen, 1, &switched)
	m.See(SeenNeither, &switched)
	m.Stop()
	assert.Equal(t, WhereUnknown, m.Where)
	m.Stop()
	m.See(SeenClosed, &switched)
	assert.Equal(t, ClosedProved, m.Where)

	m = Motion{}
	m.Ask(DriveOpen, 1, &bare)
	m.Advance(2001, &bare)
	m.Forget()
	assert.Equal(t, WhereUnknown, m.Where, "an assumed position is forgotten")
	m.See(SeenOpen, &switched)
	m.Forget()
	assert.Equal(t, OpenProved, m.Where, "a proved one is not")
}

func TestABoardThatWasReset(t *testing.T) {
	var m Motion
	m.Ask(DriveOpen, 1, &bare)
	m.Reset(100)
	assert.Equal(t, DriveNone, m.Drive)
	assert.True(t, m.Pausing(), "the drive is tried again after the pause")
	m.Ask(DriveOpen, 700, &bare)
	m.Advance(2700, &bare)
	assert.Equal(t, OpenAssumed, m.Where)
	m.Reset(3000)
	assert.Equal(t, WhereUnknown, m.Where)
}

func TestADriveTurnsRound(t *testing.T) {
	var m Motion
	m.See(SeenOpen, &switched)
	m.Ask(DriveClose, 1, &switched)
	m.See(SeenNeither, &switched)
	m.Ask(DriveOpen, 500, &switched)
	assert.Equal(t, Opening, m.Where)
	assert.EqualValues(t, 1, m.Tries)
	m.See(SeenOpen, &switched)
	assert.Equal(t, OpenProved, m.Where)
	m.Ask(DriveOpen, 900, &switched)
	assert.Equal(t, OpenProved, m.Where, "its switch shows that end already")
}

func TestMovesOfAMinute(t *testing.T) {
	var m Motion
	at := Instant(1000)
	move := func(d Drive) {
		ok, _ := m.May(d, at, 6)
		require.True(t, ok)
		m.Ask(d, at, &bare)
		at += 2000
		m.Advance(at, &bare)
	}
	move(DriveOpen)
	move(DriveClose)
	move(DriveOpen)
	move(DriveClose)
	move(DriveOpen)
	assert.Equal(t, 5, m.Moves())
	ok, when := m.May(DriveClose, at, 6)
	assert.False(t, ok, "an opening must stay possible")
	assert.Equal(t, Instant(61_000+2000), when, "two must leave the minute")
	ok, _ = m.May(DriveClose, when, 6)
	assert.True(t, ok)
	m.Advance(200_000, &bare)
	assert.Zero(t, m.Moves())

	var full Motion
	for i := range 30 {
		full.moves.add(Instant(i))
	}
	assert.Equal(t, MostMovesPerMinute, full.Moves(), "the oldest leaves when there is no room")
	ages, n := full.MoveAges()
	assert.Equal(t, full.moves, full.WithMoves(ages[:n]).moves)
	ok, when = (&Motion{}).May(DriveClose, 5, 2)
	assert.False(t, ok, "fewer moves than a close needs")
	assert.Equal(t, Instant(5)+Instant(Minute), when)
}

func TestLimits(t *testing.T) {
	assert.NoError(t, switched.Check())
	assert.NoError(t, Limits{Hand: true}.Check())
	assert.ErrorContains(t, Limits{Travel: 10}.Check(), "travel is 10 ms")
	assert.ErrorContains(t, Limits{Travel: 1000, Proof: 1500}.Check(), "twice the travel")
	assert.Equal(t, 3*Second, switched.ProofTime())
	assert.Equal(t, 4500*Millisecond, switched.LongestRun())
	assert.Equal(t, 6*Second, Limits{Travel: 2000}.ProofTime())
	assert.Equal(t, 9*Second, Limits{Travel: 2000, Proof: 9000}.ProofTime())
}

func TestSets(t *testing.T) {
	s := Of(0, 5, 63)
	assert.Equal(t, 3, s.Len())
	assert.True(t, s.Has(63))
	assert.False(t, s.Without(63).Has(63))
	assert.True(t, Set(0).Empty())
	var got []int
	for i := range s.All() {
		got = append(got, i)
		if i == 5 {
			break
		}
	}
	assert.Equal(t, []int{0, 5}, got)
	assert.True(t, ClosedAssumed.IsClosed())
	assert.True(t, Closing.IsMoving())
}

// A gate in every physical state that a blade can be in, driven by anybody at any time: at any place, stuck, sliding by
// itself, moved by hand, its switches as they should be, both made, none made, or one made for ever, its board reset.
// Whatever happens, it is never driven too long, never claims an end that its switches do not show or that it has not had
// the time to reach, and every motion ends: it arrives, is assumed after twice its travel, or has failed. This is slice (a)
// of the exploration in package controller, which takes as free what is bounded here. Breadth first over all states, with a
// tick of a quarter of a second and a travel of four ticks.
func TestEveryMotionOfEveryGate(t *testing.T) {
	const tick = Instant(250)
	for name, l := range map[string]Limits{"switches": switched, "bare": bare, "open switch": openOnly, "closed switch": {Travel: 1000, ClosedSwitch: true}} {
		t.Run(name, func(t *testing.T) {
			began := time.Now()
			type world struct {
				m     Motion // times relative to now
				place int8   // 0 closed to 4 open
				stuck bool
				shows Proof // what its switches show whatever the place; NoProof: as the place is
				run   int8  // ticks that it has been driven this way
				tried int8  // drives of the motion under way, by its own count
			}
			see := func(w *world) {
				p := [...]Proof{SeenClosed, SeenNeither, SeenNeither, SeenNeither, SeenOpen}[w.place]
				if w.shows != NoProof {
					p = w.shows
				}
				was := w.m.Drive
				w.m.See(p, &l)
				if was != w.m.Drive {
					w.run = 0
				}
			}
			longest := int8(Instant(l.LongestRun()) / tick)
			start := world{}
			see(&start)
			seen := map[world]int{start: 0}
			queue := []world{start}
			transitions, deepest := 0, 0
			outcomes := map[Where]int{}
			for len(queue) > 0 {
				w := queue[0]
				queue = queue[1:]
				for act := range 16 {
					n := w
					now := 1000 * tick
					if n.m.Since != 0 {
						n.m.Since += now + 1 // -1 is now: 0 means none
					}
					ask := func(d Drive) {
						if n.m.Pausing() && n.m.Way == d && !n.m.Again(now) {
							return
						}
						was := n.m
						n.m.Ask(d, now, &l)
						if was.Drive == n.m.Drive {
							return
						}
						n.run = 0
						require.NotEqual(t, Failed, was.Where, "it has failed and is driven: %+v -> %+v", w, n)
						if n.tried++; !was.Pausing() || was.Way != d {
							n.tried = 1
						}
						require.LessOrEqual(t, n.tried, int8(2), "a third try: %+v -> %+v", w, n)
					}
					switch act {
					case 0: // time passes
						if n.m.Drive != DriveNone {
							n.run++
							if p := n.place + int8(n.m.Drive); !n.stuck && p >= 0 && p <= 4 {
								n.place = p
							}
						}
						now += tick
						see(&n)
						was := n.m
						n.m.Advance(now, &l)
						if was.Drive != n.m.Drive {
							if n.m.Where.IsOpen() || n.m.Where.IsClosed() {
								require.GreaterOrEqual(t, n.run, int8(8), "assumed before twice its travel: %+v -> %+v", w, n)
								require.False(t, l.shows(was.Way), "assumed although a switch could show it: %+v -> %+v", w, n)
							}
							n.run = 0
						}
					case 1:
						ask(DriveOpen)
					case 2:
						ask(DriveClose)
					case 3:
						n.m.Stop()
						n.run = 0
					case 4:
						n.stuck = !n.stuck
					case 5, 6, 7: // moved by hand
						n.place = int8(2 * (act - 5))
						see(&n)
					case 8, 9, 10, 11, 12: // its switches
						n.shows = Proof(act - 8)
						see(&n)
					case 13:
						n.m.Clear()
					case 14:
						if n.m.Drive != DriveNone { // cut before its time: it does not count as a try
							n.tried--
						}
						n.m.Reset(now)
						if n.m.Drive == DriveNone {
							n.run = 0
						}
					case 15: // it slides by itself
						if n.place > 0 {
							n.place--
						}
						see(&n)
					}
					transitions++
					n.m.moves = moves{}
					if n.m.Drive == DriveNone && !n.m.Pausing() {
						n.tried = 0
					}
					if n.m.Since != 0 {
						n.m.Since -= now + 1
						if n.m.Pausing() { // a pause that is over stays over until somebody asks
							n.m.Since = max(n.m.Since, -Instant(Pause)-1)
						}
						if n.m.Since < -100*tick {
							t.Fatalf("a drive that is not under way keeps a time: %+v", n)
						}
					}
					holds := func(ok bool, what string) {
						if !ok {
							t.Fatalf("%s: %+v -> %d -> %+v", what, w, act, n)
						}
					}
					holds(n.run <= longest, "driven too long")
					switch n.m.Where {
					case OpenProved:
						holds(l.OpenSwitch && l.fitted(n.m.Seen) == SeenOpen, "open, and no switch shows it")
					case ClosedProved:
						holds(l.ClosedSwitch && l.fitted(n.m.Seen) == SeenClosed, "closed, and no switch shows it")
					case OpenAssumed:
						holds(!l.OpenSwitch, "assumed although a switch could show it")
					case ClosedAssumed:
						holds(!l.ClosedSwitch, "assumed although a switch could show it")
					}
					holds((n.m.Drive != DriveNone) == (n.m.Tries > 0 && !n.m.Pausing()), "driven without a motion")
					_, due := n.m.Due(&l)
					holds((n.m.Tries > 0) == due, "every motion has an end")
					if _, known := seen[n]; !known {
						seen[n] = seen[w] + 1
						deepest = max(deepest, seen[n])
						outcomes[n.m.Where]++
						queue = append(queue, n)
					}
				}
			}
			cameTo(t, "(a) one gate, %s: %d states, %d transitions, depth %d, %.1f s, complete; leaves out: how often it moves in a minute (TestMovesOfEveryMinute), places between five",
				name, len(seen), transitions, deepest, time.Since(began).Seconds())
			assert.Greater(t, len(seen), 200)
			assert.Positive(t, outcomes[Opening], "it opens")
			if l.shows(DriveOpen) {
				assert.Positive(t, outcomes[OpenProved])
				assert.Positive(t, outcomes[Failed])
			} else {
				assert.Positive(t, outcomes[OpenAssumed])
			}
		})
	}
}

// cameTo prints what an exploration came to, and keeps it in the file that FIGURES names.
func cameTo(t *testing.T, format string, args ...any) {
	t.Helper()
	line := fmt.Sprintf(format, args...)
	t.Log(line)
	if path := os.Getenv("FIGURES"); path != "" {
		f, err := os.OpenFile(path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
		require.NoError(t, err)
		defer f.Close()
		_, err = fmt.Fprintln(f, line)
		require.NoError(t, err)
	}
}

// How often one gate moves, for every order of wishes in ticks of fifteen seconds, four of which make the minute: never more
// than the shop allows in any minute, and a gate that was closed can be opened at once, and tried once more.
func TestMovesOfEveryMinute(t *testing.T) {
	const tick, now = 15 * Instant(Second), 1000 * Instant(Minute)
	for most := uint8(LeastMovesPerMinute); most <= 6; most++ {
		type world struct {
			age  [MostMovesPerMinute]Instant // of the moves of the last minute
			n    uint8
			last Drive
		}
		seen := map[world]bool{{}: true}
		queue := []world{{}}
		transitions := 0
		for len(queue) > 0 {
			w := queue[0]
			queue = queue[1:]
			for act := range 3 {
				n, at := w, now
				var m Motion
				for i := range int(w.n) {
					m.moves.add(now - w.age[i])
				}
				switch way := []Drive{DriveNone, DriveOpen, DriveClose}[act]; way {
				case DriveNone:
					at += tick
					m.Advance(at, &bare)
				default:
					ok, when := m.May(way, at, most)
					if !ok {
						require.Greater(t, when, at, "it says when")
						again, _ := m.May(way, when, most)
						require.True(t, again, "and then it may")
						continue
					}
					m.Ask(way, at, &bare)
					n.last = way
					require.LessOrEqual(t, m.Moves(), int(most))
					if way == DriveClose {
						ok, _ := m.May(DriveOpen, at, most)
						require.True(t, ok, "what was closed can be opened at once")
					}
				}
				transitions++
				ages, count := m.MoveAges()
				n.n, n.age = uint8(count), [MostMovesPerMinute]Instant{}
				for i := range count {
					n.age[i] = at - ages[i]
				}
				if !seen[n] {
					seen[n] = true
					queue = append(queue, n)
				}
			}
		}
		cameTo(t, "(a) moves of one gate, %d a minute: %d states, %d transitions, complete; leaves out: times between ticks of 15 s", most, len(seen), transitions)
	}
}
