//go:build linux && (amd64 || arm64)

package posing

import (
	"encoding/binary"
	"syscall"
)

const (
	mostMessages = 42   // I2C_RDWR_IOCTL_MAX_MSGS
	mostBytes    = 8192 // of a message, as i2c-dev.c has it
	readFlag     = 0x0001
)

// message is a struct i2c_msg fetched from the caller.
type message struct {
	addr, flags uint16
	at          uint64
	data        []byte
}

// rdwr is I2C_RDWR: a batch of messages with repeated starts between them.
func (h *handle) rdwr(mem caller, arg uint64) (int32, syscall.Errno) {
	head, errno := mem.fetch(arg, wordSize+4)
	if errno != 0 {
		return 0, errno
	}
	at, n := word(head), int(binary.NativeEndian.Uint32(head[wordSize:]))
	if n < 1 || n > mostMessages {
		return 0, syscall.EINVAL
	}
	size := 8 + wordSize // three shorts, padding, a pointer
	raw, errno := mem.fetch(at, n*size)
	if errno != 0 {
		return 0, errno
	}
	msgs := make([]message, n)
	for i := range msgs {
		m := raw[i*size:]
		length := int(binary.NativeEndian.Uint16(m[4:]))
		if length > mostBytes {
			return 0, syscall.EINVAL
		}
		msgs[i] = message{addr: binary.NativeEndian.Uint16(m), flags: binary.NativeEndian.Uint16(m[2:]), at: word(m[8:])}
		if msgs[i].data, errno = mem.fetch(msgs[i].at, length); errno != 0 {
			return 0, errno
		}
	}
	return h.play(mem, msgs)
}

// play makes the transfer of one or two messages that small boards' drivers use: a write, a read, or a write
// and then a read of the same chip.
func (h *handle) play(mem caller, msgs []message) (int32, syscall.Errno) {
	var w, r []byte
	reads := 0
	for i := range msgs {
		if msgs[i].addr != msgs[0].addr {
			return 0, syscall.EOPNOTSUPP
		}
		switch {
		case msgs[i].flags == readFlag && i == len(msgs)-1:
			r = msgs[i].data
			reads++
		case msgs[i].flags == 0 && i == 0:
			w = msgs[i].data
		default:
			return 0, syscall.EOPNOTSUPP
		}
	}
	if errno := errnoOf(h.bus.Tx(msgs[0].addr, w, r)); errno != 0 {
		return 0, errno
	}
	if reads > 0 {
		if errno := mem.put(msgs[len(msgs)-1].at, r); errno != 0 {
			return 0, errno
		}
	}
	return int32(len(msgs)), 0
}

// smbus is I2C_SMBUS as the kernel's emulation puts it on the wires.
func (h *handle) smbus(mem caller, arg uint64) (int32, syscall.Errno) {
	// struct i2c_smbus_ioctl_data: two bytes, padding, an int, a pointer.
	head, errno := mem.fetch(arg, 8+wordSize)
	if errno != 0 {
		return 0, errno
	}
	read, command := head[0] == 1, head[1]
	size, at := binary.NativeEndian.Uint32(head[4:]), word(head[8:])
	var data []byte
	if at != 0 {
		if data, errno = mem.fetch(at, 34); errno != 0 {
			return 0, errno
		}
	}
	if data == nil && (read || size != 1) {
		return 0, syscall.EINVAL
	}
	// A word of the union stands in the processor's order and goes low byte first.
	low := func() []byte { return binary.LittleEndian.AppendUint16(nil, binary.NativeEndian.Uint16(data)) }
	var w, r []byte
	switch {
	case size == 1 && read:
		r = make([]byte, 1)
	case size == 1:
		w = []byte{command}
	case read:
		w = []byte{command}
		r = make([]byte, map[uint32]int{2: 1, 3: 2, 8: int(data[0])}[size])
	case size == 2:
		w = []byte{command, data[0]}
	case size == 3:
		w = append([]byte{command}, low()...)
	case size == 8 && data[0] <= 32:
		w = append([]byte{command}, data[1:1+data[0]]...)
	}
	if len(w)+len(r) == 0 || read && (len(r) == 0 || len(r) > 32) {
		return 0, syscall.EOPNOTSUPP
	}
	if errno := errnoOf(h.bus.Tx(h.slave, w, r)); errno != 0 || !read {
		return 0, errno
	}
	switch size {
	case 3:
		r = binary.NativeEndian.AppendUint16(nil, binary.LittleEndian.Uint16(r))
	case 8:
		r = append([]byte{byte(len(r))}, r...)
	}
	return 0, mem.put(at, r)
}

func errnoOf(err error) syscall.Errno {
	if err == nil {
		return 0
	}
	if n, ok := err.(syscall.Errno); ok {
		return n
	}
	return syscall.EIO
}
