package bus

import (
	"fmt"
	"regexp"
	"strconv"
	"sync"

	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/host/v3/sysfs"
)

// SPI is one chip select of an SPI bus and its only owner. It uses periph's transport, which is sound for one
// caller at a time with memory that stays: both are seen to here.
type SPI struct {
	name string
	mu   sync.Mutex
	port spi.PortCloser
	conn spi.Conn
	out  []byte
	in   []byte
	pack [packetsAtOnce]spi.Packet
}

var _ spi.Conn = (*SPI)(nil)

// maxSPI is the longest transfer in bytes, the usual limit of the kernel's spidev (its parameter bufsiz).
const maxSPI = 4096

// packetsAtOnce is how many packets periph sends in one call of the kernel without allocating.
const packetsAtOnce = 4

var spidev = regexp.MustCompile(`^/dev/spidev(\d+)\.(\d+)$`)

// OpenSPI opens a chip select by its device file, "/dev/spidev0.0", at this clock in mode 0 with words of 8
// bits, which suits the converters in use. The error is one sentence with the next step.
func OpenSPI(path string, clock physic.Frequency) (*SPI, error) {
	m := spidev.FindStringSubmatch(path)
	if m == nil {
		return nil, fmt.Errorf("%q is not an SPI bus: name a device file like /dev/spidev0.0 in the shop file", path)
	}
	if err := canOpen("SPI bus", path, "spi", "/dev/spidev*", "switch SPI on in the board's boot configuration"); err != nil {
		return nil, err
	}
	n, _ := strconv.Atoi(m[1])
	cs, _ := strconv.Atoi(m[2])
	port, err := sysfs.NewSPI(n, cs)
	if err != nil {
		return nil, fmt.Errorf("the SPI bus %s did not open (%w): check that no other program has it", path, err)
	}
	return newSPI(path, port, clock)
}

// newSPI takes an open port; a test gives one of its own.
func newSPI(name string, port spi.PortCloser, clock physic.Frequency) (*SPI, error) {
	conn, err := port.Connect(clock, spi.Mode0, 8)
	if err != nil {
		_ = port.Close()
		return nil, fmt.Errorf("the SPI bus %s does not work at %s (%w): give a slower clock", name, clock, err)
	}
	return &SPI{name: name, port: port, conn: conn, out: make([]byte, maxSPI), in: make([]byte, maxSPI)}, nil
}

// String is the device file.
func (s *SPI) String() string { return s.name }

// Tx sends w and reads as many bytes into r at the same time; both have one length, at most 4096 bytes.
func (s *SPI) Tx(w, r []byte) error {
	if len(w) != len(r) || len(w) == 0 || len(w) > maxSPI {
		return fmt.Errorf("%s: a transfer of %d bytes out and %d in cannot be: both must be alike, 1 to %d", s.name, len(w), len(r), maxSPI)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	copy(s.out, w)
	if err := s.conn.Tx(s.out[:len(w)], s.in[:len(r)]); err != nil {
		return fmt.Errorf("%s: a transfer failed (%w): check that the bus is still there", s.name, err)
	}
	copy(r, s.in[:len(r)])
	return nil
}

// TxPackets makes several transfers of 8-bit words, four in one call of the kernel; the select line rises
// between them, as a converter wants it between two conversions. Packets that keep it low are refused.
func (s *SPI) TxPackets(all []spi.Packet) error {
	for i := range all {
		p := &all[i]
		if p.KeepCS || p.BitsPerWord != 0 && p.BitsPerWord != 8 || len(p.W) != len(p.R) || len(p.W) == 0 {
			return fmt.Errorf("%s: packet %d is no plain transfer of 8-bit words, as many out as in, with the select line let go after it", s.name, i)
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for len(all) > 0 {
		n := min(len(all), packetsAtOnce)
		if err := s.some(all[:n]); err != nil {
			return err
		}
		all = all[n:]
	}
	return nil
}

// some sends at most packetsAtOnce packets from the bus's own memory.
func (s *SPI) some(packets []spi.Packet) error {
	at := 0
	for i, p := range packets {
		end := at + len(p.W)
		if end > maxSPI {
			return fmt.Errorf("%s: %d bytes in one call are more than the %d that the kernel takes", s.name, end, maxSPI)
		}
		copy(s.out[at:], p.W)
		s.pack[i] = spi.Packet{W: s.out[at:end], R: s.in[at:end]}
		at = end
	}
	if err := s.conn.TxPackets(s.pack[:len(packets)]); err != nil {
		return fmt.Errorf("%s: a transfer failed (%w): check that the bus is still there", s.name, err)
	}
	for i, p := range packets {
		copy(p.R, s.pack[i].R)
	}
	return nil
}

// Duplex is full: bytes go both ways at once.
func (s *SPI) Duplex() conn.Duplex { return conn.Full }

// Close gives the bus back.
func (s *SPI) Close() error { return s.port.Close() }
