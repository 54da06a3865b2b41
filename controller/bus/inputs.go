package bus

import "fmt"

// maxInputs is how many lines one Inputs holds: a bit each.
const maxInputs = 64

// Inputs is a set of lines that are read together.
type Inputs struct {
	groups []inputGroup
	place  map[int]int // chip's offset to place in the caller's list
	name   string
}

// inputGroup is one request of the kernel: lines with the same settings.
type inputGroup struct {
	req    lineRequest
	places []int // place in the caller's list of each line of the request
}

// Inputs takes lines as inputs, all of them or none. Lines with the same settings share one request, so that
// a scan of them is one call of the kernel.
func (c *LineChip) Inputs(lines []InputLine) (*Inputs, error) {
	if len(lines) > maxInputs {
		return nil, fmt.Errorf("%s: %d inputs are more than the %d of one set", c.Name, len(lines), maxInputs)
	}
	in := &Inputs{place: make(map[int]int, len(lines)), name: c.Name}
	for i, l := range lines {
		if err := c.has(l.Offset); err != nil {
			return nil, err
		}
		if j, twice := in.place[l.Offset]; twice {
			return nil, fmt.Errorf("%s line %d is asked for twice, as %q and as %q: give one of them another line", c.Name, l.Offset, lines[j].Name, l.Name)
		}
		in.place[l.Offset] = i
	}
	for first := range lines {
		if in.grouped(first) {
			continue
		}
		if err := in.take(c, lines, first); err != nil {
			_ = in.Close()
			return nil, err
		}
	}
	return in, nil
}

func (in *Inputs) grouped(place int) bool {
	for _, g := range in.groups {
		for _, p := range g.places {
			if p == place {
				return true
			}
		}
	}
	return false
}

// take requests the line at place first and all later ones that are set alike.
func (in *Inputs) take(c *LineChip, lines []InputLine, first int) error {
	alike := func(a, b InputLine) bool {
		return a.ActiveLow == b.ActiveLow && a.Bias == b.Bias && a.Debounce == b.Debounce && a.Edges == b.Edges
	}
	var g inputGroup
	var set []InputLine
	for i := first; i < len(lines); i++ {
		if alike(lines[first], lines[i]) {
			g.places = append(g.places, i)
			set = append(set, lines[i])
		}
	}
	req, err := c.sys.inputs(set)
	if err != nil {
		return c.sentence(c.culprit(set), err)
	}
	g.req = req
	in.groups = append(in.groups, g)
	return nil
}

// culprit finds the line that is in use already, the usual reason why a set is refused.
func (c *LineChip) culprit(set []InputLine) int {
	for _, l := range set {
		if info, err := c.sys.line(l.Offset); err == nil && info.Used {
			return l.Offset
		}
	}
	return set[0].Offset
}

// Read gives the logical levels of all lines, bit i for the caller's line i.
func (in *Inputs) Read() (uint64, error) {
	var levels uint64
	for _, g := range in.groups {
		b, err := g.req.get()
		if err != nil {
			return 0, fmt.Errorf("the inputs of %s could not be read (%w): check that the chip is still there", in.name, err)
		}
		for i, p := range g.places {
			levels |= (b >> uint(i) & 1) << uint(p)
		}
	}
	return levels, nil
}

// Edges fills buf with changes that have happened, oldest first within each group of lines set alike, and
// returns how many. It never waits.
func (in *Inputs) Edges(buf []Edge) (int, error) {
	n := 0
	for _, g := range in.groups {
		if n == len(buf) {
			break
		}
		k, err := g.req.edges(buf[n:])
		for i := n; i < n+k; i++ {
			buf[i].Line = in.place[buf[i].Line]
		}
		n += k
		if err != nil {
			return n, fmt.Errorf("the edges of %s could not be read (%w): check that the chip is still there", in.name, err)
		}
	}
	return n, nil
}

// Close gives the lines back.
func (in *Inputs) Close() error {
	var first error
	for _, g := range in.groups {
		if err := g.req.close(); err != nil && first == nil {
			first = err
		}
	}
	in.groups = nil
	return first
}
