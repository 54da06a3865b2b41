package main

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller/bench"
	"ductwarden/controller/simshop"
)

// listenFlags are those of listen beside the bench's own.
type listenFlags struct {
	benchFlags
	bus, scale string
	lasts      time.Duration
	add        []string
	asJSON     bool
}

// guessedRunning is the threshold of a clamp before learn has found its own, in A: above a lamp, below the no-load
// current of most motors from 1/2 hp on 230 V (NEC table 430.248, a third of 4.9 A).
const guessedRunning = 1.6

func listenVerb() *cobra.Command {
	var f listenFlags
	c := &cobra.Command{
		Use:   "listen CONVERTER",
		Short: "Show the live currents on a converter's inputs",
		Long: "Shows the true RMS current on each input of a converter, like ads1115@0x48, and what is wrong with an input. No shop\n" +
			"file is needed; with one, its own scales are used, and a running daemon is asked. --add says which machine an input\n" +
			"belongs to: its clamp is then put into the shop file (or into a new one) when you have seen the change and said yes;\n" +
			"a machine that the file does not have yet is added with a gate slid by hand. Then `ductwarden learn MACHINE`.",
		Example: "  ductwarden listen ads1115@0x48\n  ductwarden listen ads1115@0x48 --add 0=\"table saw\" --scale \"33.3 mV/A\"\n  ductwarden listen ads1115@0x48 --rehearse",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			s, chip, begun, err := f.prepare(args[0])
			if err != nil {
				return err
			}
			w, err := f.open(c.Context(), s)
			if err != nil {
				return err
			}
			hand := newTypist(c.InOrStdin())
			err = f.show(c.Context(), w, chip, c.OutOrStdout(), hand)
			if e := w.Close(); err == nil {
				err = e
			}
			if err != nil || len(f.add) == 0 {
				return err
			}
			before, after, err := begun.Preview(nil)
			if err != nil {
				return err
			}
			talk := c.OutOrStdout()
			if f.asJSON {
				talk = c.ErrOrStderr()
			}
			_, err = keep(c.Context(), hand, talk, f.config, bench.Diff(before, after), f.rehearse, nil, begun)
			return err
		},
	}
	f.benchFlags.add(c)
	c.Flags().StringVar(&f.bus, "bus", "", "device of the converter's bus in a file that names none (default "+usualBus+", for an mcp3208 "+usualPort+")")
	c.Flags().StringVar(&f.scale, "scale", "33.3 mV/A", "volts of the clamps for an ampere, for inputs that no shop file names")
	c.Flags().DurationVar(&f.lasts, "for", 0, "how long to listen (default: until Ctrl-C on a terminal, else 3s)")
	c.Flags().StringArrayVar(&f.add, "add", nil, "INPUT=MACHINE: put this input's clamp into the shop file; repeatable")
	c.Flags().BoolVar(&f.asJSON, "json", false, "one JSON object a look")
	return c
}

// usualPort is the first chip select of the usual boards' SPI.
const usualPort = "/dev/spidev0.0"

// prepare lays out a shop in which every input of the converter has a clamp.
func (f *listenFlags) prepare(target string) (s benchShop, chip string, out begunFile, err error) {
	if err := f.check(); err != nil {
		return s, "", out, err
	}
	m := onChip.FindStringSubmatch(target)
	switch {
	case m == nil || m[4] != "":
		return s, "", out, usageError{fmt.Errorf("%q names no converter: write it like ads1115@0x48 or mcp3208, without an input", target)}
	case m[2] == "pca9685":
		return s, "", out, usageError{fmt.Errorf("%q is a servo board, which measures nothing: `ductwarden jog %s/0` moves a gate on it", target, target)}
	case m[2] == "ads1115" && m[3] == "":
		return s, "", out, usageError{fmt.Errorf("%q lacks its address: write it like ads1115@0x48", target)}
	}
	if _, err := config.ParseQuantity(config.CurrentScale, f.scale); err != nil {
		return s, "", out, usageError{fmt.Errorf("--scale is like 33.3 mV/A: %w", err)}
	}
	if f.config == "" && !isThere(f.path()) {
		f.config = nearConfig
	} else {
		f.config = f.path()
	}
	text, file, err := begun(f.config, "listen")
	if err != nil {
		return s, "", out, err
	}
	chip = m[2] + m[3]
	written := chip
	if m[2] == "mcp3208" {
		text, written, err = onPort(text, file, f.bus, m[1])
	} else {
		text, written, err = onBus(text, file, f.bus, chip)
	}
	if err != nil {
		return s, "", out, err
	}
	if out, err = f.adding(text, file, written, chip); err != nil {
		return s, "", out, err
	}
	return f.every(out.text, written, chip, out)
}

// every adds a machine for each input that the file does not use, so that all are listened to. They are never written.
func (f *listenFlags) every(text []byte, written, chip string, out begunFile) (benchShop, string, begunFile, error) {
	fail := func(err error) (benchShop, string, begunFile, error) { return benchShop{}, "", out, err }
	file, err := config.Parse(f.config, bytes.NewReader(text))
	if err != nil {
		file = nil // the first lines of one: no gate yet
	}
	known := file != nil && usesChip(file, chip)
	if file != nil && len(file.Ports) > 0 { // it takes no gate and no machine without a place in its ducts
		if !known {
			return fail(fmt.Errorf("%s has ducts and names nothing on the %s: add a sensor on it, or listen with another --config", f.config, chip))
		}
		return benchShop{file: file, play: f.play}, chip, out, nil
	}
	if text, err = config.Append(text, "gates", "{name: listening, actuator: hand}"); err != nil {
		return fail(err)
	}
	for i := range inputCount(chip) {
		if file != nil && usesInput(file, chip, i) {
			continue
		}
		item := fmt.Sprintf("{name: input %d, gates: [listening], sensors: [%s]}", i, bench.ClampSensor(written, i, f.scale, guessedRunning))
		if text, err = config.Append(text, "machines", item); err != nil {
			return fail(err)
		}
	}
	whole, err := config.Parse(f.config, bytes.NewReader(text))
	if err != nil {
		return fail(err)
	}
	return benchShop{file: whole, own: !known, play: f.play}, chip, out, nil
}

// play switches the machines of a rehearsal on and off in turn, so that there is something to see.
func (f *listenFlags) play(sim *simshop.Shop, machines int, from time.Duration) {
	const each = 2 * time.Second
	for i := range 100 {
		m := i % max(machines, 1)
		sim.At(from+time.Duration(i)*each, func() { sim.Switch(m, true) })
		sim.At(from+time.Duration(i+1)*each-each/4, func() { sim.Switch(m, false) })
	}
}

func usesChip(file *config.Shop, chip string) bool {
	for i := range inputCount(chip) {
		if usesInput(file, chip, i) {
			return true
		}
	}
	return false
}

// usesInput reports whether the file has something on an input.
func usesInput(file *config.Shop, chip string, input int) bool {
	on := func(c config.Converter) bool {
		return strings.EqualFold(c.Chip.String(), chip) && (c.Channel == input || c.Against == input)
	}
	for _, m := range file.Machines {
		for _, s := range m.Sensors {
			if s.Clamp != nil && on(s.Clamp.Converter) {
				return true
			}
		}
	}
	for _, c := range file.Collectors {
		if c.Proof != nil && c.Proof.Clamp != nil && on(c.Proof.Clamp.Converter) {
			return true
		}
	}
	for _, t := range file.Taps {
		if on(t.Converter) {
			return true
		}
	}
	return false
}
