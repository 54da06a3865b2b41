// Package bus owns the wires: one owner for each I2C and SPI bus, and the lines of a GPIO chip. It knows no
// chip; drivers borrow a bus through periph's interfaces (i2c.Bus, spi.Conn) and lines through the small
// interfaces that they declare themselves.
//
// The I2C transport is our own, because periph's turns slices into plain integers before it waits for its
// lock: a garbage collection in between may free the buffer or move the stack, and the transfer then carries
// foreign bytes. Here all memory that the kernel sees belongs to the bus for its whole life.
//
// The lines are our own too: an output is requested together with its first value, so that it never pulses on
// the way, and nothing that reads a line changes its direction.
//
// Linux is the real thing; on other systems every Open returns one sentence.
package bus
