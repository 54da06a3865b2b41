//go:build linux && (amd64 || arm64)

package posing

import (
	"context"
	"encoding/binary"
	"os"
	"path/filepath"
	"sync/atomic"
	"syscall"

	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"
)

// lineNode is the chip's file. Beside it, in the same directory, a file appears for each request.
type lineNode struct {
	fs.Inode
	chip  *Lines
	root  *fs.Inode
	dir   string
	name  string
	count *atomic.Int64
}

var (
	_ = (fs.NodeOpener)((*lineNode)(nil))
	_ = (fs.NodeIoctler)((*lineNode)(nil))
)

func (n *lineNode) Open(context.Context, uint32) (fs.FileHandle, uint32, syscall.Errno) {
	return n, fuse.FOPEN_DIRECT_IO, 0
}

// Ioctl answers what is asked of the chip. A request returns a new file descriptor, which a file system
// cannot put into another process: for callers in this process it opens the request's file itself; other
// programs are started by Command, which does it for them.
func (n *lineNode) Ioctl(ctx context.Context, _ fs.FileHandle, cmd uint32, _ uint64, in, out []byte) (int32, syscall.Errno) {
	switch cmd {
	case gpioChipInfo:
		clear(out)
		copy(out, n.name)
		copy(out[32:], n.chip.label)
		binary.NativeEndian.PutUint32(out[64:], uint32(len(n.chip.lines)))
		return 0, 0
	case gpioLineInfo:
		return 0, n.chip.describe(in, out)
	case gpioGetLine:
		c, ok := ctx.(*fuse.Context)
		if !ok || !mine(c.Pid) {
			return 0, syscall.EPERM
		}
		copy(out, in)
		path, errno := n.grant(in)
		if errno != 0 {
			return 0, errno
		}
		fd, err := syscall.Open(path, syscall.O_RDWR|syscall.O_CLOEXEC, 0)
		if err != nil {
			return 0, syscall.EIO
		}
		binary.NativeEndian.PutUint32(out[reqFD:], uint32(fd))
		return 0, 0
	}
	return 0, syscall.ENOTTY
}

// grant makes the request and its file.
func (n *lineNode) grant(in []byte) (path string, errno syscall.Errno) {
	g, errno := n.chip.request(in)
	if errno != 0 {
		return "", errno
	}
	name := "request-" + itoa(int(n.count.Add(1)))
	n.root.AddChild(name, n.root.NewPersistentInode(context.Background(), g, fs.StableAttr{Mode: fuse.S_IFREG}), true)
	return filepath.Join(n.dir, name), 0
}

// mine tells whether a thread belongs to this process.
func mine(thread uint32) bool {
	_, err := os.Stat(filepath.Join("/proc/self/task", itoa(int(thread))))
	return err == nil
}
