//go:build linux && (amd64 || arm64)

package posing

import (
	"bytes"
	"context"
	"encoding/binary"
	"syscall"
	"time"

	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"
)

// The kernel's interface to lines, linux/gpio.h, second edition; offsets of fields in its structs. Written
// down apart from the program's own on purpose.
const (
	gpioChipInfo  = 0x8044b401
	gpioLineInfo  = 0xc100b405
	gpioGetLine   = 0xc250b407
	gpioGetValues = 0xc010b40e
	gpioSetValues = 0xc010b40f

	gpioActiveLow, gpioInput, gpioOutput      = 1 << 1, 1 << 2, 1 << 3
	gpioRising, gpioFalling                   = 1 << 4, 1 << 5
	gpioPullUp, gpioPullDown, gpioNoPull      = 1 << 8, 1 << 9, 1 << 10
	reqConsumer, reqConfig, reqLines, reqFD   = 256, 288, 560, 588
	configAttrs, configAttr, configAttrSize   = 8, 32, 24
	attrIsFlags, attrIsValues, attrIsDebounce = 1, 2, 3
)

// grant is a set of lines that a program holds: what the file descriptor of a request stands for.
type grant struct {
	fs.Inode
	chip    *Lines
	offsets []int
	flags   uint64
	queue   [][]byte // events not yet read
	seq     uint32
	own     map[int]uint32
}

// happened queues an edge where the request wants it. The chip's lock is held.
func (g *grant) happened(offset int, high bool, at time.Duration) {
	rising := high != g.chip.lines[offset].ActiveLow
	for _, o := range g.offsets {
		if o != offset || rising && g.flags&gpioRising == 0 || !rising && g.flags&gpioFalling == 0 {
			continue
		}
		g.seq++
		g.own[offset]++
		id := uint32(2)
		if rising {
			id = 1
		}
		e := binary.NativeEndian.AppendUint64(nil, uint64(at))
		for _, v := range []uint32{id, uint32(offset), g.seq, g.own[offset]} {
			e = binary.NativeEndian.AppendUint32(e, v)
		}
		g.queue = append(g.queue, append(e, make([]byte, 24)...))
		if most := 16 * len(g.offsets); len(g.queue) > most { // the kernel drops the oldest
			g.queue = g.queue[1:]
		}
	}
}

var (
	_ = (fs.NodeOpener)((*grant)(nil))
	_ = (fs.NodeIoctler)((*grant)(nil))
	_ = (fs.NodeReader)((*grant)(nil))
	_ = (fs.NodeReleaser)((*grant)(nil))
)

func (g *grant) Open(context.Context, uint32) (fs.FileHandle, uint32, syscall.Errno) {
	return g, fuse.FOPEN_DIRECT_IO, 0
}

// Release gives the lines back. Outputs keep their level, as on the boards whose kernels let them.
func (g *grant) Release(context.Context, fs.FileHandle) syscall.Errno {
	g.chip.mu.Lock()
	defer g.chip.mu.Unlock()
	delete(g.chip.held, g)
	for _, o := range g.offsets {
		g.chip.lines[o].Consumer = ""
	}
	return 0
}

func (g *grant) Read(_ context.Context, _ fs.FileHandle, dest []byte, _ int64) (fuse.ReadResult, syscall.Errno) {
	g.chip.mu.Lock()
	defer g.chip.mu.Unlock()
	if len(g.queue) == 0 {
		return nil, syscall.EAGAIN
	}
	n := min(len(dest)/48, len(g.queue))
	out := bytes.Join(g.queue[:n], nil)
	g.queue = g.queue[n:]
	return fuse.ReadResultData(out), 0
}

// Ioctl reads or sets the levels.
func (g *grant) Ioctl(_ context.Context, _ fs.FileHandle, cmd uint32, _ uint64, in, out []byte) (int32, syscall.Errno) {
	if len(in) < 16 {
		return 0, syscall.EINVAL
	}
	bits, mask := binary.NativeEndian.Uint64(in), binary.NativeEndian.Uint64(in[8:])
	g.chip.mu.Lock()
	defer g.chip.mu.Unlock()
	switch cmd {
	case gpioGetValues:
		bits = 0
		for i, o := range g.offsets {
			if mask>>uint(i)&1 != 0 && g.chip.active(o) {
				bits |= 1 << uint(i)
			}
		}
		binary.NativeEndian.PutUint64(out, bits)
		binary.NativeEndian.PutUint64(out[8:], mask)
		return 0, 0
	case gpioSetValues:
		if g.flags&gpioOutput == 0 {
			return 0, syscall.EPERM
		}
		for i, o := range g.offsets {
			if mask>>uint(i)&1 != 0 {
				g.chip.put(o, bits>>uint(i)&1 != 0)
			}
		}
		copy(out, in)
		return 0, 0
	}
	return 0, syscall.ENOTTY
}

// request grants lines as drivers/gpio/gpiolib-cdev.c does: outputs get their value before their direction,
// and without a value they get low.
func (c *Lines) request(in []byte) (*grant, syscall.Errno) {
	n := int(binary.NativeEndian.Uint32(in[reqLines:]))
	config := in[reqConfig:]
	flags := binary.NativeEndian.Uint64(config)
	if n < 1 || n > 64 || flags&(gpioInput|gpioOutput) == gpioInput|gpioOutput {
		return nil, syscall.EINVAL
	}
	if flags&gpioOutput != 0 && flags&(gpioRising|gpioFalling) != 0 {
		return nil, syscall.EINVAL
	}
	g := &grant{chip: c, flags: flags, own: map[int]uint32{}}
	c.mu.Lock()
	defer c.mu.Unlock()
	for i := range n {
		o := int(binary.NativeEndian.Uint32(in[4*i:]))
		if o >= len(c.lines) {
			return nil, syscall.EINVAL
		}
		if c.lines[o].Consumer != "" {
			return nil, syscall.EBUSY
		}
		g.offsets = append(g.offsets, o)
	}
	values, debounce := attributes(config)
	for i, o := range g.offsets {
		l := &c.lines[o]
		l.Consumer = string(bytes.TrimRight(in[reqConsumer:reqConsumer+32], "\x00"))
		l.ActiveLow = flags&gpioActiveLow != 0
		l.Debounce = debounce
		l.Pull = pullOf(flags)
		switch {
		case flags&gpioOutput != 0:
			high := (values>>uint(i)&1 != 0) != l.ActiveLow
			l.Output, l.High = true, high
			c.log(o)
		case flags&gpioInput != 0:
			if l.Output {
				l.Output = false
				c.log(o)
			}
			l.High = l.High && l.Pull != Down || l.Pull == Up
		}
	}
	c.held[g] = true
	return g, 0
}

func attributes(config []byte) (values uint64, debounce time.Duration) {
	n := min(int(binary.NativeEndian.Uint32(config[configAttrs:])), 10)
	for i := range n {
		a := config[configAttr+i*configAttrSize:]
		switch binary.NativeEndian.Uint32(a) {
		case attrIsValues:
			values = binary.NativeEndian.Uint64(a[8:]) & binary.NativeEndian.Uint64(a[16:])
		case attrIsDebounce:
			debounce = time.Duration(binary.NativeEndian.Uint32(a[8:])) * time.Microsecond
		}
	}
	return values, debounce
}

func pullOf(flags uint64) Pull {
	switch {
	case flags&gpioPullUp != 0:
		return Up
	case flags&gpioPullDown != 0:
		return Down
	case flags&gpioNoPull != 0:
		return None
	}
	return AsIs
}

// describe fills struct gpio_v2_line_info.
func (c *Lines) describe(in, out []byte) syscall.Errno {
	o := int(binary.NativeEndian.Uint32(in[64:]))
	c.mu.Lock()
	defer c.mu.Unlock()
	if o >= len(c.lines) {
		return syscall.EINVAL
	}
	l := &c.lines[o]
	clear(out)
	copy(out, l.Name)
	copy(out[32:], l.Consumer)
	binary.NativeEndian.PutUint32(out[64:], uint32(o))
	flags := uint64(gpioInput)
	if l.Output {
		flags = gpioOutput
	}
	if l.Consumer != "" {
		flags |= 1
	}
	if l.ActiveLow {
		flags |= gpioActiveLow
	}
	flags |= map[Pull]uint64{Up: gpioPullUp, Down: gpioPullDown, None: gpioNoPull}[l.Pull]
	if l.Debounce > 0 {
		binary.NativeEndian.PutUint32(out[68:], 1)
		binary.NativeEndian.PutUint32(out[80:], attrIsDebounce)
		binary.NativeEndian.PutUint32(out[88:], uint32(l.Debounce/time.Microsecond))
	}
	binary.NativeEndian.PutUint64(out[72:], flags)
	return 0
}
