package config

import (
	"fmt"
	"path"
	"strings"
)

// buses reads the section `buses`: a name and a device, or more words about it.
func (r *reader) buses(s *Shop) func(value) {
	return func(v value) {
		if r.listing != nil {
			v = value{r: r, path: v.path + ".*"}
			var b Bus
			v.mapping(busFields(&b)...)
			return
		}
		v.free(8, "a bus", func(name string, at, v value) {
			b := Bus{Name: name}
			if strings.ContainsAny(name, ":@/ ") {
				at.problem("the name of a bus has no space, colon, @ or /", quote(name), "main")
				return
			}
			if v.isMapping() {
				v.mapping(busFields(&b)...)
			} else {
				busDevice(&b)(v)
			}
			if b.Device == "" {
				return
			}
			for i, other := range s.Buses {
				if other.Device == b.Device {
					v.problem(fmt.Sprintf("the bus %s already has this device; one device is one bus", s.Buses[i].Name), quote(b.Device), "a device of its own")
					return
				}
			}
			reg := r.register(aBus)
			reg.names = append(reg.names, name)
			reg.byName[name] = entry{len(s.Buses), at.at}
			s.Buses = append(s.Buses, b)
		})
	}
}

func busFields(b *Bus) []field {
	return []field{
		need("device", busDevice(b)),
		may("kind", choice(&b.SPI, option[bool]{"i2c", false}, option[bool]{"spi", true})),
		may("speed", quantity(Frequency, &b.Speed, 10e3, 20e6)),
	}
}

// busDevice reads the device's path; its last part tells the kind of bus unless `kind` does.
func busDevice(b *Bus) func(value) {
	return func(v value) {
		var device string
		if absolute(&device)(v); device == "" {
			return
		}
		if strings.HasPrefix(path.Base(device), "spidev") {
			b.SPI = true
		}
		b.Device = device
	}
}

// chips reads the section `chips`.
func (r *reader) chips(s *Shop) func(value) {
	return func(v value) {
		s.Chips = make([]ChipSetting, v.items(16))
		v.list(16, func(i int, v value) {
			c := &s.Chips[i]
			c.Rate, c.Reference = 50, 3.3
			g := v.mapping(
				need("chip", chip(&c.Chip, "pca9685", "ads1115", "mcp3208")),
				may("oscillator", quantity(Frequency, &c.Oscillator, 20e6, 30e6)), // 23 to 27 MHz were measured on boards
				may("rate", quantity(Frequency, &c.Rate, 40, 333)),
				may("enable", line(&c.Enable, output)),
				may("reference", quantity(Voltage, &c.Reference, 1.8, 5.5)),
				may("bias", quantity(Voltage, &c.Bias, 0, 5.5)),
				may("range", quantity(Voltage, &c.Range, 0.256, 6.144)), // the ADS1115's ranges
			)
			only := map[string]string{"oscillator": "pca9685", "rate": "pca9685", "enable": "pca9685", "range": "ads1115"}
			for _, key := range []string{"oscillator", "rate", "enable", "range", "reference", "bias"} {
				at, has := g[key]
				if has && c.Chip.Kind != "" && (only[key] != "" && only[key] != c.Chip.Kind || only[key] == "" && c.Chip.Kind == "pca9685") {
					at.problem("this key says nothing of a "+c.Chip.Kind, key, "")
				}
			}
		})
	}
}
