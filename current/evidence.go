package current

import "time"

// The rule of decision. Energies are mean squares in mA², times are microseconds, evidence is their product.
// Every level is a share of the square of the running or the idle level, so that one rule serves a 1 A lathe and
// a 20 A planer. The figures come from simulation (the detection benchmark prints what they reach); they are no
// quantities of the trade.
const (
	cellTime   = 800 * time.Microsecond // samples closer together are joined: any faster rate looks like about 1 kS/s
	longestGap = 5 * time.Millisecond   // a sample stands for no more time than this

	upPercent  = 129 // energy that counts as neither running nor idle, in percent of running²
	upCeiling  = 4   // a cell counts for no more than this many running²: a spike must last to matter
	upEnough   = 25_500
	upGrowing  = 1_340 // evidence worth staying on a shared converter's channel
	upPause    = 6_000 // and for how long after: it sinks at each zero of the current
	bigThirds  = 16    // a cell above 16/3 times running is big: a spike or an inrush
	bigWindow  = 30 * time.Millisecond
	bigGrowing = 3_500 // more than one spike: worth staying
	bigNeutral = 8_500 // big cells up to this much time in the window are neither for nor against

	downCeiling = 2
	downEnough  = 31_000
	downGrowing = 5_500
	quietWindow = 20_000 // a whole cycle at 50 Hz: pulses of a rectifier or a phase control come at least once in it
	quietCells  = 32
	quietCap    = 25 // a cell in that window counts for no more than this many idle²

	blockTime       = 10_000
	blocks          = 20
	blocksSpare     = 4 // the loudest are dropped: a spike, or a neighbour's inrush of up to 40 ms
	blocksSoon      = 10
	blocksSoonSpare = 5
	blockCap        = 4
)

// cell is the mean energy over a short time.
type cell struct {
	energy int64 // mA²
	time   int64 // us
}

// evidence gathers energy for and against a running motor. It knows no clock but the cells'.
type evidence struct {
	running2, idle2 int64 // squares of the levels, mA²
	big2            int64

	up, down int64 // mA² us
	pause    int64 // us since evidence of a start was last worth staying for

	bigs    [48]bigCell // the big cells of the last 30 ms, oldest first from bigFrom
	bigFrom int
	bigLen  int
	bigTime int64

	quiet     [quietCells]cell // the cells of the last 20 ms
	quietFrom int
	quietLen  int
	quietTime int64
	quietSum  int64 // mA² us

	block      cell // energy here is a sum, mA² us
	ring       [blocks]int64
	ringLen    int
	ringNext   int
	ringNewest time.Duration
}

type bigCell struct {
	at   time.Duration
	time int64
}

func newEvidence(running, idle int32) evidence {
	r, i := int64(running), int64(idle)
	return evidence{running2: r * r, idle2: i * i, big2: r * r * bigThirds * bigThirds / 9, pause: upPause}
}

// add takes one cell; floor is the learnt idle energy, which is no evidence of a motor.
func (e *evidence) add(at time.Duration, c cell, floor int64) {
	above := max(0, c.energy-floor)
	if !e.neutral(at, c) {
		e.up = max(0, e.up+(min(above, upCeiling*e.running2)-e.running2*upPercent/100)*c.time)
	}
	if e.pause += c.time; e.up > upGrowing*e.running2 {
		e.pause = 0
	}
	e.down = max(0, e.down+(e.idle2-min(above, downCeiling*e.idle2))*c.time)
	e.addQuiet(cell{min(above, quietCap*e.idle2), c.time})
	e.addBlock(at, cell{above, c.time})
}

// neutral reports whether a cell is big and may still be a spike: only so much big time in 30 ms is excused.
func (e *evidence) neutral(at time.Duration, c cell) bool {
	for e.bigLen > 0 && at-e.bigs[e.bigFrom].at >= bigWindow {
		e.bigTime -= e.bigs[e.bigFrom].time
		e.bigFrom = (e.bigFrom + 1) % len(e.bigs)
		e.bigLen--
	}
	if c.energy <= e.big2 {
		return false
	}
	if e.bigLen < len(e.bigs) {
		e.bigs[(e.bigFrom+e.bigLen)%len(e.bigs)] = bigCell{at, c.time}
		e.bigLen++
		e.bigTime += c.time
	}
	return e.bigTime <= bigNeutral
}

func (e *evidence) addQuiet(c cell) {
	for e.quietLen > 0 && (e.quietLen == len(e.quiet) || e.quietTime-e.quiet[e.quietFrom].time+c.time >= quietWindow) {
		old := e.quiet[e.quietFrom]
		e.quietTime -= old.time
		e.quietSum -= old.energy * old.time
		e.quietFrom = (e.quietFrom + 1) % len(e.quiet)
		e.quietLen--
	}
	e.quiet[(e.quietFrom+e.quietLen)%len(e.quiet)] = c
	e.quietLen++
	e.quietTime += c.time
	e.quietSum += c.energy * c.time
}

// isQuiet reports whether the last whole cycle, pulses and all, was below the idle level.
func (e *evidence) isQuiet() bool { return e.quietTime > 0 && e.quietSum/e.quietTime < e.idle2 }

func (e *evidence) addBlock(at time.Duration, c cell) {
	e.block.energy += min(c.energy, 1<<40) * c.time
	e.block.time += c.time
	if e.block.time < blockTime {
		return
	}
	if at-e.ringNewest > 2*time.Second {
		e.ringLen, e.ringNext = 0, 0
	}
	e.ring[e.ringNext] = min(e.block.energy/e.block.time, blockCap*e.running2)
	e.ringNext = (e.ringNext + 1) % blocks
	e.ringLen = min(e.ringLen+1, blocks)
	e.ringNewest = at
	e.block = cell{}
}

// lasting reports whether current has stood above the running level for a while: the slower rule for what lies
// just above it, and for narrow pulses (drives, phase control) whose peaks the quick rule cuts off. A disturbance
// of up to the spared time leaves the quieter blocks as they were.
func (e *evidence) lasting() bool {
	if e.block.time != 0 { // only when a block has just closed
		return false
	}
	return e.quieter(blocks, blocksSpare) >= e.running2 || e.quieter(blocksSoon, blocksSoonSpare) >= e.running2
}

// quieter is the mean of the last n blocks without the loudest; -1 while there are not as many.
func (e *evidence) quieter(n, spare int) int64 {
	if e.ringLen < n {
		return -1
	}
	sum := int64(0)
	var loudest [blocks]int64 // the spare loudest, rising
	for i := range n {
		v := e.ring[(e.ringNext+blocks-1-i)%blocks]
		sum += v
		if v <= loudest[0] {
			continue
		}
		j := 0
		for ; j+1 < spare && loudest[j+1] < v; j++ {
			loudest[j] = loudest[j+1]
		}
		loudest[j] = v
	}
	for _, v := range loudest[:spare] {
		sum -= v
	}
	return sum / int64(n-spare)
}

// says is what the evidence decides now against the belief b: Unknown while it is not enough for either.
func (e *evidence) says(b Belief) Belief {
	switch {
	case e.up > upEnough*e.running2 || b != Running && e.lasting():
		return Running
	case e.down > downEnough*e.idle2 && e.isQuiet():
		return Idle
	}
	return Unknown
}

// grows reports whether more samples on end may soon decide against what is believed.
func (e *evidence) grows(b Belief) bool {
	ended := e.down > downGrowing*e.idle2 && e.quietSum < 2*e.idle2*e.quietTime
	began := e.pause < upPause || e.bigTime > bigGrowing
	switch b {
	case Idle:
		return began
	case Running:
		return ended
	}
	return began || ended
}

// clear forgets what was gathered towards a decision, not the slower blocks.
func (e *evidence) clear() {
	e.up, e.down, e.pause = 0, 0, upPause
	e.bigLen, e.bigTime = 0, 0
	e.quietLen, e.quietTime, e.quietSum = 0, 0, 0
	e.block = cell{}
}

// forget clears everything.
func (e *evidence) forget() {
	e.clear()
	e.ringLen, e.ringNext = 0, 0
}
