package bus

import "unsafe"

// The kernel's interface to lines, version 2, since Linux 5.10: linux/gpio.h. Names follow that file without
// its prefixes.
const (
	getChipInfo = 0x8044b401 // _IOR(0xB4, 0x01, struct gpiochip_info)
	getLineInfo = 0xc100b405 // _IOWR(0xB4, 0x05, struct gpio_v2_line_info)
	getLine     = 0xc250b407 // _IOWR(0xB4, 0x07, struct gpio_v2_line_request)
	getValues   = 0xc010b40e // _IOWR(0xB4, 0x0E, struct gpio_v2_line_values)
	setValues   = 0xc010b40f // _IOWR(0xB4, 0x0F, struct gpio_v2_line_values)

	lineUsed      = 1 << 0
	lineActiveLow = 1 << 1
	lineInput     = 1 << 2
	lineOutput    = 1 << 3
	lineRising    = 1 << 4
	lineFalling   = 1 << 5
	linePullUp    = 1 << 8
	linePullDown  = 1 << 9
	lineNoBias    = 1 << 10

	attrFlags    = 1
	attrValues   = 2
	attrDebounce = 3

	eventRising = 1
)

type chipInfo struct {
	name, label [32]byte
	lines       uint32
}

// attribute is struct gpio_v2_line_attribute; value is its union.
type attribute struct {
	id, _ uint32
	value uint64
}

// put fills the union. A debounce period is its first 32 bits, which are not the low ones everywhere.
func (a *attribute) put(id uint32, value uint64) {
	a.id = id
	if id == attrDebounce {
		a.value = 0
		*(*uint32)(unsafe.Pointer(&a.value)) = uint32(value)
		return
	}
	a.value = value
}

func (a *attribute) get() uint64 {
	if a.id == attrDebounce {
		return uint64(*(*uint32)(unsafe.Pointer(&a.value)))
	}
	return a.value
}

type configAttribute struct {
	attribute
	mask uint64
}

type lineConfig struct {
	flags uint64
	n     uint32
	_     [5]uint32
	attrs [10]configAttribute
}

type request struct {
	offsets  [64]uint32
	consumer [32]byte
	config   lineConfig
	n        uint32
	buffer   uint32
	_        [5]uint32
	fd       int32
}

type lineInfo struct {
	name, consumer [32]byte
	offset, n      uint32
	flags          uint64
	attrs          [10]attribute
	_              [4]uint32
}

type lineValues struct{ bits, mask uint64 }

type lineEvent struct {
	at         uint64 // ns
	id, offset uint32
	seq, own   uint32 // count in the request, and of the line
	_          [6]uint32
}

// The sizes are part of the requests' numbers: a struct that Go lays out otherwise does not compile.
var (
	_ = [1]struct{}{}[unsafe.Sizeof(chipInfo{})-0x44]
	_ = [1]struct{}{}[unsafe.Sizeof(lineInfo{})-0x100]
	_ = [1]struct{}{}[unsafe.Sizeof(request{})-0x250]
	_ = [1]struct{}{}[unsafe.Sizeof(lineValues{})-0x10]
	_ = [1]struct{}{}[unsafe.Sizeof(lineEvent{})-48]
)

func text(b []byte) string {
	for i, c := range b {
		if c == 0 {
			return string(b[:i])
		}
	}
	return string(b)
}
