package bus

import (
	"encoding/binary"
	"syscall"
	"unsafe"
)

// Sizes of transfer and functions of linux/i2c.h.
const (
	smbusRead  = 1
	smbusWrite = 0

	sizeByte     = 1
	sizeByteData = 2
	sizeWordData = 3
	sizeBlock    = 8 // I2C_SMBUS_I2C_BLOCK_DATA: no length byte on the wire

	funcReadByte   = 0x00020000
	funcWriteByte  = 0x00040000
	funcReadBD     = 0x00080000
	funcWriteBD    = 0x00100000
	funcReadWD     = 0x00200000
	funcWriteWD    = 0x00400000
	funcReadBlock  = 0x04000000
	funcWriteBlock = 0x08000000
	smbusAny       = funcReadByte | funcWriteByte | funcReadBD | funcWriteBD | funcReadWD | funcWriteWD | funcReadBlock | funcWriteBlock

	smbusBlockMax = 32
)

// smbusCall is struct i2c_smbus_ioctl_data.
type smbusCall struct {
	readWrite uint8
	command   uint8
	size      uint32
	data      *[smbusBlockMax + 2]byte
}

// smbus is the fallback for adapters that cannot make plain transfers (some USB bridges, the kernel's stub).
type smbus struct {
	funcs   uint32
	call    smbusCall
	data    [smbusBlockMax + 2]byte
	pointer [128]uint8 // the register that each chip was last pointed at, for reads that name none
}

// smbusTransfer makes the transfer out of SMBus calls. What they cannot express is refused, never
// approximated: a chip that would see other bytes than the driver meant is worse than none.
func (d *device) smbusTransfer(addr uint16, w, r []byte) error {
	if err := ioctlValue(d.fd, ioctlSlave, uintptr(addr)); err != nil {
		return err
	}
	s := &d.smb
	switch {
	case len(r) == 0:
		return d.smbusWrite(addr, w)
	case len(w) > 1:
		return errUnsupported
	case len(w) == 0 && len(r) == 1 && s.funcs&funcReadByte != 0:
		if err := d.smbusCall(smbusRead, 0, sizeByte, funcReadByte); err != nil {
			return err
		}
		r[0] = s.data[0]
		return nil
	}
	register := s.pointer[addr]
	if len(w) == 1 {
		register = w[0]
	}
	return d.smbusRead(addr, register, r)
}

func (d *device) smbusWrite(addr uint16, w []byte) error {
	s := &d.smb
	if len(w) == 0 {
		return errUnsupported
	}
	var err error
	switch n := len(w) - 1; {
	case n == 0:
		err = d.smbusCall(smbusWrite, w[0], sizeByte, funcWriteByte)
	case n == 1:
		s.data[0] = w[1]
		err = d.smbusCall(smbusWrite, w[0], sizeByteData, funcWriteBD)
	case n == 2:
		putWord(&s.data, w[1:])
		err = d.smbusCall(smbusWrite, w[0], sizeWordData, funcWriteWD)
	case n <= smbusBlockMax:
		s.data[0] = byte(n)
		copy(s.data[1:], w[1:])
		err = d.smbusCall(smbusWrite, w[0], sizeBlock, funcWriteBlock)
	default:
		err = errUnsupported
	}
	if err == nil {
		s.pointer[addr] = w[0]
	}
	return err
}

func (d *device) smbusRead(addr uint16, register byte, r []byte) error {
	s := &d.smb
	var err error
	switch n := len(r); {
	case n == 1:
		if err = d.smbusCall(smbusRead, register, sizeByteData, funcReadBD); err == nil {
			r[0] = s.data[0]
		}
	case n == 2 && s.funcs&funcReadWD != 0:
		if err = d.smbusCall(smbusRead, register, sizeWordData, funcReadWD); err == nil {
			takeWord(r, &s.data)
		}
	case n <= smbusBlockMax:
		s.data[0] = byte(n)
		if err = d.smbusCall(smbusRead, register, sizeBlock, funcReadBlock); err == nil {
			copy(r, s.data[1:1+n])
		}
	default:
		err = errUnsupported
	}
	if err == nil {
		s.pointer[addr] = register
	}
	return err
}

func (d *device) smbusCall(rw, command uint8, size, needs uint32) error {
	s := &d.smb
	if s.funcs&needs == 0 {
		return syscall.EOPNOTSUPP
	}
	s.call = smbusCall{readWrite: rw, command: command, size: size, data: &s.data}
	return ioctl(d.fd, ioctlSMBus, unsafe.Pointer(&s.call))
}

// A word of the union is in the processor's order, and SMBus sends its low byte first: so the bytes on the
// wire keep the driver's order on any processor.
func putWord(data *[smbusBlockMax + 2]byte, b []byte) {
	binary.NativeEndian.PutUint16(data[:], binary.LittleEndian.Uint16(b))
}

func takeWord(b []byte, data *[smbusBlockMax + 2]byte) {
	binary.LittleEndian.PutUint16(b, binary.NativeEndian.Uint16(data[:]))
}
