package bus

import (
	"errors"
	"fmt"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3"
	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
	"periph.io/x/conn/v3/spi/spitest"
)

// wires is an adapter of the imagination.
type wires struct {
	errs   []error // of the next transfers, then good
	count  int
	closed int
	slow   time.Duration
}

func (w *wires) transfer(uint16, []byte, []byte) error {
	w.count++
	time.Sleep(w.slow)
	if len(w.errs) == 0 {
		return nil
	}
	err := w.errs[0]
	if len(w.errs) > 1 {
		w.errs = w.errs[1:]
	}
	return err
}
func (w *wires) taken(uint16) bool { return false }
func (w *wires) close() error      { w.closed++; return nil }

func TestSteadyTransfersAllocateNothing(t *testing.T) {
	b := newI2C("bus", &wires{}, Settings{}.withDefaults())
	w, r := []byte{0}, make([]byte, 4)
	assert.Zero(t, testing.AllocsPerRun(200, func() { _ = b.Tx(0x40, w, r) }), "a chip that answers")
	silent := newI2C("bus", &wires{errs: []error{syscall.ENXIO}}, Settings{}.withDefaults())
	for range lostAfter {
		require.Error(t, silent.Tx(0x40, w, r))
	}
	assert.Zero(t, testing.AllocsPerRun(200, func() { _ = silent.Tx(0x40, w, r) }), "a chip that rests")
}

func TestASlowFailureIsNotRepeated(t *testing.T) {
	w := &wires{errs: []error{syscall.EIO}, slow: 6 * time.Millisecond}
	b := newI2C("bus", w, Settings{Timeout: 10 * time.Millisecond}.withDefaults())
	require.Error(t, b.Tx(0x40, nil, make([]byte, 1)))
	assert.Equal(t, 1, w.count, "the wait stays bounded by one time-out and a half")
}

func TestWhatATransferCannotBe(t *testing.T) {
	w := &wires{}
	b := newI2C("main", w, Settings{}.withDefaults())
	assert.ErrorContains(t, b.Tx(0x80, nil, nil), "write the chip's 7-bit address")
	assert.ErrorContains(t, b.Tx(0x40, make([]byte, maxTransfer+1), nil), "are more than the 256")
	assert.Zero(t, w.count)
	require.NoError(t, b.Close())
	require.NoError(t, b.Close())
	assert.Equal(t, 1, w.closed)
	assert.ErrorContains(t, b.Tx(0x40, nil, nil), "was closed by this program")
	assert.Empty(t, b.Scan())
}

func TestKindsOfFault(t *testing.T) {
	for n, want := range map[syscall.Errno]Fault{
		syscall.ENXIO: NoAnswer, errnoRemoteIO: NoAnswer,
		syscall.EAGAIN: Noise, syscall.EIO: Noise, syscall.EPROTO: Noise, syscall.EBADMSG: Noise,
		syscall.ETIMEDOUT: Stuck, syscall.EBUSY: Stuck,
		syscall.ENODEV: Gone, syscall.EBADF: Gone, syscall.ESHUTDOWN: Gone,
		syscall.EOPNOTSUPP: Refused, syscall.EINVAL: Refused,
	} {
		assert.Equal(t, want, FaultOf(n), n)
		assert.Equal(t, want, FaultOf(fmt.Errorf("wrapped: %w", n)), n)
		e := &Error{Bus: "/dev/i2c-1", Addr: 0x40, Fault: want, Err: n}
		assert.Equal(t, want, FaultOf(e))
		assert.ErrorIs(t, e, n)
		assert.Contains(t, e.Error(), "/dev/i2c-1 0x40: ")
	}
	assert.Equal(t, NoFault, FaultOf(nil))
	assert.Equal(t, Refused, FaultOf(errors.New("another")))
	seen := map[string]bool{}
	for f := NoFault; f <= Refused; f++ {
		seen[f.String()] = true
		if f != NoFault {
			seen[(&Error{Fault: f}).Error()] = true
		}
	}
	assert.Len(t, seen, 11, "each kind has a word and a sentence of its own")
}

func TestPresence(t *testing.T) {
	const ms = time.Millisecond
	var p Presence
	assert.True(t, p.Due(0))
	assert.Equal(t, Unchanged, p.Note(1*ms, NoAnswer))
	assert.Equal(t, Unchanged, p.Note(2*ms, NoFault), "one failure is noise")
	assert.Equal(t, Unchanged, p.Note(3*ms, NoAnswer))
	assert.Equal(t, Unchanged, p.Note(4*ms, NoAnswer))
	assert.False(t, p.Lost())
	assert.Zero(t, p.Next())
	assert.Equal(t, Lost, p.Note(5*ms, NoAnswer))
	assert.True(t, p.Lost())
	now := 5 * ms
	for _, rest := range []time.Duration{50 * ms, 100 * ms, 200 * ms, 250 * ms, 250 * ms} {
		assert.False(t, p.Due(now+rest-1))
		assert.True(t, p.Due(now+rest))
		assert.Equal(t, now+rest, p.Next())
		now += rest
		assert.Equal(t, Unchanged, p.Note(now, NoAnswer))
	}
	for range 6 {
		p.Note(now, Stuck)
	}
	assert.Equal(t, now+longestStuck, p.Next(), "where each try costs a time-out, the rest grows longer")
	assert.Equal(t, Found, p.Note(now, NoFault))
	assert.True(t, p.Due(now))
}

func TestSPITransfers(t *testing.T) {
	play := &spitest.Playback{Playback: conntest.Playback{Ops: []conntest.IO{{W: []byte{1, 2, 3}, R: []byte{4, 5, 6}}}, DontPanic: true}}
	s, err := newSPI("/dev/spidev0.0", play, physic.MegaHertz)
	require.NoError(t, err)
	w, r := []byte{1, 2, 3}, make([]byte, 3)
	require.NoError(t, s.Tx(w, r))
	assert.Equal(t, []byte{4, 5, 6}, r)
	assert.ErrorContains(t, s.Tx(w, r), "a transfer failed")
	assert.ErrorContains(t, s.Tx(w, r[:2]), "both must be alike")
	assert.Error(t, s.Tx(nil, nil))
	assert.Error(t, s.Tx(make([]byte, maxSPI+1), make([]byte, maxSPI+1)))
	assert.Equal(t, "/dev/spidev0.0", s.String())
	assert.NoError(t, s.Close())
}

// looper is a port whose chip answers each byte with its complement, and counts calls.
type looper struct {
	spitest.Playback
	calls int
}

func (l *looper) Connect(physic.Frequency, spi.Mode, int) (spi.Conn, error) { return l, nil }
func (l *looper) String() string                                            { return "looper" }
func (l *looper) Duplex() conn.Duplex                                       { return conn.Full }
func (l *looper) Tx(w, r []byte) error                                      { return l.TxPackets([]spi.Packet{{W: w, R: r}}) }
func (l *looper) Close() error                                              { return nil }
func (l *looper) TxPackets(all []spi.Packet) error {
	l.calls++
	for _, p := range all {
		for i := range p.W {
			p.R[i] = ^p.W[i]
		}
	}
	return nil
}

func TestSPIPackets(t *testing.T) {
	l := &looper{}
	s, err := newSPI("/dev/spidev0.0", l, physic.MegaHertz)
	require.NoError(t, err)
	all := make([]spi.Packet, 8)
	for i := range all {
		all[i] = spi.Packet{W: []byte{byte(i), 0, 0xF0}, R: make([]byte, 3)}
	}
	require.NoError(t, s.TxPackets(all))
	for i := range all {
		assert.Equal(t, []byte{^byte(i), 0xFF, 0x0F}, all[i].R)
	}
	assert.Equal(t, 2, l.calls, "four conversions in one call of the kernel")
	assert.Zero(t, testing.AllocsPerRun(100, func() { _ = s.TxPackets(all) }))
	for _, p := range []spi.Packet{{W: []byte{1}}, {}, {W: []byte{1}, R: []byte{1}, KeepCS: true}, {W: []byte{1}, R: []byte{1}, BitsPerWord: 12}} {
		assert.ErrorContains(t, s.TxPackets([]spi.Packet{all[0], p}), "packet 1 is no plain transfer")
	}
	big := spi.Packet{W: make([]byte, 3000), R: make([]byte, 3000)}
	assert.ErrorContains(t, s.TxPackets([]spi.Packet{big, big}), "more than the 4096")
	assert.Equal(t, conn.Full, s.Duplex())
}

func TestSPIRefusesAClock(t *testing.T) {
	rec := &spitest.Playback{}
	_, err := newSPI("/dev/spidev0.0", refusing{rec}, physic.MegaHertz)
	assert.ErrorContains(t, err, "give a slower clock")
}

type refusing struct{ *spitest.Playback }

func (refusing) Connect(physic.Frequency, spi.Mode, int) (spi.Conn, error) {
	return nil, errors.New("no")
}
