package bus_test

import (
	"errors"
	"flag"
	"math/rand/v2"
	"os"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/host/v3/sysfs"

	"ductwarden/controller/bus/posing"
)

var long = flag.Bool("long", false, "also run what takes long or only compares")

// Why there is a transport of our own: the same stress on periph's. It is a comparison, not a test; it prints
// and never fails.
func TestPeriphUnderTheSameStress(t *testing.T) {
	if !*long {
		t.Skip("a comparison with another transport runs with -long")
	}
	pose, path := posing.StartI2C(t)
	const link = "/dev/i2c-97" // periph takes a number, not a path
	if err := os.Symlink(path, link); err != nil {
		t.Skip(err)
	}
	defer os.Remove(link)
	b, err := sysfs.NewI2C(97)
	if err != nil {
		t.Skip(err)
	}
	defer b.Close()
	good, failed, wrong := stress(pose, b)
	t.Logf("periph's transport: %d good, %d failed, %d with wrong data", good, failed, wrong)
}

// stress lets 8 goroutines write and read back under a garbage collector that never rests.
func stress(pose *posing.Bus, b i2c.Bus) (good, failed, wrong int64) {
	const workers, each = 8, 150
	pose.SetClock(400_000) // so that the others wait, and what they hold while they wait is put to the test
	for i := range workers {
		pose.Attach(uint16(0x40+i), &memory{})
	}
	stop := make(chan struct{})
	var collector, work sync.WaitGroup
	collector.Go(func() {
		for {
			select {
			case <-stop:
				return
			default:
				runtime.GC()
				for range 200 { // what was freed is written over at once
					x := new([8]byte)
					*x = [8]byte{0xEE, 0xEE, 0xEE, 0xEE, 0xEE, 0xEE, 0xEE, 0xEE}
					rubbish.Store(x)
				}
			}
		}
	})
	var counts [3]atomic.Int64
	for i := range workers {
		work.Go(func() {
			rng := rand.New(rand.NewPCG(1, uint64(i)))
			for range each {
				switch err := echo(b, uint16(0x40+i), rng, rng.IntN(40)); {
				case errors.Is(err, errWrong):
					counts[2].Add(1)
				case err != nil:
					counts[1].Add(1)
				default:
					counts[0].Add(1)
				}
			}
		})
	}
	work.Wait()
	close(stop)
	collector.Wait()
	return counts[0].Load(), counts[1].Load(), counts[2].Load()
}

var rubbish atomic.Pointer[[8]byte]
