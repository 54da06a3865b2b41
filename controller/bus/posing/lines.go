//go:build linux

package posing

import (
	"sync"
	"time"
)

// Pull is the resistor that a request asked for.
type Pull uint8

// The pulls.
const (
	AsIs Pull = iota
	Up
	Down
	None
)

// Change is one change of a line's voltage, or of its direction, in the order in which they happened.
type Change struct {
	At     time.Duration
	Output bool // the line is driven by the program
	High   bool // its voltage
}

// Line is one line as its pin shows it.
type Line struct {
	Name      string
	Consumer  string // who has it; "" for nobody
	Output    bool
	ActiveLow bool
	Pull      Pull
	Debounce  time.Duration
	High      bool // the voltage
	Log       []Change
}

// Lines is a GPIO chip: pins that programs request through the posing file and that the test looks at and
// drives from outside. Its methods may be called from any goroutine.
type Lines struct {
	start time.Time
	label string

	mu    sync.Mutex
	lines []Line
	held  map[*grant]bool
}

// NewLines makes a chip with so many lines, all inputs at low voltage, named by the given prefix and their
// number.
func NewLines(label, prefix string, n int) *Lines {
	c := &Lines{start: time.Now(), label: label, lines: make([]Line, n), held: map[*grant]bool{}}
	for i := range c.lines {
		if prefix != "" {
			c.lines[i].Name = prefix + itoa(i)
		}
	}
	return c
}

func itoa(n int) string {
	if n < 10 {
		return string(rune('0' + n))
	}
	return itoa(n/10) + itoa(n%10)
}

// Look gives a copy of a line.
func (c *Lines) Look(offset int) Line {
	c.mu.Lock()
	defer c.mu.Unlock()
	l := c.lines[offset]
	l.Log = append([]Change(nil), l.Log...)
	return l
}

// Take lets something other than the program have a line.
func (c *Lines) Take(offset int, who string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.lines[offset].Consumer = who
}

// Drive sets the voltage of an input from outside. A line that the program drives does not yield.
func (c *Lines) Drive(offset int, high bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	l := &c.lines[offset]
	if l.Output || l.High == high {
		return
	}
	l.High = high
	c.log(offset)
	for g := range c.held {
		g.happened(offset, high, time.Since(c.start))
	}
}

// log writes down what the line is now. The caller holds the lock.
func (c *Lines) log(offset int) {
	l := &c.lines[offset]
	l.Log = append(l.Log, Change{At: time.Since(c.start), Output: l.Output, High: l.High})
}

// put drives an output to a logical level. The caller holds the lock.
func (c *Lines) put(offset int, active bool) {
	l := &c.lines[offset]
	high := active != l.ActiveLow
	if l.High != high {
		l.High = high
		c.log(offset)
	}
}

// active is the logical level of a line. The caller holds the lock.
func (c *Lines) active(offset int) bool {
	l := &c.lines[offset]
	return l.High != l.ActiveLow
}

// Now is time on the clock of the lines' logs.
func (c *Lines) Now() time.Duration { return time.Since(c.start) }
