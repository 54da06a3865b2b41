package main

import (
	"context"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/bus/posing"
	adc "ductwarden/current/ads1115/chip"
	pulses "ductwarden/gates/pca9685/chip"
)

// typing is an input that a test types into while a verb reads it.
func typing(t *testing.T) (io.Reader, func(string)) {
	r, w := io.Pipe()
	t.Cleanup(func() { w.Close() })
	return r, func(s string) { _, _ = io.WriteString(w, s) }
}

// alone gives a test a lock file of its own.
func alone(t *testing.T) {
	t.Helper()
	if isThere("/run/ductwarden") {
		t.Skip("a daemon is installed here: its lock is not touched")
	}
	t.Setenv("TMPDIR", t.TempDir())
}

func TestJogOnMetalWithoutAFile(t *testing.T) {
	alone(t)
	pose, path := posing.StartI2C(t)
	chip := pulses.New(0x40, 25_000_000)
	pose.Attach(0x40, chip)
	width := func() (w time.Duration) {
		pose.Do(func(now time.Duration) { w = chip.Pulse(now, 3) })
		return w
	}
	file := filepath.Join(t.TempDir(), "shop.yaml")
	in, write := typing(t)
	out := &writer{}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, []string{"jog", "pca9685@0x40/3", "--bus", path, "--config", file}, in, out, out)
	}()
	says := func(what string) {
		t.Helper()
		require.Eventually(t, func() bool { return strings.Contains(out.String(), what) }, 10*time.Second, 5*time.Millisecond, "%s\n%s", what, out)
	}
	says("no hand is at the gate")
	assert.Zero(t, width(), "nothing moves before the key")
	write("\n")
	says("nothing sent yet")
	write("+10\n")
	require.Eventually(t, func() bool { return width() > 0 }, 10*time.Second, 5*time.Millisecond, out.String())
	assert.InDelta(t, 1500, float64(width().Microseconds()), 5)
	write("+50\n")
	says("1550 us")
	assert.InDelta(t, 1550, float64(width().Microseconds()), 5)
	cancel() // Ctrl-C
	select {
	case code := <-ended:
		assert.Equal(t, exitNo, code)
	case <-time.After(10 * time.Second):
		t.Fatal("it did not end")
	}
	assert.Zero(t, width(), "the pulses ended with Ctrl-C")
	assert.NoFileExists(t, file)
	pose.Do(func(time.Duration) { assert.Empty(t, chip.Misuse()) })
}

// One sentence names the bus, the address, the likely cause and the next step.
func TestBenchOnMetalThatIsNotThere(t *testing.T) {
	alone(t)
	say := func(typed string, args ...string) string {
		out := &writer{}
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		defer cancel()
		run(ctx, args, strings.NewReader(typed), out, out)
		return out.String()
	}
	none := filepath.Join(t.TempDir(), "shop.yaml")
	text := say("", "jog", "pca9685@0x40/3", "--bus", "/dev/i2c-77", "--config", none)
	assert.Contains(t, text, "/dev/i2c-77")
	assert.Contains(t, text, "i2c-dev")

	_, path := posing.StartI2C(t) // a bus with no chip
	text = say("\n+10\n\nq\n", "jog", "pca9685@0x41/3", "--bus", path, "--config", none)
	assert.Contains(t, text, "0x41")
	assert.Contains(t, strings.Join(strings.Fields(text), " "), "stop: pca9685@0x41/3 on "+path+" does not answer")
	text = say("", "listen", "ads1115@0x4a", "--bus", path, "--config", none, "--for", "1s")
	assert.Contains(t, text, "ads1115@0x4a/0")
	assert.Contains(t, strings.Join(strings.Fields(text), " "), "converter on "+path+" does not answer: look at the board's power")

	held, err := lockBuses()
	require.NoError(t, err)
	defer held.Close()
	text = say("", "listen", "ads1115@0x4a", "--bus", path, "--config", none, "--for", "1s")
	assert.Contains(t, text, "another ductwarden uses")
	_, err = os.Stat(none)
	assert.ErrorIs(t, err, os.ErrNotExist)
}

func TestListenOnMetalWithoutAFile(t *testing.T) {
	alone(t)
	pose, path := posing.StartI2C(t)
	pose.Attach(0x48, adc.New(func(pin int, at time.Duration) float64 {
		noise := 0.0005 * math.Sin(float64(at.Microseconds()%9973)*float64(pin+1))
		if pin != 2 {
			return 1.65 + noise
		}
		return 1.65 + noise + 0.0333*4*math.Sqrt2*math.Sin(2*math.Pi*50*at.Seconds())
	}, adc.Options{Supply: 3.3}))
	file := filepath.Join(t.TempDir(), "shop.yaml")
	out := &writer{}
	code := run(t.Context(), []string{"listen", "ads1115@0x48", "--bus", path, "--config", file, "--add", "2=lathe", "--for", "2s"}, strings.NewReader("y\n"), out, out)
	require.Equal(t, exitDone, code, out.String())
	assert.Regexp(t, `ads1115@0x48/2\s+(3\.[6-9]|4\.[0-4])\d A  good\s+lathe`, out.String())
	assert.Regexp(t, `ads1115@0x48/1\s+0\.0\d A`, out.String())
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Contains(t, string(text), "{name: lathe, gates: [lathe], sensors: [{clamp: {adc: ads1115@0x48, channel: 2, scale: 33.3 mV/A, running: 1.6 A}}]}")
	assert.NotContains(t, string(text), "input 0", "what nobody named is not written")
}
