package controller_test

import (
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

// packed is a state of a slice without time, core and observers, in bits. Being exact, two states never share one.
type packed [5]uint64

func (p *packed) hash() uint64 {
	h := uint64(0x9E3779B97F4A7C15)
	for _, w := range p {
		h ^= w
		h *= 0xD6E8FEB86659FD93
		h ^= h >> 32
	}
	return h
}

func bit(b bool) uint64 {
	if b {
		return 1
	}
	return 0
}

// writeScene writes the observers' notebook and sets.
func (w *world) writeScene(b *controller.Bits) {
	shop := w.slice.shop
	b.Put(bit(w.duty)|bit(w.clean)<<1|uint64(w.line)<<2, 4)
	for g := range shop.Gates {
		d := &w.gate[g]
		b.Put(uint64(d.seen)|uint64(w.drive[g]+1)<<3|bit(d.held != 0)<<5|bit(d.assumed)<<6|bit(d.off)<<7|bit(d.silent)<<8, 9)
	}
	for m := range shop.Machines {
		d := &w.mach[m]
		b.Put(uint64(d.belief)|bit(d.running)<<2|bit(d.idle)<<3|bit(d.pressed != 0)<<4|bit(d.dropped)<<5, 6)
	}
	for c := range shop.Collectors {
		d := &w.coll[c]
		b.Put(uint64(d.feedback)|bit(d.open)<<2|bit(d.fresh)<<3|bit(d.held)<<4, 5)
	}
	for i, r := range w.rules {
		if r.remembers {
			k := &w.keeps[i].set
			b.Put(uint64(k[0])|uint64(k[1])<<3|uint64(k[2])<<6|uint64(k[3])<<9, 12)
		}
	}
}

// readScene reads what writeScene wrote.
func (w *world) readScene(b *controller.Bits) {
	shop := w.slice.shop
	ahead := func(v uint64) controller.Instant {
		if v&1 == 0 {
			return 0
		}
		return w.now + 1000
	}
	v := b.Get(4)
	w.duty, w.clean, w.line = v&1 != 0, v&2 != 0, gates.Set(v>>2)
	for g := range shop.Gates {
		v := b.Get(9)
		w.drive[g] = gates.Drive(v>>3&3) - 1
		w.gate[g] = sceneGate{seen: gates.Proof(v & 7), held: ahead(v >> 5), assumed: v&64 != 0, off: v&128 != 0, silent: v&256 != 0}
	}
	for m := range shop.Machines {
		v := b.Get(6)
		w.mach[m] = sceneMachine{belief: current.Belief(v & 3), running: v&4 != 0, idle: v&8 != 0, pressed: ahead(v >> 4), dropped: v&32 != 0}
	}
	for c := range shop.Collectors {
		v := b.Get(5)
		w.coll[c] = sceneCollector{feedback: controller.Feedback(v & 3), open: v&4 != 0, fresh: v&8 != 0, held: v&16 != 0}
	}
	for i, r := range w.rules {
		k := &w.keeps[i].set
		if *k = [4]gates.Set{}; r.remembers {
			v := b.Get(12)
			k[0], k[1], k[2], k[3] = gates.Set(v&7), gates.Set(v>>3&7), gates.Set(v>>6&7), gates.Set(v>>9&7)
		}
	}
}

// untime takes time out of the observers' memory.
func (w *world) untime() {
	for g := range w.shop.Gates {
		d := &w.gate[g]
		d.pushed, d.gaveUp, d.pauses = 0, false, false // I24 is judged where time passes
		if d.held != 0 {
			d.held = w.now + 1000
		}
	}
	for m := range w.shop.Machines {
		d := &w.mach[m]
		if d.pressed != 0 {
			d.pressed = w.now + 1000
		}
		d.dropped = d.dropped && d.pressed != 0
	}
	for c := range w.shop.Collectors {
		w.coll[c].off, w.coll[c].byHand, w.coll[c].stood = 0, false, false // and so are rest and starts
	}
	for i, r := range w.rules {
		if r.timed {
			w.keeps[i].at, w.keeps[i].list = [most]controller.Instant{}, [most]instants{}
		}
	}
}

// packed is the world as bits, unpack the way back.
func (w *world) packed() (p packed) {
	w.untime()
	var b controller.Bits
	w.s.PackUntimed(w.slice.shop, &b)
	w.writeScene(&b)
	return packed(b.W)
}

func (w *world) unpack(p packed) {
	b := controller.Bits{W: [5]uint64(p)}
	w.s.UnpackUntimed(w.slice.shop, &b)
	w.readScene(&b)
	w.wrong = w.wrong[:0]
}

// copied is a world without time, kept to begin from it again.
type copied struct {
	core  controller.Saved
	scene scene
	sets  [16][4]gates.Set
}

func (w *world) keep(c *copied) {
	w.s.Save(&c.core)
	c.scene = w.scene
	for i := range w.keeps {
		c.sets[i] = w.keeps[i].set
	}
}

func (w *world) back(c *copied) {
	w.s.Restore(&c.core)
	w.scene = c.scene
	for i := range w.keeps {
		w.keeps[i].set = c.sets[i]
	}
	w.wrong = w.wrong[:0]
}

const shards = 64

// shard holds the states of one part of the hashes, and finds them.
type shard struct {
	sync.Mutex
	at     []packed
	parent []uint32 // shard and place of the state that it was found from
	table  []uint64 // half of the hash, place and 1, by the rest of the hash
}

// add keeps a state that is new.
func (s *shard) add(p *packed, h uint64, parent uint32) bool {
	if 4*len(s.at) >= 3*len(s.table) {
		s.grow()
	}
	mask := uint64(len(s.table) - 1)
	for i := (h >> 6) & mask; ; i = (i + 1) & mask {
		switch k := s.table[i]; {
		case k == 0:
			s.at, s.parent = append(s.at, *p), append(s.parent, parent)
			s.table[i] = h>>32<<32 | uint64(len(s.at))
			return true
		case k>>32 == h>>32 && s.at[uint32(k)-1] == *p:
			return false
		}
	}
}

func (s *shard) grow() {
	old := s.table
	s.table = make([]uint64, max(1024, 2*len(old)))
	mask := uint64(len(s.table) - 1)
	for _, k := range old {
		if k == 0 {
			continue
		}
		i := (s.at[uint32(k)-1].hash() >> 6) & mask
		for s.table[i] != 0 {
			i = (i + 1) & mask
		}
		s.table[i] = k
	}
}

const placeBits = 26

// orders is an exploration without time under way, on every processor: a breadth at a time.
type orders struct {
	slice *slice
	part  [shards]shard
	done  [shards]int // states of each part whose moves were tried

	lock  sync.Mutex
	wrong string // what was found first, and how it came
	place uint32
	by    move
	spent bool
}

// exploreOrders visits every state of a slice without time.
func exploreOrders(sl *slice) found {
	began := time.Now()
	o := &orders{slice: sl}
	start := newWorld(sl, nil).packed()
	h := start.hash()
	o.part[h%shards].add(&start, h, uint32(h%shards)<<placeBits)
	f := found{complete: true, tried: map[string]int{}}
	workers := make([]*world, runtime.GOMAXPROCS(0))
	for i := range workers {
		workers[i] = newWorld(sl, nil)
	}
	tried := make([]int, len(workers))
	for o.wrong == "" {
		f.depth++
		var until [shards]int
		ahead := 0
		for i := range o.part {
			until[i] = len(o.part[i].at)
			ahead += until[i] - o.done[i]
		}
		if ahead == 0 {
			break
		}
		var next atomic.Int32
		var all sync.WaitGroup
		for i, w := range workers {
			all.Go(func() {
				for n := int(next.Add(1)) - 1; n < shards; n = int(next.Add(1)) - 1 {
					tried[i] += o.expand(w, n, until[n])
				}
			})
		}
		all.Wait()
		o.done = until
	}
	if o.wrong != "" {
		f.wrong, f.story, f.complete = o.wrong, o.retell(), false
	}
	for i := range o.part {
		f.states += len(o.part[i].at)
	}
	for i, w := range workers {
		f.transitions += tried[i]
		f.visited += w.visited
		for id, n := range w.tried {
			f.tried[id] += n
		}
	}
	f.took = time.Since(began)
	return f
}

// expand tries every move in the states of one part, and reports how many.
func (o *orders) expand(w *world, part, until int) (tried int) {
	var moves []move
	var base copied
	from := &o.part[part]
	for k := o.done[part]; k < until; k++ {
		from.Lock()
		p := from.at[k]
		from.Unlock()
		w.unpack(p)
		w.keep(&base)
		moves = o.slice.moves(w, moves[:0])
		place := uint32(part)<<placeBits | uint32(k)
		for _, m := range moves {
			for _, spent := range [...]bool{false, true} {
				w.back(&base)
				if spent {
					w.spendAll()
				}
				tried++
				o.slice.apply(w, m)
				starts := w.starts()
				q := w.packed()
				h := q.hash()
				to := &o.part[h%shards]
				to.Lock()
				fresh := len(w.wrong) == 0 && to.add(&q, h, place)
				to.Unlock()
				wrong := ""
				switch {
				case len(w.wrong) > 0:
					wrong = w.wrong[0]
				case fresh && o.slice.visit != nil:
					wrong = o.slice.visit(w)
				}
				if wrong == "" && o.slice.follow != nil {
					wrong = o.slice.follow(w, p, m, q)
				}
				if wrong != "" {
					o.lock.Lock()
					if o.wrong == "" {
						o.wrong, o.place, o.by, o.spent = wrong, place, m, spent
					}
					o.lock.Unlock()
					return tried
				}
				if !starts || !o.slice.merges {
					break
				}
			}
		}
	}
	return tried
}

// starts reports whether the last step started a collector: then what it does when no start can be afforded is another
// successor. Nothing else that a step does here depends on the hour's starts.
func (w *world) starts() bool {
	for _, e := range w.out {
		if e.Kind == controller.StartCollector {
			return true
		}
	}
	return false
}

func (w *world) spendAll() {
	for c := range w.slice.shop.Collectors {
		w.s.Spend(w.slice.shop, c, true)
	}
}

// retell tells the shortest way to what is wrong.
func (o *orders) retell() string {
	var way []packed
	for place := o.place; ; {
		s, k := &o.part[place>>placeBits], place&(1<<placeBits-1)
		way = append(way, s.at[k])
		if s.parent[k] == place || len(way) > 10_000 {
			break
		}
		place = s.parent[k]
	}
	w := newWorld(o.slice, &strings.Builder{})
	story := w.story
	var base copied
	again := func(m move, spent bool, tells *strings.Builder) {
		w.back(&base)
		if w.story = tells; spent {
			w.spendAll()
		}
		o.slice.apply(w, m)
	}
	for i := len(way) - 1; i > 0; i-- {
		w.unpack(way[i])
		w.keep(&base)
	found:
		for _, m := range o.slice.moves(w, nil) {
			for _, spent := range [...]bool{false, true} {
				if again(m, spent, nil); w.packed() == way[i-1] {
					again(m, spent, story)
					break found
				}
			}
		}
	}
	w.unpack(way[0])
	w.keep(&base)
	again(o.by, o.spent, story)
	return w.told()
}
