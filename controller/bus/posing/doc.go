// Package posing is test support: a file that poses as an I2C bus, /dev/i2c-N, to any program that opens it
// and speaks the kernel's own ioctl interface. Behind it stand chip models at register level. What a real bus
// does on bad days can be scripted: a chip that does not answer, a bus that is stuck until the adapter's
// time-out, a call that hangs, transfers that arrive with a wrong bit, a board whose supply sags.
//
// It is a file system in user space with that one file, so it tests how a program packs its calls, takes the
// kernel's numbers, waits, repeats and recovers. It does not test the kernel's own I2C code.
package posing
