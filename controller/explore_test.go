package controller_test

import (
	"fmt"
	"hash/maphash"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/gates"
)

// Exploration visits every state that a slice can reach, breadth first, so that the first counterexample is a shortest
// one. A state is the core's key, the observers' memory and the slice's own surroundings, written as bytes; visited ones
// are kept as 64-bit hashes (of ten million states two share one by chance in about one run of a million), in slices (c)
// whole.
//
// The slices divide the work. (a) in package gates: one motion machine against every physical gate, with time. (b) rest,
// starts, least run and linger against every course of a working hour, with time. (c) the core without time: every timer
// that runs may end at any moment, every piece of evidence may come at any moment, all faults at once. What (c) takes as
// free, (a) and (b) bound: when a drive ends and how, when a start is afforded. That states which (c) counts as one have
// the same successors is shown by TestMergedStatesStandForAll. (d) the whole with its times, one fault at a time, to a
// stated depth.

// slice is one exploration.
type slice struct {
	name      string
	shop      *controller.Shop
	rules     []*rule
	untimed   bool
	merges    bool // what differs by a motion's try, a length of run, a name of a latch counts as one state
	leavesOut string
	depth     int // 0: until nothing is new
	states    int // stop there, and say so

	start func(w *world) // from the zero state
	moves func(w *world, to []move) []move
	apply func(w *world, m move)
	pack  func(w *world, p *packer) // the surroundings
	visit func(w *world) string     // what is wrong with a state that was reached

	follow func(w *world, from packed, m move, to packed) string // what is wrong with a move, in a slice without time
}

// move is one thing that may happen next.
type move struct {
	kind, n, v uint8
}

// world is a state of a slice, unpacked.
type world struct {
	slice *slice
	s     controller.State
	*watchers
	env   env
	out   []controller.Effect
	story *strings.Builder // writes what happens, when set

	visited int // states from which rest and a way back were looked for
	twin    *world
}

// env is what a slice remembers beside core and observers.
type env struct {
	n     [12]int8
	at    [4]controller.Instant
	saved instants // the file of starts
	fault uint8
}

// noon is when every world is unpacked: ages count, not times.
const noon = controller.Instant(1) << 40

// do gives one event to core and observers.
func (w *world) do(k controller.EventKind, n int, v int32, by controller.Source) {
	ev := controller.Event{At: w.s.Now(), Kind: k, N: uint8(n), V: v, By: by}
	if k >= controller.MachinePressed && k < controller.Restarted {
		ev.Ref = 1
	}
	w.step(ev)
}

func (w *world) step(ev controller.Event) {
	w.out = controller.Step(w.slice.shop, &w.s, ev, w.out[:0])
	if w.story != nil {
		w.story.WriteString(told(w.slice.shop, pastStep{ev, w.out}))
	}
	w.see(ev, w.out, &w.s)
	if w.slice.untimed {
		w.s.Untimed(w.slice.shop)
		if w.slice.merges {
			w.s.Merge(w.slice.shop)
		}
	}
}

// packer writes a world as bytes, or reads it: the same fields in the same order.
type packer struct {
	buf   []byte
	reads bool
	now   controller.Instant
}

func (p *packer) raw(v uint64) uint64 {
	if !p.reads {
		rest := v
		for ; rest >= 0x80; rest >>= 7 {
			p.buf = append(p.buf, byte(rest)|0x80)
		}
		p.buf = append(p.buf, byte(rest))
		return v
	}
	v = 0
	for i := 0; ; i++ {
		b := p.buf[i]
		v |= uint64(b&0x7f) << (7 * i)
		if b < 0x80 {
			p.buf = p.buf[i+1:]
			return v
		}
	}
}

func small[T ~int8 | ~uint8 | ~uint64](p *packer, v *T) {
	x := p.raw(uint64(uint8(*v)))
	if p.reads {
		*v = T(x)
	}
}

func flags(p *packer, of ...*bool) {
	x := uint64(0)
	for i, b := range of {
		if *b {
			x |= 1 << i
		}
	}
	x = p.raw(x)
	if p.reads {
		for i, b := range of {
			*b = x>>i&1 != 0
		}
	}
}

// age writes a moment as its distance from now; older than the horizon is all alike.
func (p *packer) age(at *controller.Instant, horizon controller.Instant) {
	x := uint64(0)
	if *at != 0 {
		d := min(p.now-*at, horizon)
		x = uint64(d)<<1 ^ uint64(d>>63)
		x++
	}
	x = p.raw(x)
	if !p.reads {
		return
	}
	if *at = 0; x != 0 {
		x--
		*at = p.now - controller.Instant(int64(x>>1)^-int64(x&1))
	}
}

func (s *scene) pack(p *packer) {
	flags(p, &s.duty, &s.clean)
	small(p, &s.line)
	for g := range s.shop.Gates {
		d := &s.gate[g]
		small(p, &d.seen)
		small(p, &s.drive[g])
		if s.drive[g] == gates.DriveNone && !p.reads {
			d.pushed = 0
		}
		p.age(&d.pushed, controller.Instant(controller.Minute))
		p.age(&d.held, 0)
		flags(p, &d.assumed, &d.off, &d.silent, &d.gaveUp, &d.pauses)
	}
	for m := range s.shop.Machines {
		d := &s.mach[m]
		small(p, &d.belief)
		flags(p, &d.running, &d.idle, &d.dropped)
		p.age(&d.pressed, 0)
	}
	for c := range s.shop.Collectors {
		d := &s.coll[c]
		small(p, &d.feedback)
		flags(p, &d.open, &d.fresh, &d.held, &d.byHand, &d.stood)
		p.age(&d.off, controller.Instant(max(s.shop.Collectors[c].Rest, s.shop.Collectors[c].ProveOff)))
	}
}

func (k *keeps) pack(p *packer, horizon controller.Instant) {
	for i := range k.set {
		small(p, &k.set[i])
	}
	used := uint64(0)
	for i := range k.at {
		if k.at[i] != 0 {
			used |= 1 << i
		}
		if k.list[i] != (instants{}) {
			used |= 1 << (most + i)
		}
	}
	used = p.raw(used)
	for i := range k.at {
		if used>>i&1 != 0 {
			p.age(&k.at[i], horizon)
		}
		if used>>(most+i)&1 == 0 {
			continue
		}
		l := &k.list[i]
		p.raw8(&l.n)
		n := uint8(0) // places in use, whatever n counts
		for j, at := range l.at {
			if at != 0 {
				n = uint8(j + 1)
			}
		}
		p.raw8(&n)
		for j := range n {
			p.age(&l.at[j], horizon)
		}
	}
}

func (p *packer) raw8(v *uint8) {
	if x := p.raw(uint64(*v)); p.reads {
		*v = uint8(x)
	}
}

// encode writes the world.
func (w *world) encode(buf []byte) []byte {
	shop := w.slice.shop
	buf = append(buf, 0, 0)
	buf = w.s.Key(shop, buf)
	n := len(buf) - 2
	buf[0], buf[1] = byte(n), byte(n>>8)
	p := &packer{buf: buf, now: w.s.Now()}
	due := w.s.Due()
	p.age(&due, 0)
	w.packRest(p)
	return p.buf
}

func (w *world) packRest(p *packer) {
	w.scene.pack(p)
	for i := range w.rules {
		horizon := controller.Instant(controller.Hour)
		if w.rules[i].horizon != nil {
			horizon = w.rules[i].horizon(w)
		}
		w.keeps[i].pack(p, horizon)
	}
	if w.slice.pack != nil {
		w.slice.pack(w, p)
	}
}

// decode reads what encode wrote.
func (w *world) decode(buf []byte) {
	shop := w.slice.shop
	n := int(buf[0]) | int(buf[1])<<8
	s, err := controller.Revive(shop, buf[2:2+n], noon)
	if err != nil {
		panic(err)
	}
	w.s = s
	p := &packer{buf: buf[2+n:], now: noon, reads: true}
	var due controller.Instant
	p.age(&due, 0)
	w.s.DueAt(due)
	w.scene = scene{shop: shop, now: noon}
	clear(w.keeps)
	w.wrong = w.wrong[:0]
	w.packRest(p)
}

// found is what an exploration came to.
type found struct {
	states, transitions, depth int
	took                       time.Duration
	complete                   bool
	wrong, story               string
	tried                      map[string]int
	visited                    int // states from which rest and a way back were looked for
}

// newWorld is the first state of a slice.
func newWorld(sl *slice, story *strings.Builder) *world {
	w := &world{slice: sl, watchers: watch(sl.shop, sl.rules...), story: story}
	w.scene.untimed, w.scene.now = sl.untimed, noon
	w.step(controller.Event{At: noon, Kind: controller.Restarted})
	if sl.start != nil {
		sl.start(w)
	}
	return w
}

var stamp = regexp.MustCompile(`(?m)^at (\d+)ms`)

// told is what has happened, with times counted from the beginning; without time there are none.
func (w *world) told() string {
	return stamp.ReplaceAllStringFunc(w.story.String(), func(s string) string {
		at, err := strconv.ParseInt(stamp.FindStringSubmatch(s)[1], 10, 64)
		if err != nil || w.slice.untimed {
			return "then"
		}
		return fmt.Sprintf("at %dms", at-int64(noon))
	})
}

// explore visits every state of a slice with times.
func explore(sl *slice) found {
	began := time.Now()
	seed := maphash.MakeSeed()
	seen := make(map[uint64]struct{}, 1<<16)
	type node struct {
		parent uint32
		move   move
	}
	nodes := []node{{}}
	w := newWorld(sl, nil)
	f := found{complete: true, tried: w.tried}
	tell := func(at uint32, last move, wrong string) {
		var way []move
		for i := at; i != 0; i = nodes[i].parent {
			way = append(way, nodes[i].move)
		}
		v := newWorld(sl, &strings.Builder{})
		for i := len(way) - 1; i >= 0; i-- {
			sl.apply(v, way[i])
			v.decode(v.encode(nil))
		}
		if wrong != "" {
			sl.apply(v, last)
		}
		f.wrong, f.story = wrong, v.told()
	}
	type open struct {
		at    uint32
		bytes []byte
	}
	first := w.encode(nil)
	seen[maphash.Bytes(seed, first)] = struct{}{}
	frontier, next := []open{{0, first}}, []open(nil)
	var moves []move
	var buf []byte
	for len(frontier) > 0 {
		if sl.depth > 0 && f.depth >= sl.depth {
			f.complete = false
			break
		}
		f.depth++
		for _, o := range frontier {
			w.decode(o.bytes)
			moves = sl.moves(w, moves[:0])
			for i, m := range moves {
				if i > 0 {
					w.decode(o.bytes)
				}
				f.transitions++
				sl.apply(w, m)
				wrong := ""
				if len(w.wrong) > 0 {
					wrong = w.wrong[0]
				}
				buf = w.encode(buf[:0])
				h := maphash.Bytes(seed, buf)
				_, known := seen[h]
				if !known && wrong == "" && sl.visit != nil {
					wrong = sl.visit(w)
				}
				if wrong != "" {
					tell(o.at, m, wrong)
					f.states, f.took, f.complete, f.visited = len(seen), time.Since(began), false, w.visited
					return f
				}
				if known {
					continue
				}
				seen[h] = struct{}{}
				nodes = append(nodes, node{o.at, m})
				next = append(next, open{uint32(len(nodes) - 1), append([]byte(nil), buf...)})
				if sl.states > 0 && len(seen) >= sl.states {
					f.states, f.took, f.complete = len(seen), time.Since(began), false
					return f
				}
			}
		}
		frontier, next = next, frontier[:0]
	}
	f.states, f.took, f.visited = len(seen), time.Since(began), w.visited
	return f
}

// holds explores a slice, prints what it came to, and fails with the shortest way to what is wrong.
func (sl *slice) holds(t *testing.T) found {
	f, began := found{}, time.Now()
	if sl.untimed {
		f = exploreOrders(sl)
	} else {
		f = explore(sl)
	}
	if f.wrong != "" {
		t.Fatalf("%s\n%s", f.wrong, f.story)
	}
	extent := "complete"
	if !f.complete {
		extent = fmt.Sprintf("bounded: to depth %d", f.depth)
	}
	if f.visited > 0 {
		extent += fmt.Sprintf("; rest and a way back from %d states of the core", f.visited)
	}
	line := fmt.Sprintf("%s: %d states, %d transitions, depth %d, %.1f s, %s; leaves out: %s", sl.name, f.states, f.transitions, f.depth, f.took.Seconds(), extent, sl.leavesOut)
	t.Log(line)
	var mem runtime.MemStats
	runtime.ReadMemStats(&mem)
	counted.Lock()
	defer counted.Unlock()
	explorations.lines = append(explorations.lines, line)
	explorations.rows = append(explorations.rows, fmt.Sprintf("| %s | %d | %d | %d | %s | %s |", sl.name, f.states, f.transitions, f.depth, extent, sl.leavesOut))
	if explorations.began.IsZero() || began.Before(explorations.began) {
		explorations.began = began
	}
	explorations.ended = time.Now()
	explorations.most = max(explorations.most, mem.Sys)
	if !*long {
		require.Less(t, mem.Sys, uint64(2<<30), "bytes taken from the system")
	}
	for _, r := range sl.rules {
		explored[r.id] += f.states
		exercised[r.id] += f.tried[r.id]
	}
	for _, id := range []string{"I28", "I30"} {
		exercised[id] += f.visited
		explored[id] += f.visited
	}
	return f
}

// counted guards the counts of explorations that run side by side.
var counted sync.Mutex

// explorations are what all slices of a run came to.
var explorations struct {
	lines, rows  []string // as they are printed, and as a table's
	began, ended time.Time
	most         uint64 // bytes taken from the system
}

// toldExplorations is what all slices came to, against the goals.
func toldExplorations() string {
	e := &explorations
	return fmt.Sprintf("%s\nexploration of the core, (b) to (d): %.1f min beside what else was tested (goal 4), at most %d MB taken from the system (goal 2048)",
		strings.Join(e.lines, "\n"), e.ended.Sub(e.began).Minutes(), e.most>>20)
}

// explored counts the states in which each observer was on.
var explored = map[string]int{}
