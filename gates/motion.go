package gates

import "fmt"

// Bounds of the moves that one gate may make in a minute. Four is one opening and one closing, each with its
// one further try.
const (
	LeastMovesPerMinute = 4
	MostMovesPerMinute  = 12
)

// Times of a motion.
const (
	leastProof = 3 * Second // own choice: 3 to 5 times the travel of a servo
	// Pause lies between the two tries of one motion: the driver's own longest run starts anew, and chips that
	// jam the slide may fall.
	Pause = 500 * Millisecond
)

// Limits are what the motion machine knows of one gate.
type Limits struct {
	Travel       Span // from end to end, as measured
	Proof        Span // a driven gate must prove within this; 0 = the larger of 3 s and 3 times Travel
	OpenSwitch   bool // an end switch, or a remote report, shows open
	ClosedSwitch bool // and one shows closed
	Hand         bool // moved by hand only: never driven
}

// Check reports a limit that the motion machine could not work with.
func (l Limits) Check() error {
	switch {
	case l.Hand:
		return nil
	case l.Travel < 50 || l.Travel > 60*Second:
		return fmt.Errorf("travel is %d ms; it may be 50 to 60000 ms", l.Travel)
	case l.Proof != 0 && (l.Proof < 2*l.Travel || l.Proof > 5*Minute):
		return fmt.Errorf("the time to prove is %d ms; it may be twice the travel (%d ms) to 300000 ms", l.Proof, 2*l.Travel)
	}
	return nil
}

// ProofTime is how long a driven gate may take to prove: the first try lasts so long, the further one and with
// it the longest run half as long again.
func (l Limits) ProofTime() Span {
	if l.Proof > 0 {
		return l.Proof
	}
	return max(leastProof, 3*l.Travel)
}

// LongestRun is the longest time that a gate is driven without a stop.
func (l Limits) LongestRun() Span { return l.ProofTime() + l.ProofTime()/2 }

// Motion is what is known of one gate and what is asked of its actuator. It is changed only by its methods,
// which are pure. The zero Motion is a gate of which nothing is known.
type Motion struct {
	Where Where
	Seen  Proof   // last evidence, of the switches that are fitted
	Drive Drive   // asked of the actuator now
	Way   Drive   // of the motion under way, or of the one that failed
	Tries uint8   // drives of the motion under way: 0 none, 1, 2. With DriveNone it pauses between the two
	Left  Drive   // the end that it left without a command: DriveOpen, DriveClose; DriveNone when it did not
	Since Instant // start of the drive, or of the pause
	moves moves
}

// moves are the starts of the drives of the last minute, oldest first.
type moves struct {
	at [MostMovesPerMinute]Instant
	n  uint8
}

// Pausing reports whether the gate rests between its two tries.
func (m *Motion) Pausing() bool { return m.Tries > 0 && m.Drive == DriveNone }

// Again reports whether the pause is over and the further try may begin.
func (m *Motion) Again(now Instant) bool { return m.Pausing() && now >= m.Since+Instant(Pause) }

// See takes the evidence of the end switches.
func (m *Motion) See(p Proof, l *Limits) {
	m.Seen = l.fitted(p)
	switch {
	case m.Where == Failed:
	case m.Tries > 0:
		if l.arrives(m.Way, m.Seen) {
			m.rest(m.Way, true)
		}
	case m.Seen == SeenOpen:
		m.found(OpenProved, DriveOpen, l)
	case m.Seen == SeenClosed:
		m.found(ClosedProved, DriveClose, l)
	case m.Where == OpenProved, m.Where == OpenAssumed && m.Seen == SeenBoth:
		m.found(WhereUnknown, DriveNone, l)
	case m.Where == ClosedProved, m.Where == ClosedAssumed && m.Seen == SeenBoth:
		m.found(WhereUnknown, DriveNone, l)
	}
}

// found takes a position that a gate at rest is seen in, and notes when it left another without a command.
func (m *Motion) found(w Where, end Drive, l *Limits) {
	was := DriveNone
	switch {
	case m.Where.IsOpen():
		was = DriveOpen
	case m.Where.IsClosed():
		was = DriveClose
	}
	m.Where = w
	switch {
	case l.Hand:
	case was != DriveNone && was != end:
		if m.Left == DriveNone {
			m.Left = was
		} else if m.Left == end {
			m.Left = DriveNone // back where it came from
		}
	case m.Left == end:
		m.Left = DriveNone
	}
}

// fitted leaves of the evidence what the fitted switches can show.
func (l *Limits) fitted(p Proof) Proof {
	open := l.OpenSwitch && (p == SeenOpen || p == SeenBoth)
	closed := l.ClosedSwitch && (p == SeenClosed || p == SeenBoth)
	switch {
	case !l.OpenSwitch && !l.ClosedSwitch:
		return NoProof
	case open && closed:
		return SeenBoth
	case open:
		return SeenOpen
	case closed:
		return SeenClosed
	}
	return SeenNeither
}

// arrives reports whether the evidence proves the end of a way.
func (l *Limits) arrives(way Drive, p Proof) bool {
	return way == DriveOpen && p == SeenOpen || way == DriveClose && p == SeenClosed
}

// shows reports whether a switch is fitted at the end of a way.
func (l *Limits) shows(way Drive) bool {
	return way == DriveOpen && l.OpenSwitch || way == DriveClose && l.ClosedSwitch
}

// rest ends a motion at its end, proved or assumed.
func (m *Motion) rest(end Drive, proved bool) {
	m.Drive, m.Tries, m.Way, m.Since, m.Left = DriveNone, 0, DriveNone, 0, DriveNone
	switch {
	case end == DriveOpen && proved:
		m.Where = OpenProved
	case end == DriveOpen:
		m.Where = OpenAssumed
	case proved:
		m.Where = ClosedProved
	default:
		m.Where = ClosedAssumed
	}
}

// Ask starts to drive the gate, or drives it once more after the pause. It does nothing to a gate that already
// drives that way, has failed, or is moved by hand.
func (m *Motion) Ask(way Drive, now Instant, l *Limits) {
	if l.Hand || m.Where == Failed || way == DriveNone || m.Drive == way {
		return
	}
	if m.Pausing() && m.Way == way {
		m.Tries = 2
	} else {
		m.Tries = 1
	}
	m.Drive, m.Way, m.Since, m.Left = way, way, now, DriveNone
	m.Where = Opening
	if way == DriveClose {
		m.Where = Closing
	}
	m.moves.add(now)
	if l.arrives(way, m.Seen) { // the switch already shows that end: nothing to drive
		m.rest(way, true)
	}
}

// Stop ends a motion where it is.
func (m *Motion) Stop() {
	if m.Tries > 0 {
		m.Drive, m.Tries, m.Way, m.Since = DriveNone, 0, DriveNone, 0
		m.Where = m.shown()
	}
}

// shown is the position that the switches alone show.
func (m *Motion) shown() Where {
	switch m.Seen {
	case SeenOpen:
		return OpenProved
	case SeenClosed:
		return ClosedProved
	}
	return WhereUnknown
}

// Reset is told when the actuator has lost its memory: a drive under way is cut and tried again after the pause, a
// position that was only assumed is no longer known.
func (m *Motion) Reset(now Instant) {
	if m.Drive != DriveNone {
		m.Drive, m.Since = DriveNone, now
		return
	}
	if m.Tries == 0 {
		m.Forget()
	}
}

// Forget ends a motion and drops a position that was only assumed: a person has taken the gate over.
func (m *Motion) Forget() {
	m.Stop()
	if m.Where != Failed {
		m.Where = m.shown()
	}
}

// Clear ends a failure, and forgets that the gate was moved by hand.
func (m *Motion) Clear() {
	m.Left = DriveNone
	if m.Where == Failed {
		m.Where, m.Way = m.shown(), DriveNone
	}
}

// Advance does what time brings: an end assumed, a pause, a failure.
func (m *Motion) Advance(now Instant, l *Limits) {
	m.moves.forget(now)
	due, ok := m.Due(l)
	if !ok || now < due || m.Drive == DriveNone {
		return
	}
	away := m.Way == DriveOpen && m.Seen == SeenClosed || m.Way == DriveClose && m.Seen == SeenOpen
	switch {
	case !l.shows(m.Way) && !away && m.Seen != SeenBoth:
		m.rest(m.Way, false)
	case m.Tries < 2:
		m.Drive, m.Since = DriveNone, now
	default:
		m.Drive, m.Tries, m.Since, m.Where = DriveNone, 0, 0, Failed
	}
}

// Due is when Advance has something to do, or the pause ends. ok is false while nothing is due.
func (m *Motion) Due(l *Limits) (at Instant, ok bool) {
	switch {
	case m.Pausing():
		return m.Since + Instant(Pause), true
	case m.Drive == DriveNone:
		return 0, false
	case !l.shows(m.Way):
		return m.Since + 2*Instant(l.Travel), true
	case m.Tries < 2:
		return m.Since + Instant(l.ProofTime()), true
	}
	return m.Since + Instant(l.LongestRun()), true
}

// May reports whether a drive may begin now without making more than most moves in a minute; if not, when.
// A closing leaves room for an opening and its further try, so that a gate which was closed can always be
// opened at once.
func (m *Motion) May(way Drive, now Instant, most uint8) (ok bool, at Instant) {
	need := uint8(2)
	switch {
	case way == DriveClose:
		need = 3
	case m.Pausing() && m.Way == way:
		need = 1
	}
	m.moves.forget(now)
	if m.moves.n+need <= most {
		return true, now
	}
	// so many of the oldest must leave the minute
	k := min(m.moves.n+need-most, m.moves.n)
	if k == 0 {
		return false, now + Instant(Minute)
	}
	return false, m.moves.at[k-1] + Instant(Minute)
}

// Moves is how many moves the gate made in the last minute.
func (m *Motion) Moves() int { return int(m.moves.n) }

// MoveAges yields the starts of these moves, oldest first, into a fixed array.
func (m *Motion) MoveAges() (at [MostMovesPerMinute]Instant, n int) {
	return m.moves.at, int(m.moves.n)
}

// WithMoves is the motion with the given starts of moves, oldest first.
func (m Motion) WithMoves(at []Instant) Motion {
	m.moves = moves{}
	for _, t := range at {
		m.moves.add(t)
	}
	return m
}

func (v *moves) add(now Instant) {
	v.forget(now)
	if int(v.n) >= len(v.at) {
		v.drop(1)
	}
	v.at[v.n] = now
	v.n++
}

// forget drops what is a minute old.
func (v *moves) forget(now Instant) {
	k := 0
	for k < int(v.n) && k < len(v.at) && now-v.at[k] >= Instant(Minute) {
		k++
	}
	if k > 0 {
		v.drop(k)
	}
}

func (v *moves) drop(k int) {
	n := min(int(v.n), len(v.at))
	copy(v.at[:], v.at[k:n])
	for i := n - k; i < n; i++ {
		v.at[i] = 0
	}
	v.n = uint8(n - k)
}
