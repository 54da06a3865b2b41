package loop

import (
	"fmt"
	"sync/atomic"
	"time"

	"ductwarden/controller"
	"ductwarden/current"
)

// sight is the mailbox of one meter: the newest belief, health and current in one word, so that a reader never
// sees half of it. The bus's lane writes, the core's lane reads; neither waits.
type sight struct {
	word   atomic.Uint64
	name   string
	facts  factsBox
	ailing ailment
}

// factsBox carries what a channel shows of itself. Its words are read one by one: a bias of this moment beside a
// noise of the last harms nobody.
type factsBox struct {
	bias, noise atomic.Int64 // uV and mA above bit 0, which says whether it is known
	counts      atomic.Uint64
	has         atomic.Bool
	next        time.Duration // own to the bus's lane
}

const factsEvery = 500 * time.Millisecond

// look takes the facts of a channel in, now and then.
func (b *factsBox) look(now time.Duration, m current.Meter) {
	if now < b.next {
		return
	}
	b.next = now + factsEvery
	d, ok := m.(current.Detailed)
	if !ok {
		return
	}
	f := d.Facts()
	b.has.Store(true)
	b.bias.Store(known(f.Bias, f.BiasKnown))
	b.noise.Store(known(int64(f.Noise), f.NoiseSeen))
	b.counts.Store(uint64(f.Gaps)<<32 | uint64(f.Rails))
}

func known(v int64, ok bool) int64 {
	if !ok {
		return 0
	}
	return v<<1 | 1
}

// show is what a snapshot shows of the channel; nil: it has nothing to show.
func (s *sight) show() *controller.Channel {
	why := s.ailing.sentence()
	if !s.facts.has.Load() && why == "" {
		return nil
	}
	figure := func(v int64, per float64) *float64 {
		if v&1 == 0 {
			return nil
		}
		f := float64(v>>1) / per
		return &f
	}
	n := s.facts.counts.Load()
	return &controller.Channel{
		Name: s.name, BiasV: figure(s.facts.bias.Load(), 1e6), NoiseA: figure(s.facts.noise.Load(), 1000),
		Gaps: uint32(n >> 32), Rails: uint32(n), Why: why,
	}
}

// packed lays a meter's state out: current in the low half, then whether there is one, health, belief.
func packed(m current.Meter) uint64 {
	rms, ok := m.RMS()
	w := uint64(uint32(rms))
	if ok {
		w |= 1 << 32
	}
	return w | uint64(m.Health())<<40 | uint64(m.Belief())<<48
}

// look takes the meter's state in and reports whether its belief or health is another.
func (s *sight) look(m current.Meter) bool {
	w := packed(m)
	old := s.word.Load()
	if w == old {
		return false
	}
	s.word.Store(w)
	return w>>40 != old>>40
}

func (s *sight) belief() current.Belief { return current.Belief(s.word.Load() >> 48) }
func (s *sight) health() current.Health { return current.Health(s.word.Load() >> 40) }

func (s *sight) rms() (milliamperes int32, ok bool) {
	w := s.word.Load()
	return int32(uint32(w)), w>>32&1 != 0
}

// chipTask polls a chip on its bus's lane and puts what its meters see into their mailboxes.
type chipTask struct {
	chip   *Chip
	sights []*sight
	state  atomic.Uint64 // resets above bit 1, silent in bit 0
	core   Handle

	ailing  ailment
	trouble func(what string, err error)
}

// Poll implements Task.
func (t *chipTask) Poll(now time.Duration) time.Duration {
	next, err := t.chip.Poll(now)
	news := false
	for i := range t.chip.Meters {
		if t.sights[i].look(t.chip.Meters[i].Meter) {
			news = true
		}
		t.sights[i].facts.look(now, t.chip.Meters[i].Meter)
	}
	var state uint64
	if t.chip.State != nil {
		s := t.chip.State()
		state = uint64(s.Resets) << 1
		if s.Silent {
			state |= 1
		}
	} else if err != nil && len(t.chip.Meters) == 0 {
		state = 1
	}
	if t.state.Swap(state) != state {
		news = true
	}
	if t.ail(now) {
		news = true
	}
	if news {
		t.core.Wake()
	}
	return next
}

// ail follows what is wrong with the chip and with its meters, and reports whether there is something new to show.
func (t *chipTask) ail(now time.Duration) (news bool) {
	var err error
	if t.chip.Err != nil {
		err = t.chip.Err()
	}
	if t.ailing.see(now, err) {
		news = true
		t.tell(t.chip.Name, err)
	}
	for i, s := range t.sights {
		var of error
		if h := s.health(); err == nil && h != current.Good && h != current.HealthUntried {
			of = ill{s.name, string(t.chip.Lane), h}
		}
		if s.ailing.see(now, of) {
			news = true
			t.tell(t.chip.Meters[i].String(), of)
		}
	}
	return news
}

func (t *chipTask) tell(what string, err error) {
	if t.trouble != nil {
		t.trouble(what, err)
	}
}

// ill is a channel that is not good, as an error.
type ill struct {
	name, lane string
	health     current.Health
}

func (i ill) Error() string {
	return fmt.Sprintf("%s on %s is %v: %s", i.name, i.lane, i.health, i.health.Advice())
}

// ailment follows something that is wrong: what lasts for a moment is told once, and once that it is over.
type ailment struct {
	why   atomic.Pointer[string] // one sentence; nil: all is well
	since time.Duration          // of the trouble; 0: there is none. Own to the lane
}

func (a *ailment) see(now time.Duration, err error) (news bool) {
	switch {
	case err == nil && a.since == 0:
		return false
	case err == nil:
		a.since = 0
		return a.why.Swap(nil) != nil
	case a.since == 0:
		a.since = max(now, 1)
		return false
	case now-a.since < failFor || a.why.Load() != nil:
		return false
	}
	s := err.Error()
	a.why.Store(&s)
	return true
}

// sentence is what is wrong; "" for nothing.
func (a *ailment) sentence() string {
	if s := a.why.Load(); s != nil {
		return *s
	}
	return ""
}

func (t *chipTask) silent() bool { return t.state.Load()&1 != 0 }
func (t *chipTask) resets() int  { return int(t.state.Load() >> 1) }

// tapTask reads a pressure tap a few times a second.
type tapTask struct {
	tap  *Tap
	word atomic.Int64 // tenths of a pascal above bit 0, which says whether there is a reading
}

// tapEvery is how often a tap is asked: its converter looks at it no more often.
const tapEvery = 250 * time.Millisecond

// Poll implements Task.
func (t *tapTask) Poll(now time.Duration) time.Duration {
	w := int64(0)
	if p, ok := t.tap.Read(); ok {
		w = int64(p*10)<<1 | 1
	}
	t.word.Store(w)
	return now + tapEvery
}

func (t *tapTask) pascals() (float64, bool) {
	w := t.word.Load()
	return float64(w>>1) / 10, w&1 != 0
}

// pulse is a task that shows that its lane's goroutine turns. A lane that hangs in a transfer shows nothing.
type pulse struct{ seen atomic.Int64 }

const (
	pulseEvery = 200 * time.Millisecond
	// laneStale is how long a lane may show nothing before what it told counts as unknown. A transfer is bounded
	// by the adapter's time-out, far below this.
	laneStale = 1200 * time.Millisecond
)

// Poll implements Task.
func (p *pulse) Poll(now time.Duration) time.Duration {
	p.seen.Store(int64(now))
	return now + pulseEvery
}

func (p *pulse) isStale(now time.Duration) bool { return now-time.Duration(p.seen.Load()) > laneStale }
