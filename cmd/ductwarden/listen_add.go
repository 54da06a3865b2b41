package main

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"ductwarden/config"
	"ductwarden/controller/bench"
)

// adding puts the clamps of --add into the text.
func (f *listenFlags) adding(text []byte, file *config.Shop, written, chip string) (begunFile, error) {
	for _, a := range f.add {
		number, machine, ok := strings.Cut(a, "=")
		input, err := strconv.Atoi(strings.TrimSpace(number))
		if machine = strings.TrimSpace(machine); !ok || err != nil || machine == "" || input < 0 || input >= inputCount(chip) {
			return begunFile{}, usageError{fmt.Errorf("--add %q is not an input of the %s and a machine: write it like 0=\"table saw\", inputs 0 to %d", a, chip, inputCount(chip)-1)}
		}
		sensor := bench.ClampSensor(written, input, f.scale, guessedRunning)
		if text, err = withClamp(text, file, machine, sensor); err != nil {
			return begunFile{}, err
		}
		if file, err = config.Parse(f.config, bytes.NewReader(text)); err != nil {
			return begunFile{}, err
		}
	}
	return begunFile{f.config, text}, nil
}

// withClamp gives a machine a clamp; the machine, and a gate for it, are added where the file lacks them.
func withClamp(text []byte, file *config.Shop, machine, sensor string) ([]byte, error) {
	if file != nil {
		for i := range file.Machines {
			if file.Machines[i].ID == machine || strings.EqualFold(file.Machines[i].Name, machine) {
				return config.Append(text, fmt.Sprintf("machines[%d].sensors", i), sensor)
			}
		}
		if len(file.Ports) > 0 {
			return nil, fmt.Errorf("the shop file has no machine %q, and a file with ports needs to know where its air enters: add the machine to it first, then its clamp", machine)
		}
	}
	gate, err := "", error(nil)
	switch {
	case file == nil || len(file.Gates) == 0:
		gate = machine
		if text, err = config.Append(text, "gates", "{name: "+bench.Named(gate)+", actuator: hand}   # slid by hand until it gets a servo"); err != nil {
			return nil, err
		}
	default:
		gate = nextGate(file)
	}
	return config.Append(text, "machines", fmt.Sprintf("{name: %s, gates: [%s], sensors: [%s]}   # `ductwarden learn` finds running and idle", bench.Named(machine), bench.Named(gate), sensor))
}

// nextGate is the first gate that no machine names, else the first.
func nextGate(file *config.Shop) string {
	taken := map[int]bool{}
	for i := range file.Machines {
		for _, g := range file.Machines[i].Gates {
			taken[g] = true
		}
	}
	for i := range file.Gates {
		if !taken[i] {
			return file.Gates[i].Name
		}
	}
	return file.Gates[0].Name
}

// onPort makes sure that the text names an SPI bus for the converter.
func onPort(text []byte, file *config.Shop, device, bus string) ([]byte, string, error) {
	if file == nil || len(file.Buses) == 0 {
		if device == "" {
			device = usualPort
		}
		return append(bytes.Clone(text), bench.BusLine("fast", device)...), "mcp3208", nil
	}
	for _, b := range file.Buses {
		if b.SPI && (bus == "" || bus == b.Name) {
			return text, b.Name + ":mcp3208", nil
		}
	}
	return nil, "", errors.New("the shop file names no SPI bus: add it to its buses, like fast: /dev/spidev0.0")
}

func inputCount(chip string) int {
	if strings.HasPrefix(chip, "mcp3208") {
		return 8
	}
	return 4
}
