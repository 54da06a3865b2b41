package bus

import (
	"fmt"
	"time"
)

// Bias is the resistor that the board connects to an input.
type Bias uint8

// The biases.
const (
	BiasAsIs Bias = iota // leave it as the board has it
	PullUp
	PullDown
	NoPull
)

// Edges says which changes of an input are kept with their time.
type Edges uint8

// The edges. Rising is towards active, whatever the polarity.
const (
	NoEdges Edges = iota
	Rising
	Falling
	BothEdges
)

// OutputLine says everything about an output before it is one.
type OutputLine struct {
	Offset    int    // of the chip's line
	Name      string // what it is for, shown by the kernel as the line's consumer: "collector start"
	ActiveLow bool   // a true level is a low voltage
	Initial   bool   // its level from the first moment; the line never has another on the way there
}

// InputLine says everything about an input.
type InputLine struct {
	Offset    int
	Name      string
	ActiveLow bool
	Bias      Bias
	Debounce  time.Duration // by the kernel, to 1 us; 0 for none
	Edges     Edges
}

// ChipInfo is a GPIO chip as the kernel describes it.
type ChipInfo struct {
	Path  string // /dev/gpiochip0
	Name  string // gpiochip0
	Label string // of its driver
	Lines int
}

// LineInfo is one line of a chip as the kernel describes it.
type LineInfo struct {
	Offset    int
	Name      string // by the board's device tree; may be empty
	Consumer  string // who has it
	Used      bool
	Output    bool
	ActiveLow bool
	Bias      Bias
	Debounce  time.Duration
}

// Edge is one change of an input.
type Edge struct {
	At     time.Duration // by the kernel's monotonic clock
	Line   int           // place in the list that Inputs was given
	Rising bool          // towards active
	Missed bool          // edges of this line were lost before this one
}

// lineChip is the system's side of a GPIO chip.
type lineChip interface {
	info() (ChipInfo, error)
	line(offset int) (LineInfo, error)
	output(OutputLine) (lineRequest, error)
	inputs([]InputLine) (lineRequest, error)
	close() error
}

// lineRequest is a set of lines held by this program.
type lineRequest interface {
	// get and set use bit i for line i of the request; levels are logical, the kernel knows the polarity.
	get() (uint64, error)
	set(bits uint64) error
	// edges fills buf with what has happened and returns at once. Line is the chip's offset.
	edges(buf []Edge) (int, error)
	close() error
}

// LineChip is an open GPIO chip.
type LineChip struct {
	sys lineChip
	ChipInfo
}

// OpenLines opens a GPIO chip by its name ("gpiochip0"), device file or driver's label. The label stays the
// same where kernels number chips differently.
func OpenLines(name string) (*LineChip, error) {
	sys, err := openLineChip(name)
	if err != nil {
		return nil, err
	}
	return newLineChip(sys)
}

func newLineChip(sys lineChip) (*LineChip, error) {
	info, err := sys.info()
	if err != nil {
		_ = sys.close()
		return nil, err
	}
	return &LineChip{sys: sys, ChipInfo: info}, nil
}

// Line describes one line without taking it.
func (c *LineChip) Line(offset int) (LineInfo, error) {
	if err := c.has(offset); err != nil {
		return LineInfo{}, err
	}
	return c.sys.line(offset)
}

// Find gives the offset of the line that the board's device tree calls by this name, "GPIO17".
func (c *LineChip) Find(name string) (int, error) {
	for o := range c.Lines {
		if l, err := c.sys.line(o); err == nil && l.Name == name && name != "" {
			return o, nil
		}
	}
	return 0, fmt.Errorf("%s has no line named %q: give its number instead, 0 to %d", c.Name, name, c.Lines-1)
}

// Close gives the chip back. Lines taken from it stay until they are closed themselves.
func (c *LineChip) Close() error { return c.sys.close() }

func (c *LineChip) has(offset int) error {
	if offset < 0 || offset >= c.Lines {
		return fmt.Errorf("%s has no line %d: its lines are 0 to %d", c.Name, offset, c.Lines-1)
	}
	return nil
}

// Output is a line that this program drives.
type Output struct {
	req  lineRequest
	name string
}

// Output takes a line and drives it to its initial level in one act.
func (c *LineChip) Output(l OutputLine) (*Output, error) {
	if err := c.has(l.Offset); err != nil {
		return nil, err
	}
	req, err := c.sys.output(l)
	if err != nil {
		return nil, c.sentence(l.Offset, err)
	}
	return &Output{req: req, name: fmt.Sprintf("%s line %d", c.Name, l.Offset)}, nil
}

// Set drives the line to a logical level. It writes each time, also the same level again.
func (o *Output) Set(level bool) error {
	var b uint64
	if level {
		b = 1
	}
	if err := o.req.set(b); err != nil {
		return fmt.Errorf("%s could not be set (%w): check that its GPIO chip is still there", o.name, err)
	}
	return nil
}

// Level is the logical level that the kernel reads on the line. The line stays an output.
func (o *Output) Level() (bool, error) {
	b, err := o.req.get()
	if err != nil {
		return false, fmt.Errorf("%s could not be read (%w): check that its GPIO chip is still there", o.name, err)
	}
	return b&1 != 0, nil
}

// Close gives the line back. What its pin does afterwards is the kernel's affair: on some boards it keeps its
// level, on others it becomes an input. Set the level first.
func (o *Output) Close() error { return o.req.close() }

// String is chip and line, "gpiochip0 line 17".
func (o *Output) String() string { return o.name }
