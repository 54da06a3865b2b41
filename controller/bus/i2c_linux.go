package bus

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"syscall"
	"time"
	"unsafe"
)

// Requests and flags of linux/i2c-dev.h and linux/i2c.h.
const (
	ioctlRetries = 0x0701
	ioctlTimeout = 0x0702 // in units of 10 ms
	ioctlSlave   = 0x0703
	ioctlFuncs   = 0x0705
	ioctlRdwr    = 0x0707
	ioctlSMBus   = 0x0720

	flagRead = 0x0001 // I2C_M_RD

	funcI2C = 0x00000001
)

// message is struct i2c_msg. The buffer is a pointer, not a number, so that the collector knows of it; Go
// lays the struct out as C does on 32 and on 64 bits.
type message struct {
	addr, flags, length uint16
	buf                 *byte
}

// rdwr is struct i2c_rdwr_ioctl_data.
type rdwr struct {
	msgs *message
	n    uint32
}

// device is an open /dev/i2c-N. Everything that the kernel reads or writes is part of it, is on the heap (the
// only reference is a pointer in I2C), and stays where it is until Close.
type device struct {
	fd     int
	plain  bool // I2C_RDWR is there; otherwise SMBus
	msgs   [2]message
	batch  rdwr
	out    [maxTransfer]byte
	in     [maxTransfer]byte
	smb    smbus
	pathed string
}

// ioctl hands p to the kernel. The conversion to a number stands inside the argument list of Syscall, where
// the compiler keeps the object alive and in place (rule 4 of package unsafe).
func ioctl(fd int, request uintptr, p unsafe.Pointer) error {
	for {
		_, _, e := syscall.Syscall(syscall.SYS_IOCTL, uintptr(fd), request, uintptr(p))
		if e == 0 {
			return nil
		}
		if e != syscall.EINTR {
			return e
		}
	}
}

// ioctlValue is an ioctl whose argument is a number.
func ioctlValue(fd int, request, value uintptr) error {
	if _, _, e := syscall.Syscall(syscall.SYS_IOCTL, uintptr(fd), request, value); e != 0 {
		return e
	}
	return nil
}

func openAdapter(path string, s Settings) (adapter, error) {
	fd, err := syscall.Open(path, syscall.O_RDWR|syscall.O_CLOEXEC, 0)
	if err != nil {
		return nil, openSentence("I2C bus", path, "i2c", "/dev/i2c-*", "switch I2C on in the board's boot configuration and load the kernel module i2c-dev", err)
	}
	d := &device{fd: fd, pathed: path}
	if err := d.prepare(s); err != nil {
		_ = syscall.Close(fd)
		return nil, err
	}
	return d, nil
}

// prepare takes the bus for this program, asks what it can do, and bounds its waits.
func (d *device) prepare(s Settings) error {
	var funcs uintptr // unsigned long
	if err := ioctl(d.fd, ioctlFuncs, unsafe.Pointer(&funcs)); err != nil {
		return fmt.Errorf("%s is not an I2C bus (%w): name a device file like /dev/i2c-1 in the shop file", d.pathed, err)
	}
	if err := syscall.Flock(d.fd, syscall.LOCK_EX|syscall.LOCK_NB); errors.Is(err, syscall.EWOULDBLOCK) {
		return fmt.Errorf("%s is in use by another program that owns it (%w): stop that one first, or speak to it through its console", d.pathed, err)
	}
	d.plain = funcs&funcI2C != 0
	d.smb.funcs = uint32(funcs)
	if !d.plain && d.smb.funcs&smbusAny == 0 {
		return fmt.Errorf("%s can neither plain I2C nor SMBus transfers (%w): use another bus", d.pathed, errUnsupported)
	}
	tens := (s.Timeout + 10*time.Millisecond - 1) / (10 * time.Millisecond)
	if err := ioctlValue(d.fd, ioctlTimeout, uintptr(tens)); err != nil {
		return fmt.Errorf("%s: its longest wait could not be set to %v (%w): a stuck chip would hold every gate; use another adapter", d.pathed, s.Timeout, err)
	}
	// The kernel repeats only after losing the bus to another master, which a clean single-master bus never
	// does; we repeat ourselves, and count.
	if err := ioctlValue(d.fd, ioctlRetries, 0); err != nil {
		return fmt.Errorf("%s: its own repeats could not be switched off (%w): use another adapter", d.pathed, err)
	}
	return nil
}

func (d *device) transfer(addr uint16, w, r []byte) error {
	if !d.plain {
		return d.smbusTransfer(addr, w, r)
	}
	n := 0
	if len(w) > 0 || len(r) == 0 {
		copy(d.out[:], w)
		d.msgs[n] = message{addr: addr, length: uint16(len(w)), buf: &d.out[0]}
		n++
	}
	if len(r) > 0 {
		d.msgs[n] = message{addr: addr, flags: flagRead, length: uint16(len(r)), buf: &d.in[0]}
		n++
	}
	d.batch = rdwr{msgs: &d.msgs[0], n: uint32(n)}
	if err := ioctl(d.fd, ioctlRdwr, unsafe.Pointer(&d.batch)); err != nil {
		return err
	}
	copy(r, d.in[:len(r)])
	return nil
}

func (d *device) taken(addr uint16) bool {
	return errors.Is(ioctlValue(d.fd, ioctlSlave, uintptr(addr)), syscall.EBUSY)
}

func (d *device) close() error { return syscall.Close(d.fd) }

// openSentence says why a device file did not open: the likely cause and the next step.
func openSentence(what, path, group, pattern, cure string, err error) error {
	switch {
	case errors.Is(err, syscall.ENOENT), errors.Is(err, syscall.ENXIO), errors.Is(err, syscall.ENODEV), errors.Is(err, syscall.ENOTDIR):
		if there, _ := filepath.Glob(pattern); len(there) > 0 {
			return fmt.Errorf("there is no %s %s (%w); this computer has %s: name one of these in the shop file", what, path, err, strings.Join(there, ", "))
		}
		return fmt.Errorf("there is no %s %s (%w), nor any other here: %s", what, path, err, cure)
	case errors.Is(err, syscall.EACCES), errors.Is(err, syscall.EPERM):
		return fmt.Errorf("no permission for the %s %s (%w): add this user to the group %s (or SupplementaryGroups=%s in the service), then log in again", what, path, err, group, group)
	case errors.Is(err, syscall.EBUSY):
		return fmt.Errorf("the %s %s is in use by another program (%w): stop that one first", what, path, err)
	default:
		return fmt.Errorf("the %s %s did not open (%w): check that the name is right", what, path, err)
	}
}
