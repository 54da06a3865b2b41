package bus_test

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"os"
	"runtime"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/i2c"

	"ductwarden/controller/bus"
	"ductwarden/controller/bus/posing"
)

// memory is a chip of 256 bytes with a pointer, like an EEPROM.
type memory struct {
	data [256]byte
	at   byte
}

func (m *memory) Tx(_ time.Duration, w, r []byte) error {
	if len(w) > 0 {
		m.at = w[0]
		for _, b := range w[1:] {
			m.data[m.at] = b
			m.at++
		}
	}
	for i := range r {
		r[i] = m.data[m.at]
		m.at++
	}
	return nil
}

func open(t *testing.T, path string, s bus.Settings) *bus.I2C {
	t.Helper()
	b, err := bus.OpenI2C(path, s)
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, b.Close()) })
	return b
}

func TestTransfersReachTheChipAndBack(t *testing.T) {
	pose, path := posing.StartI2C(t)
	m := &memory{}
	pose.Attach(0x50, m)
	b := open(t, path, bus.Settings{})

	require.NoError(t, b.Tx(0x50, []byte{0x10, 1, 2, 3}, nil))
	r := make([]byte, 3)
	require.NoError(t, b.Tx(0x50, []byte{0x10}, r))
	assert.Equal(t, []byte{1, 2, 3}, r)
	require.NoError(t, b.Tx(0x50, []byte{0x11}, nil))
	require.NoError(t, b.Tx(0x50, nil, r[:2]), "a read without a pointer goes on where it stood")
	assert.Equal(t, []byte{2, 3}, r[:2])
	assert.Equal(t, 50*time.Millisecond, pose.Timeout(), "the adapter's wait is bounded")
	assert.Equal(t, path, b.String())
	assert.Error(t, b.SetSpeed(400_000))
}

func TestKindsOfFaultKeepTheKernelsNumber(t *testing.T) {
	pose, path := posing.StartI2C(t)
	pose.Attach(0x48, &memory{})
	for _, c := range []struct {
		kind  posing.Trouble
		fault bus.Fault
		errno syscall.Errno
		tries int
		says  string
	}{
		{posing.NoAnswer, bus.NoAnswer, syscall.EREMOTEIO, 2, "check the board's supply"},
		{posing.Lost, bus.Noise, syscall.EAGAIN, 3, "shorten or twist the bus wires"},
		{posing.Garbled, bus.Noise, syscall.EIO, 3, "shorten or twist the bus wires"},
		{posing.TimeOut, bus.Stuck, syscall.ETIMEDOUT, 1, "holds SDA or SCL low"},
	} {
		t.Run(c.fault.String()+" "+c.errno.Error(), func(t *testing.T) {
			b := open(t, path, bus.Settings{Timeout: 20 * time.Millisecond})
			pose.Clear()
			before := pose.Transfers()
			pose.Trouble(posing.Script{Addr: 0x48, Kind: c.kind})
			err := b.Tx(0x48, []byte{0}, make([]byte, 2))
			require.ErrorIs(t, err, c.errno)
			assert.Equal(t, c.fault, bus.FaultOf(err))
			assert.Equal(t, c.tries, pose.Transfers()-before, "repeats go by the kind")
			assert.Contains(t, err.Error(), path+" 0x48")
			assert.Contains(t, err.Error(), c.says)
		})
	}
}

func TestNoiseIsOvercomeByRepeating(t *testing.T) {
	pose, path := posing.StartI2C(t)
	m := &memory{}
	m.data[3] = 0xA5
	pose.Attach(0x48, m)
	pose.Trouble(posing.Script{Addr: 0x48, Kind: posing.Garbled, Times: 2})
	b := open(t, path, bus.Settings{})
	r := make([]byte, 1)
	require.NoError(t, b.Tx(0x48, []byte{3}, r))
	assert.Equal(t, byte(0xA5), r[0])
	s := b.Stats()
	assert.Equal(t, uint64(3), s.Transfers)
	assert.Equal(t, uint64(2), s.Again)
	assert.Equal(t, uint64(2), s.Noise)
}

func TestAnAbsentChipCostsAlmostNothing(t *testing.T) {
	pose, path := posing.StartI2C(t)
	gate := &memory{}
	pose.Attach(0x40, gate)
	pose.Trouble(posing.Script{Addr: 0x48, Kind: posing.TimeOut})
	var lost, found atomic.Int32
	b := open(t, path, bus.Settings{Timeout: 10 * time.Millisecond, Changed: func(addr uint16, c bus.Change) {
		assert.Equal(t, uint16(0x48), addr)
		if c == bus.Lost {
			lost.Add(1)
		} else {
			found.Add(1)
		}
	}})
	for range 3 {
		require.Error(t, b.Tx(0x48, []byte{0}, make([]byte, 2)))
		require.NoError(t, b.Tx(0x40, []byte{0}, make([]byte, 1)), "a gate's board on the same bus works between")
	}
	assert.Equal(t, int32(1), lost.Load())
	before := pose.Transfers()
	for range 1000 {
		require.ErrorIs(t, b.Tx(0x48, []byte{0}, make([]byte, 2)), syscall.ETIMEDOUT)
		require.NoError(t, b.Tx(0x40, []byte{0}, make([]byte, 1)))
	}
	assert.Less(t, pose.Transfers()-before, 1000+20, "the lost sensor is left alone while it rests")
	pose.Clear()
	pose.Attach(0x48, &memory{})
	require.Eventually(t, func() bool { return b.Tx(0x48, []byte{0}, make([]byte, 2)) == nil }, 10*time.Second, time.Millisecond)
	assert.Equal(t, int32(1), found.Load())
}

func TestAStuckBusIsNotHammered(t *testing.T) {
	pose, path := posing.StartI2C(t)
	b := open(t, path, bus.Settings{Timeout: 10 * time.Millisecond})
	chips := []uint16{0x40, 0x41, 0x48, 0x49, 0x4a, 0x4b}
	for _, a := range chips {
		pose.Attach(a, &memory{})
		require.NoError(t, b.Tx(a, nil, make([]byte, 1)))
	}
	pose.Trouble(posing.Script{Kind: posing.TimeOut})
	before := pose.Transfers()
	for range 200 {
		for _, a := range chips {
			assert.Equal(t, bus.Stuck, bus.FaultOf(b.Tx(a, nil, make([]byte, 1))))
		}
	}
	assert.Less(t, pose.Transfers()-before, 10, "each try costs the whole time-out, so no chip tries while the bus rests")
	assert.NotZero(t, b.Stats().Resting)
	pose.Clear()
	for _, a := range chips {
		require.Eventually(t, func() bool { return b.Tx(a, nil, make([]byte, 1)) == nil }, 10*time.Second, time.Millisecond)
	}
}

func TestAHangingCallLeavesTheFiguresReadable(t *testing.T) {
	pose, path := posing.StartI2C(t)
	pose.Attach(0x40, &memory{})
	b := open(t, path, bus.Settings{})
	pose.Trouble(posing.Script{Addr: 0x40, Kind: posing.Hang, Times: 1})
	done := make(chan error)
	go func() { done <- b.Tx(0x40, nil, make([]byte, 1)) }()
	require.Eventually(t, func() bool { return pose.Transfers() == 1 }, 10*time.Second, time.Millisecond)
	assert.Equal(t, uint64(0), b.Stats().Transfers)
	pose.Release()
	assert.ErrorIs(t, <-done, syscall.ETIMEDOUT)
	assert.Equal(t, uint64(1), b.Stats().Stuck)
}

func TestSMBusOnlyAdapters(t *testing.T) {
	pose, path := posing.StartI2C(t)
	pose.SMBusOnly()
	m := &memory{}
	pose.Attach(0x40, m)
	b := open(t, path, bus.Settings{})
	for _, w := range [][]byte{{5}, {5, 1}, {5, 1, 2}, {5, 1, 2, 3, 4}, append([]byte{5}, bytes.Repeat([]byte{7}, 32)...)} {
		require.NoError(t, b.Tx(0x40, w, nil))
		pose.Do(func(time.Duration) {
			assert.Equal(t, w[1:], m.data[5:5+len(w)-1], "the wire carries the driver's bytes in their order")
		})
	}
	var want []byte
	pose.Do(func(time.Duration) {
		m.data[5], m.data[6] = 0x12, 0x34
		want = bytes.Clone(m.data[5 : 5+32])
	})
	r := make([]byte, 32)
	for _, n := range []int{1, 2, 3, 4, 32} {
		require.NoError(t, b.Tx(0x40, []byte{5}, r[:n]))
		assert.Equal(t, want[:n], r[:n])
	}
	require.NoError(t, b.Tx(0x40, []byte{5}, nil))
	require.NoError(t, b.Tx(0x40, nil, r[:2]), "a read that names no register goes to the last one")
	assert.Equal(t, []byte{0x12, 0x34}, r[:2])
	for _, c := range []struct{ w, r []byte }{{[]byte{1, 2}, r[:1]}, {[]byte{1}, make([]byte, 33)}, {make([]byte, 40), nil}, {nil, nil}} {
		assert.ErrorIs(t, b.Tx(0x40, c.w, c.r), syscall.EOPNOTSUPP, "what SMBus cannot say is refused, not approximated")
	}
}

func TestSpeedIsMeasured(t *testing.T) {
	pose, path := posing.StartI2C(t)
	pose.Attach(0x40, &memory{})
	b := open(t, path, bus.Settings{})
	for _, clock := range []int{62_500, 250_000} { // as measured on boards set to 100 and 400 kHz
		pose.SetClock(clock)
		got, err := b.MeasureSpeed(0x40, 20)
		require.NoError(t, err)
		t.Logf("a clock of %d Hz was measured as %s", clock, got)
		assert.InEpsilon(t, clock, int64(got)/1_000_000, 0.25) // physic counts in uHz
	}
	_, err := b.MeasureSpeed(0x41, 1)
	assert.ErrorContains(t, err, "was not measured")
}

// The buffers live on the stacks of goroutines that grow, under a garbage collector that never rests: the case
// in which a transport that turns slices into numbers too early carries foreign bytes.
func TestStressUnderTheGarbageCollector(t *testing.T) {
	pose, path := posing.StartI2C(t)
	b := open(t, path, bus.Settings{Timeout: 10 * time.Second})
	good, failed, wrong := stress(pose, b)
	t.Logf("our transport: %d good, %d failed, %d with wrong data", good, failed, wrong)
	assert.Zero(t, wrong)
	assert.Zero(t, failed)
	assert.Equal(t, int64(1200), good)
}

var errWrong = errors.New("other bytes came back than went out")

// echo writes four bytes and reads them back, from a stack of some depth.
func echo(b i2c.Bus, addr uint16, rng *rand.Rand, depth int) error {
	if depth > 0 {
		var pad [512]byte
		pad[depth] = byte(depth)
		err := echo(b, addr, rng, depth-1)
		runtime.KeepAlive(&pad)
		return err
	}
	want := [4]byte{byte(rng.Uint32()), byte(rng.Uint32()), byte(rng.Uint32()), byte(rng.Uint32())}
	at := byte(rng.IntN(200))
	if err := b.Tx(addr, append([]byte{at}, want[:]...), nil); err != nil { // nobody else keeps this slice
		return err
	}
	r := make([]byte, 4)
	if err := b.Tx(addr, []byte{at}, r); err != nil {
		return err
	}
	if [4]byte(r) != want {
		return errWrong
	}
	return nil
}

func TestOneOwner(t *testing.T) {
	_, path := posing.StartI2C(t)
	open(t, path, bus.Settings{})
	_, err := bus.OpenI2C(path, bus.Settings{})
	require.Error(t, err)
	assert.Contains(t, err.Error(), "in use by another program")
	assert.ErrorIs(t, err, syscall.EWOULDBLOCK)
}

func TestClaimSaysWhatIsWrong(t *testing.T) {
	pose, path := posing.StartI2C(t)
	b := open(t, path, bus.Settings{})
	err := b.Claim(0x40, "pca9685")
	assert.ErrorContains(t, err, "no other chip on this bus does")
	pose.Attach(0x41, &memory{})
	pose.Attach(0x48, &memory{})
	assert.NoError(t, b.Claim(0x41, "pca9685"))
	require.Eventually(t, func() bool { err = b.Claim(0x40, "pca9685"); return true }, 30*time.Second, time.Millisecond)
	assert.ErrorContains(t, err, "chips answer at 0x41, 0x48: check the address jumpers")
	assert.ErrorIs(t, err, syscall.EREMOTEIO)
	pose.TakenByKernel(0x48)
	assert.ErrorContains(t, b.Claim(0x48, "ads1115"), "a driver of the kernel has this address")
}

func TestOpenSentences(t *testing.T) {
	dir := t.TempDir()
	_, err := bus.OpenI2C(dir+"/i2c-7", bus.Settings{})
	require.ErrorIs(t, err, syscall.ENOENT)
	assert.Contains(t, err.Error(), "there is no I2C bus "+dir+"/i2c-7")
	plain := dir + "/plain"
	require.NoError(t, os.WriteFile(plain, nil, 0o600))
	_, err = bus.OpenI2C(plain, bus.Settings{})
	assert.ErrorContains(t, err, "is not an I2C bus")
	_, err = bus.OpenLines(plain)
	assert.ErrorContains(t, err, "is not a GPIO chip")
	_, err = bus.OpenLines("gpiochip77")
	assert.ErrorIs(t, err, syscall.ENOENT)
	_, err = bus.OpenSPI("/dev/spidev77.0", 1_000_000)
	assert.ErrorIs(t, err, syscall.ENOENT)
	assert.ErrorContains(t, err, "SPI bus /dev/spidev77.0")
	_, err = bus.OpenSPI("/dev/ttyS0", 1_000_000)
	assert.ErrorContains(t, err, "name a device file like /dev/spidev0.0")
}
