package broker

import (
	"bufio"
	"errors"
	"io"
	"net"
)

// largest is the longest packet that is read from the broker. Requests and telemetry are far shorter; the
// protocol allows 256 MB, and a board has less memory than a stranger has bytes.
const largest = 64 << 10

// frames lets whole MQTT packets through and skips publications that are too large, without ever holding
// more than a buffer of them. All subscriptions are of QoS 0, so a skipped publication needs no answer.
type frames struct {
	net.Conn
	in      *bufio.Reader
	head    []byte // of the present packet, not yet handed out
	left    int    // of its body
	skipped func(topic string, size int)
}

func newFrames(c net.Conn, skipped func(topic string, size int)) *frames {
	return &frames{Conn: c, in: bufio.NewReaderSize(c, 4096), skipped: skipped}
}

func (f *frames) Read(p []byte) (int, error) {
	for {
		if len(p) == 0 {
			return 0, nil
		}
		if len(f.head) > 0 {
			n := copy(p, f.head)
			f.head = f.head[n:]
			return n, nil
		}
		if f.left > 0 {
			n, err := f.in.Read(p[:min(len(p), f.left)])
			f.left -= n
			return n, err
		}
		if err := f.next(); err != nil {
			return 0, err
		}
	}
}

// next reads the fixed header of a packet: its type, and its length in one to four bytes of seven bits.
func (f *frames) next() error {
	kind, err := f.in.ReadByte()
	if err != nil {
		return err
	}
	head, length := []byte{kind}, 0
	for shift := 0; ; shift += 7 {
		b, err := f.in.ReadByte()
		if err != nil {
			return unexpected(err)
		}
		head = append(head, b)
		length |= int(b&0x7f) << shift
		if b&0x80 == 0 {
			break
		}
		if shift == 21 {
			return errors.New("broker sent a packet whose length cannot be read")
		}
	}
	if length <= largest {
		f.head, f.left = head, length
		return nil
	}
	if kind>>4 != 3 || kind&0x06 != 0 {
		return errors.New("broker sent a packet that is too large and no plain publication")
	}
	return f.skip(length)
}

func (f *frames) skip(length int) error {
	size := length
	var two [2]byte
	if _, err := io.ReadFull(f.in, two[:]); err != nil {
		return unexpected(err)
	}
	topic := make([]byte, int(two[0])<<8|int(two[1]))
	if len(topic)+2 > length {
		return errors.New("broker sent a publication whose topic is longer than itself")
	}
	if _, err := io.ReadFull(f.in, topic); err != nil {
		return unexpected(err)
	}
	length -= 2 + len(topic)
	if _, err := f.in.Discard(length); err != nil {
		return unexpected(err)
	}
	f.skipped(string(topic), size)
	return nil
}

func unexpected(err error) error {
	if errors.Is(err, io.EOF) {
		return io.ErrUnexpectedEOF
	}
	return err
}
