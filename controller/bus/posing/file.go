//go:build linux && (amd64 || arm64)

package posing

import (
	"context"
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"
	"syscall"
	"time"
	"unsafe"

	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"
	"golang.org/x/sys/unix"
)

// Requests, flags and functions of linux/i2c-dev.h and linux/i2c.h, written down a second time on purpose: the
// program under test must agree with the kernel's numbers, not with ours.
const (
	i2cRetries, i2cTimeout, i2cSlave, i2cFuncs, i2cRdwr, i2cSMBus = 0x701, 0x702, 0x703, 0x705, 0x707, 0x720

	funcsPlain = 0x0eff0009 // I2C, SMBUS_EMUL
	funcsSMBus = 0x0eff0008 // without plain transfers
)

// Files are posing files in one mounted directory.
type Files struct {
	Dir    string
	root   *fs.Inode
	server *fuse.Server
	buses  []*Bus
	chips  map[string]*lineNode
}

// Possible is nil where this kernel and user can pose a file, else a sentence that says what is missing.
func Possible() error {
	if os.Geteuid() != 0 {
		return fmt.Errorf("posing as a bus needs root, and this is user %d", os.Geteuid())
	}
	f, err := os.OpenFile("/dev/fuse", os.O_RDWR, 0)
	if err != nil {
		return fmt.Errorf("posing as a bus needs file systems in user space: %w", err)
	}
	return f.Close()
}

// Mount makes a directory a place for posing files.
func Mount(dir string) (*Files, error) {
	root := &fs.Inode{}
	sec := time.Second
	server, err := fs.Mount(dir, root, &fs.Options{
		AttrTimeout: &sec, EntryTimeout: &sec,
		MountOptions: fuse.MountOptions{DirectMountStrict: true, AllowOther: true, FsName: "posing", Name: "posing"},
	})
	if err != nil {
		return nil, fmt.Errorf("posing files did not mount on %s: %w", dir, err)
	}
	return &Files{Dir: dir, root: root, server: server, chips: map[string]*lineNode{}}, nil
}

// I2C adds a file that poses as a bus and returns its path, which a program takes in place of /dev/i2c-N.
func (f *Files) I2C(name string, b *Bus) string {
	f.buses = append(f.buses, b)
	f.add(name, &node{bus: b})
	return filepath.Join(f.Dir, name)
}

// Lines adds a file that poses as a GPIO chip and returns its path.
func (f *Files) Lines(name string, c *Lines) string {
	n := &lineNode{chip: c, root: f.root, dir: f.Dir, name: name, count: new(atomic.Int64)}
	f.chips[name] = n
	f.add(name, n)
	return filepath.Join(f.Dir, name)
}

// chip is the GPIO chip behind a file of this name, or nil.
func (f *Files) chip(name string) *lineNode { return f.chips[name] }

func (f *Files) add(name string, n fs.InodeEmbedder) {
	f.root.AddChild(name, f.root.NewPersistentInode(context.Background(), n, fs.StableAttr{Mode: fuse.S_IFREG}), true)
}

// Close lets hanging calls go and unmounts.
func (f *Files) Close() error {
	for _, b := range f.buses {
		b.Release()
	}
	// A program that has just ended may still be giving its files back.
	err := f.server.Unmount()
	for tries := 0; err != nil && tries < 500; tries++ {
		time.Sleep(10 * time.Millisecond)
		err = f.server.Unmount()
	}
	return err
}

// node is the file. Every open of it is a handle with its own slave address.
type node struct {
	fs.Inode
	bus *Bus
}

var (
	_ = (fs.NodeOpener)((*node)(nil))
	_ = (fs.NodeGetattrer)((*node)(nil))
)

func (n *node) Getattr(_ context.Context, _ fs.FileHandle, out *fuse.AttrOut) syscall.Errno {
	out.Mode = fuse.S_IFREG | 0o660
	return 0
}

func (n *node) Open(context.Context, uint32) (fs.FileHandle, uint32, syscall.Errno) {
	return &handle{bus: n.bus}, fuse.FOPEN_DIRECT_IO, 0
}

type handle struct {
	bus   *Bus
	slave uint16
}

var _ = (fs.FileIoctler)((*handle)(nil))

// Ioctl answers as drivers/i2c/i2c-dev.c does. The numbers of I2C carry no size, so the kernel hands over only
// the caller's address, and the structs are fetched from the caller's memory.
func (h *handle) Ioctl(ctx context.Context, cmd uint32, arg uint64, _, _ []byte) (int32, syscall.Errno) {
	c, ok := ctx.(*fuse.Context)
	if !ok {
		return 0, syscall.EIO
	}
	mem := caller{pid: int(c.Pid)}
	switch cmd {
	case i2cFuncs:
		v := uint64(funcsPlain)
		h.bus.mu.Lock()
		if h.bus.smbusOnly {
			v = funcsSMBus
		}
		h.bus.mu.Unlock()
		return 0, mem.put(arg, binary.NativeEndian.AppendUint64(nil, v)[:wordSize])
	case i2cTimeout:
		h.bus.mu.Lock()
		h.bus.timeout = time.Duration(arg) * 10 * time.Millisecond
		h.bus.mu.Unlock()
		return 0, 0
	case i2cRetries:
		return 0, 0
	case i2cSlave:
		if arg > 0x7f {
			return 0, syscall.EINVAL
		}
		h.bus.mu.Lock()
		defer h.bus.mu.Unlock()
		if h.bus.taken[uint16(arg)] {
			return 0, syscall.EBUSY
		}
		h.slave = uint16(arg)
		return 0, 0
	case i2cRdwr:
		if h.bus.smbus() {
			return 0, syscall.EOPNOTSUPP
		}
		return h.rdwr(mem, arg)
	case i2cSMBus:
		return h.smbus(mem, arg)
	}
	return 0, syscall.ENOTTY
}

func (b *Bus) smbus() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.smbusOnly
}

// wordSize is that of the programs under test: they run on this processor.
const wordSize = int(unsafe.Sizeof(uintptr(0)))

// caller is the memory of the program under test.
type caller struct{ pid int }

func (c caller) fetch(at uint64, n int) ([]byte, syscall.Errno) {
	buf := make([]byte, n)
	if n == 0 {
		return buf, 0
	}
	got, err := unix.ProcessVMReadv(c.pid, []unix.Iovec{{Base: &buf[0], Len: uint64(n)}}, []unix.RemoteIovec{{Base: uintptr(at), Len: n}}, 0)
	if err != nil || got != n {
		return nil, syscall.EFAULT
	}
	return buf, 0
}

func (c caller) put(at uint64, data []byte) syscall.Errno {
	if len(data) == 0 {
		return 0
	}
	got, err := unix.ProcessVMWritev(c.pid, []unix.Iovec{{Base: &data[0], Len: uint64(len(data))}}, []unix.RemoteIovec{{Base: uintptr(at), Len: len(data)}}, 0)
	if err != nil || got != len(data) {
		return syscall.EFAULT
	}
	return 0
}

func word(b []byte) uint64 {
	if wordSize == 4 {
		return uint64(binary.NativeEndian.Uint32(b))
	}
	return binary.NativeEndian.Uint64(b)
}
