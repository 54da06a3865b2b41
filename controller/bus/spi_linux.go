package bus

import "syscall"

// canOpen looks whether the device file opens at all, because periph loses the kernel's number.
func canOpen(what, path, group, pattern, cure string) error {
	fd, err := syscall.Open(path, syscall.O_RDWR|syscall.O_CLOEXEC, 0)
	if err != nil {
		return openSentence(what, path, group, pattern, cure, err)
	}
	return syscall.Close(fd)
}
