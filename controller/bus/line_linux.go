package bus

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"
	"unsafe"
)

// openChip is an open /dev/gpiochipN.
type openChip struct {
	fd   int
	path string
}

func openLineChip(name string) (lineChip, error) {
	path := name
	if !strings.Contains(path, "/") {
		path = "/dev/" + name
	}
	fd, err := syscall.Open(path, syscall.O_RDWR|syscall.O_CLOEXEC, 0)
	if errors.Is(err, syscall.ENOENT) && !strings.Contains(name, "/") {
		if c := chipByLabel(name); c != nil {
			return c, nil
		}
	}
	if err != nil {
		return nil, openSentence("GPIO chip", path, "gpio", "/dev/gpiochip*", "this computer has no lines; a board with a GPIO header has", err)
	}
	return &openChip{fd: fd, path: path}, nil
}

func chipByLabel(label string) lineChip {
	paths, _ := filepath.Glob("/dev/gpiochip*")
	for _, p := range paths {
		fd, err := syscall.Open(p, syscall.O_RDWR|syscall.O_CLOEXEC, 0)
		if err != nil {
			continue
		}
		c := &openChip{fd: fd, path: p}
		if i, err := c.info(); err == nil && i.Label == label {
			return c
		}
		_ = c.close()
	}
	return nil
}

func (c *openChip) info() (ChipInfo, error) {
	k := new(chipInfo)
	if err := ioctl(c.fd, getChipInfo, unsafe.Pointer(k)); err != nil {
		return ChipInfo{}, fmt.Errorf("%s is not a GPIO chip (%w): name one like gpiochip0 in the shop file", c.path, err)
	}
	return ChipInfo{Path: c.path, Name: text(k.name[:]), Label: text(k.label[:]), Lines: int(k.lines)}, nil
}

func (c *openChip) line(offset int) (LineInfo, error) {
	k := &lineInfo{offset: uint32(offset)}
	if err := ioctl(c.fd, getLineInfo, unsafe.Pointer(k)); err != nil {
		return LineInfo{}, fmt.Errorf("%s line %d could not be looked at (%w): lines need Linux 5.10 or later", c.path, offset, err)
	}
	l := LineInfo{
		Offset: offset, Name: text(k.name[:]), Consumer: text(k.consumer[:]),
		Used: k.flags&lineUsed != 0, Output: k.flags&lineOutput != 0, ActiveLow: k.flags&lineActiveLow != 0,
	}
	switch {
	case k.flags&linePullUp != 0:
		l.Bias = PullUp
	case k.flags&linePullDown != 0:
		l.Bias = PullDown
	case k.flags&lineNoBias != 0:
		l.Bias = NoPull
	}
	for i := range min(int(k.n), len(k.attrs)) {
		if k.attrs[i].id == attrDebounce {
			l.Debounce = time.Duration(k.attrs[i].get()) * time.Microsecond
		}
	}
	return l, nil
}

// output asks for the direction and the first value in one request, so that the kernel sets the value before
// it turns the line round.
func (c *openChip) output(l OutputLine) (lineRequest, error) {
	k := &request{n: 1}
	k.offsets[0] = uint32(l.Offset)
	k.config.flags = lineOutput
	if l.ActiveLow {
		k.config.flags |= lineActiveLow
	}
	var first uint64
	if l.Initial {
		first = 1
	}
	k.config.attrs[0].put(attrValues, first)
	k.config.attrs[0].mask = 1
	k.config.n = 1
	return c.request(k, l.Name)
}

func (c *openChip) inputs(lines []InputLine) (lineRequest, error) {
	k := &request{n: uint32(len(lines))}
	names := make([]string, len(lines))
	for i, l := range lines {
		k.offsets[i] = uint32(l.Offset)
		names[i] = l.Name
	}
	l := lines[0]
	k.config.flags = lineInput
	if l.ActiveLow {
		k.config.flags |= lineActiveLow
	}
	k.config.flags |= [...]uint64{BiasAsIs: 0, PullUp: linePullUp, PullDown: linePullDown, NoPull: lineNoBias}[l.Bias]
	k.config.flags |= [...]uint64{NoEdges: 0, Rising: lineRising, Falling: lineFalling, BothEdges: lineRising | lineFalling}[l.Edges]
	if l.Debounce > 0 {
		k.config.attrs[0].put(attrDebounce, uint64(l.Debounce/time.Microsecond))
		k.config.attrs[0].mask = 1<<uint(len(lines)) - 1
		k.config.n = 1
	}
	return c.request(k, strings.Join(names, " "))
}

func (c *openChip) request(k *request, name string) (lineRequest, error) {
	copy(k.consumer[:len(k.consumer)-1], "ductwarden "+name)
	if err := ioctl(c.fd, getLine, unsafe.Pointer(k)); err != nil {
		return nil, err
	}
	h := &held{fd: int(k.fd), offsets: slices.Clone(k.offsets[:k.n])}
	h.all = 1<<uint(k.n) - 1 // n is 1 to 64; 1<<64 is 0 in Go, so 64 lines give all ones
	if err := syscall.SetNonblock(h.fd, true); err != nil {
		_ = h.close()
		return nil, err
	}
	return h, nil
}

func (c *openChip) close() error { return syscall.Close(c.fd) }

// held is a request that the kernel has granted. Its memory is the kernel's to fill and never moves.
type held struct {
	fd      int
	offsets []uint32
	all     uint64
	values  lineValues
	events  [16]lineEvent // as many as the kernel keeps for one line
	seen    [64]uint32    // count of each line's events
}

func (h *held) get() (uint64, error) {
	h.values = lineValues{mask: h.all}
	err := ioctl(h.fd, getValues, unsafe.Pointer(&h.values))
	return h.values.bits & h.all, err
}

func (h *held) set(bits uint64) error {
	h.values = lineValues{bits: bits, mask: h.all}
	return ioctl(h.fd, setValues, unsafe.Pointer(&h.values))
}

func (h *held) edges(buf []Edge) (int, error) {
	const size = int(unsafe.Sizeof(lineEvent{}))
	want := min(len(buf), len(h.events))
	if want == 0 {
		return 0, nil
	}
	n, err := syscall.Read(h.fd, unsafe.Slice((*byte)(unsafe.Pointer(&h.events[0])), want*size))
	switch {
	case err == syscall.EAGAIN, err == syscall.EINTR:
		return 0, nil
	case err != nil:
		return 0, err
	}
	for i := range n / size {
		e := &h.events[i]
		at := slices.Index(h.offsets, e.offset)
		if at < 0 {
			return i, syscall.EPROTO
		}
		buf[i] = Edge{
			At: time.Duration(e.at), Line: int(e.offset), Rising: e.id == eventRising,
			Missed: e.own != h.seen[at]+1,
		}
		h.seen[at] = e.own
	}
	return n / size, nil
}

func (h *held) close() error { return syscall.Close(h.fd) }
