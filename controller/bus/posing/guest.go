//go:build linux && (amd64 || arm64)

package posing

import (
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

// A request of lines returns a new file descriptor, and a file system cannot put one into another process. The
// kernel's system call filter can: a program started by Command runs under a filter that hands just this one
// ioctl to the test, which opens the request's file, puts it into the program, and answers. Everything else goes
// straight to the kernel.

const guestEnv = "POSING_GUEST"

// Main lets this test binary start guests. Call it first in TestMain: in a process that Command has started it
// puts the filter in place, becomes the program, and does not return.
func Main() {
	if os.Getenv(guestEnv) == "" {
		return
	}
	_ = os.Unsetenv(guestEnv)
	if err := become(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "posing:", err)
		os.Exit(125)
	}
}

// become puts the filter on this thread, sends its listener to the parent through file 3, and is the program.
func become(args []string) error {
	runtime.LockOSThread()
	path, err := exec.LookPath(args[0])
	if err != nil {
		return err
	}
	if err := unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0); err != nil {
		return err
	}
	const jumpIfEqual, load, ret = unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K, unix.BPF_LD | unix.BPF_W | unix.BPF_ABS, unix.BPF_RET | unix.BPF_K
	filter := []unix.SockFilter{
		{Code: load, K: 0}, // number of the call
		{Code: jumpIfEqual, K: unix.SYS_IOCTL, Jf: 3},
		{Code: load, K: 24}, // low half of its second argument, on a little-endian processor
		{Code: jumpIfEqual, K: gpioGetLine, Jf: 1},
		{Code: ret, K: unix.SECCOMP_RET_USER_NOTIF},
		{Code: ret, K: unix.SECCOMP_RET_ALLOW},
	}
	prog := unix.SockFprog{Len: uint16(len(filter)), Filter: &filter[0]}
	fd, _, e := unix.Syscall(unix.SYS_SECCOMP, unix.SECCOMP_SET_MODE_FILTER, unix.SECCOMP_FILTER_FLAG_NEW_LISTENER, uintptr(unsafe.Pointer(&prog)))
	if e != 0 {
		return fmt.Errorf("the kernel takes no system call filter with a listener: %w", e)
	}
	if err := unix.Sendmsg(3, []byte{1}, unix.UnixRights(int(fd)), nil, 0); err != nil {
		return err
	}
	_ = unix.Close(int(fd))
	_ = unix.Close(3)
	return unix.Exec(path, args, os.Environ())
}

// Guest is a program that may use posing lines.
type Guest struct {
	*exec.Cmd
	files *Files
	sock  *net.UnixConn
	ours  *os.File
	done  chan struct{}
}

// Command prepares a program that may use the lines of these files, beside their buses. Set its output and so
// on as with exec.Cmd, then Start it. The test binary's TestMain must call Main.
func (f *Files) Command(name string, args ...string) (*Guest, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	pair, err := unix.Socketpair(unix.AF_UNIX, unix.SOCK_STREAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	mine := os.NewFile(uintptr(pair[0]), "guest")
	conn, err := net.FileConn(mine)
	_ = mine.Close()
	if err != nil {
		return nil, err
	}
	g := &Guest{Cmd: exec.Command(self, append([]string{name}, args...)...), files: f, ours: os.NewFile(uintptr(pair[1]), "guest"), done: make(chan struct{})}
	g.sock = conn.(*net.UnixConn)
	g.Env = append(os.Environ(), guestEnv+"=1")
	g.ExtraFiles = []*os.File{g.ours}
	return g, nil
}

// Start starts the program and serves its requests of lines until it ends.
func (g *Guest) Start() error {
	defer g.ours.Close()
	if err := g.Cmd.Start(); err != nil {
		_ = g.sock.Close()
		return err
	}
	go func() {
		defer close(g.done)
		g.serve()
	}()
	return nil
}

// Ended tells whether the program has ended, before Wait is called.
func (g *Guest) Ended() bool {
	select {
	case <-g.done:
		return true
	default:
		return false
	}
}

// Wait waits for the program's end.
func (g *Guest) Wait() error {
	err := g.Cmd.Wait()
	<-g.done
	return err
}

// notice and answer are struct seccomp_notif and seccomp_notif_resp, handover is seccomp_notif_addfd.
type notice struct {
	id         uint64
	pid, flags uint32
	nr         int32
	arch       uint32
	ip         uint64
	args       [6]uint64
}

type answer struct {
	id    uint64
	value int64
	errno int32
	flags uint32
}

type handover struct {
	id                           uint64
	flags, from, to, atOpenFlags uint32
}

const ioctlAddFD = 0x40182103 // SECCOMP_IOCTL_NOTIF_ADDFD

func (g *Guest) serve() {
	listener, err := g.receive()
	_ = g.sock.Close()
	if err != nil {
		return
	}
	defer unix.Close(listener)
	for {
		// Wait for a notice or for the end of the last process under the filter.
		p := []unix.PollFd{{Fd: int32(listener), Events: unix.POLLIN}}
		if _, err := unix.Poll(p, -1); err != nil && !errors.Is(err, syscall.EINTR) || p[0].Revents&unix.POLLHUP != 0 {
			return
		}
		if p[0].Revents&unix.POLLIN == 0 {
			continue
		}
		n := new(notice)
		if ioctlOn(listener, unix.SECCOMP_IOCTL_NOTIF_RECV, unsafe.Pointer(n)) != 0 {
			continue
		}
		a := &answer{id: n.id}
		a.errno = -int32(g.grant(listener, n))
		_ = ioctlOn(listener, unix.SECCOMP_IOCTL_NOTIF_SEND, unsafe.Pointer(a))
	}
}

// receive takes the filter's listener from the child.
func (g *Guest) receive() (int, error) {
	var b [1]byte
	oob := make([]byte, unix.CmsgSpace(4))
	_, n, _, _, err := g.sock.ReadMsgUnix(b[:], oob)
	if err != nil {
		return 0, err
	}
	msgs, err := unix.ParseSocketControlMessage(oob[:n])
	if err != nil || len(msgs) != 1 {
		return 0, syscall.EPROTO
	}
	fds, err := unix.ParseUnixRights(&msgs[0])
	if err != nil || len(fds) != 1 {
		return 0, syscall.EPROTO
	}
	unix.CloseOnExec(fds[0])
	return fds[0], nil
}

// grant makes the request that a notice asks for.
func (g *Guest) grant(listener int, n *notice) syscall.Errno {
	path, err := os.Readlink(fmt.Sprintf("/proc/%d/fd/%d", n.pid, n.args[0]))
	if err != nil {
		return syscall.EBADF
	}
	chip := g.files.chip(strings.TrimPrefix(path, g.files.Dir+"/"))
	if chip == nil {
		return syscall.ENOTTY
	}
	mem := caller{pid: int(n.pid)}
	in, errno := mem.fetch(n.args[2], reqFD+4)
	if errno != 0 {
		return errno
	}
	file, errno := chip.grant(in)
	if errno != 0 {
		return errno
	}
	fd, err := unix.Open(file, unix.O_RDWR|unix.O_CLOEXEC, 0)
	if err != nil {
		return syscall.EIO
	}
	defer unix.Close(fd)
	h := &handover{id: n.id, from: uint32(fd), atOpenFlags: unix.O_CLOEXEC}
	there, _, e := unix.Syscall(unix.SYS_IOCTL, uintptr(listener), ioctlAddFD, uintptr(unsafe.Pointer(h)))
	if e != 0 {
		return e
	}
	return mem.put(n.args[2]+reqFD, binary.NativeEndian.AppendUint32(nil, uint32(there)))
}

func ioctlOn(fd int, request uintptr, p unsafe.Pointer) syscall.Errno {
	_, _, e := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), request, uintptr(p))
	return e
}
