package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller/bus"
	"ductwarden/gates/pca9685"
)

const (
	// oscillatorTime is how long pulses are counted: a hundred at the usual rate.
	oscillatorTime = 2 * time.Second
	// fewestPulses are needed between the first and the last edge.
	fewestPulses = 10
)

// oscillatorVerb finds the clock of a servo board.
func oscillatorVerb() *cobra.Command {
	var f oscillatorFlags
	c := &cobra.Command{
		Use:   "oscillator CHIP/CHANNEL",
		Short: "Find a servo board's own clock, which is off by up to a tenth",
		Long: "A servo board makes its pulses with a clock of its own, 23 to 27 MHz where 25 MHz is printed, so the same figures open\n" +
			"a gate differently on another board. Wire a free output of the board, one without a servo, to an input line of this\n" +
			"computer (both of 3.3 V, or through a divider) and name it with --line: the pulses are timed for two seconds. Or\n" +
			"read the rate of the pulses from a meter and give it with --pulses. What to write into the shop file is printed.\n" +
			"Exit code 1: no clock can be told.",
		Example: "  ductwarden oscillator pca9685@0x40/15 --line GPIO5\n  ductwarden oscillator pca9685@0x40/15 --pulses \"51.9 Hz\"",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return f.run(c.Context(), args[0], c.OutOrStdout())
		},
	}
	c.Flags().StringVar(&f.line, "line", "", "input line that the output is wired to")
	c.Flags().StringVar(&f.pulses, "pulses", "", "rate of the pulses as a meter shows it, in place of --line")
	c.Flags().StringVar(&f.bus, "bus", usualBus, "I2C device of the board")
	c.Flags().StringVar(&f.lines, "lines", "gpiochip0", "GPIO chip of the line")
	return c
}

type oscillatorFlags struct{ line, pulses, bus, lines string }

func (f *oscillatorFlags) run(ctx context.Context, target string, out io.Writer) error {
	chip, channel, ok := strings.Cut(target, "/")
	if !ok || (f.line == "") == (f.pulses == "") {
		return usageError{errors.New("name the board's output, like pca9685@0x40/15, and either --line or --pulses")}
	}
	line := f.line
	if line == "" {
		line = "GPIO5" // only to make the words below complete
	}
	file, err := config.Parse("command line", strings.NewReader(fmt.Sprintf("buses: {main: %s}\nlines: %s\ngates: [{name: output, actuator: {servo: {chip: %q, channel: %s, open: 1900 us, closed: 1100 us}}, proof: {open: %s}}]\n", f.bus, f.lines, chip, channel, line)))
	if err != nil {
		return usageError{err}
	}
	var hz int64
	if f.pulses != "" {
		hz, err = f.counted(file)
	} else {
		hz, err = f.timed(ctx, file)
	}
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "%s: its clock runs at %.2f MHz, %+.1f %% of what is printed. Below `chips:` in the shop file:\n  - {chip: %s, oscillator: %.2f MHz}\n"+
		"Gates on this board whose ends were found before must be found again with jog.\n", chip, float64(hz)/1e6, (float64(hz)/25e6-1)*100, chip, float64(hz)/1e6)
	return err
}

// counted takes the rate from a meter.
func (f *oscillatorFlags) counted(file *config.Shop) (int64, error) {
	rate, err := config.ParseQuantity(config.Frequency, f.pulses)
	if err != nil {
		return 0, usageError{err}
	}
	b, err := pca9685.New(nowhere{}, pca9685.Settings{Addr: uint16(file.Gates[0].Actuator.Servo.Chip.Address)})
	if err != nil || rate <= 0 {
		return 0, usageError{errors.Join(err, errors.New("the rate of the pulses is above zero, about 50 Hz"))}
	}
	return b.OscillatorOf(time.Duration(math.Round(1e9 / rate)))
}

// timed lets the board pulse the output and times what comes at the line.
func (f *oscillatorFlags) timed(ctx context.Context, file *config.Shop) (hz int64, err error) {
	held, err := lockBuses()
	if err != nil {
		return 0, err
	}
	defer held.Close()
	sv, in := file.Gates[0].Actuator.Servo, file.Gates[0].Proof.Open
	wires, err := bus.OpenI2C(f.bus, bus.Settings{})
	if err != nil {
		return 0, err
	}
	defer wires.Close()
	if err := wires.Claim(uint16(sv.Chip.Address), sv.Chip.Kind); err != nil {
		return 0, err
	}
	chip, err := bus.OpenLines(in.Chip)
	if err != nil {
		return 0, err
	}
	defer chip.Close()
	lines, err := chip.Inputs([]bus.InputLine{{Offset: in.Offset, Name: "oscillator", Bias: bus.PullDown, Edges: bus.Rising}})
	if err != nil {
		return 0, err
	}
	defer lines.Close()
	board, err := pca9685.New(wires, pca9685.Settings{Addr: uint16(sv.Chip.Address)})
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, board.Halt()) }()
	first, last, n, err := pulsesAt(ctx, board, sv.Channel, lines)
	if err != nil {
		return 0, err
	}
	if n < fewestPulses {
		return 0, fmt.Errorf("%v/%d: %d pulses came at line %d of %s in %v: look at the wire, and that no servo's supply is needed for the board's outputs", board, sv.Channel, n, in.Offset, in.Chip, oscillatorTime)
	}
	return board.OscillatorOf((last - first) / time.Duration(n-1))
}

// pulsesAt sets the board up, pulses one output, and collects the rising edges at a line.
func pulsesAt(ctx context.Context, board *pca9685.Board, channel int, lines *bus.Inputs) (first, last time.Duration, n int, err error) {
	began, asked := time.Now(), false
	var buf [16]bus.Edge
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for time.Since(began) < oscillatorTime {
		select {
		case <-ctx.Done():
			return 0, 0, 0, ctx.Err()
		case <-tick.C:
		}
		if _, err := board.Poll(time.Since(began)); err != nil {
			return 0, 0, 0, err
		}
		if board.State() == pca9685.Works && !asked {
			if err := board.SetPulse(channel, 1500*time.Microsecond); err != nil {
				return 0, 0, 0, err
			}
			asked = true
		}
		k, err := lines.Edges(buf[:])
		if err != nil {
			return 0, 0, 0, err
		}
		for _, e := range buf[:k] {
			if e.Missed || n == 0 {
				first, n = e.At, 0
			}
			last, n = e.At, n+1
		}
	}
	return first, last, n, nil
}
