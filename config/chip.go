package config

import (
	"fmt"
	"strconv"
	"strings"
)

// chip reads a chip: main:pca9685@0x40, or without its bus's name where there is one bus of its sort.
func chip(dst *Chip, kinds ...string) func(value) {
	return func(v value) {
		accepted := exampleChip(kinds)
		s, ok := v.scalar(accepted)
		if !ok {
			return
		}
		text := s
		busName, rest, named := strings.Cut(text, ":")
		if !named {
			busName, rest = "", text
		}
		kind, address, hasAddress := strings.Cut(rest, "@")
		kind = strings.ToLower(strings.TrimSpace(kind))
		known := false
		for _, k := range kinds {
			known = known || k == kind
		}
		if !known {
			sentence := "this chip cannot be used here"
			if near := nearest(kind, kinds); near != "" {
				sentence += "; did you mean " + near + "?"
			}
			v.problem(sentence, quote(s), accepted)
			return
		}
		dst.Kind, dst.Bus = kind, -1
		limits := chipKinds[kind]
		switch {
		case limits.spi && hasAddress:
			v.problem("a chip on SPI has no address; the bus's device is its chip select", quote(s), accepted)
			return
		case !limits.spi && !hasAddress:
			v.problem("the address of the chip is missing", quote(s), accepted)
			return
		case hasAddress:
			n, err := strconv.ParseUint(strings.TrimSpace(address), 0, 16)
			if err != nil {
				v.problem("the address of the chip is no number", quote(s), accepted)
				return
			}
			if sentence := limits.refuses(n); sentence != "" {
				v.problem(sentence, quote(s), limits.accepted)
				return
			}
			dst.Address = uint8(n)
		}
		v.r.later = append(v.r.later, func(shop *Shop) {
			dst.Bus = v.bus(shop, busName, limits.spi, s)
		})
	}
}

func exampleChip(kinds []string) string {
	list := make([]string, len(kinds))
	for i, k := range kinds {
		list[i] = chipKinds[k].example
	}
	return oneOf(list) + ", with its bus in front where there are several: main:" + list[0]
}

// bus finds the bus of a chip by name, or the only one of its sort.
func (v value) bus(s *Shop, name string, spi bool, found string) int {
	sort := map[bool]string{false: "I2C", true: "SPI"}[spi]
	if name == "" {
		only, count := -1, 0
		for i, b := range s.Buses {
			if b.SPI == spi {
				only, count = i, count+1
			}
		}
		switch count {
		case 1:
			return only
		case 0:
			example := map[bool]string{false: "buses: {main: /dev/i2c-1}", true: "buses: {fast: /dev/spidev0.0}"}[spi]
			v.problem(fmt.Sprintf("no %s bus is named in the file for this chip", sort), quote(found), example)
		default:
			v.problem(fmt.Sprintf("there are several %s buses; say on which this chip sits", sort), quote(found), "the bus's name and a colon in front of the chip")
		}
		return -1
	}
	reg := v.r.register(aBus)
	e, ok := reg.byName[name]
	if !ok {
		sentence := "there is no bus of this name"
		if near := nearest(name, reg.names); near != "" {
			sentence += "; did you mean " + near + "?"
		}
		v.problem(sentence, quote(name), strings.Join(reg.names, ", "))
		return -1
	}
	if s.Buses[e.place].SPI != spi {
		v.problem(fmt.Sprintf("this chip speaks %s, and the bus %s does not", sort, name), quote(found), "a bus of the right sort")
		return -1
	}
	return e.place
}

// chipLimits is what is known of a chip's addresses and channels.
type chipLimits struct {
	spi      bool
	channels int
	low, hi  uint64
	example  string
	accepted string
}

// The chips. Addresses: TI SBAS444E (ADS1115: 0x48 to 0x4b), NXP PCA9685 Rev. 4 (0x40 to 0x7f less 0x70, which
// every such chip answers after power-up, and less the reserved 0x78 to 0x7f); Microchip DS21298 (MCP3208: 8
// inputs).
var chipKinds = map[string]chipLimits{
	"pca9685": {channels: 16, low: 0x40, hi: 0x77, example: "pca9685@0x40", accepted: "0x40 to 0x77 without 0x48 to 0x4b and 0x70"},
	"ads1115": {channels: 4, low: 0x48, hi: 0x4b, example: "ads1115@0x48", accepted: "0x48 to 0x4b"},
	"mcp3208": {spi: true, channels: 8, example: "mcp3208"},
	"hsc":     {channels: 1, low: 0x28, hi: 0x3f, example: "hsc@0x28", accepted: "0x28 to 0x3f, by the transducer's part number"},
}

// refuses says why the chip cannot have the address; "" when it can.
func (c chipLimits) refuses(address uint64) string {
	switch {
	case address < c.low || address > c.hi:
		return "this chip cannot have this address"
	case c.channels == 16 && address >= 0x48 && address <= 0x4b:
		return "the addresses 0x48 to 0x4b belong to the ads1115; set another on the servo board's jumpers"
	case c.channels == 16 && address == 0x70:
		return "every pca9685 answers at 0x70 after power-up; set another address on the servo board's jumpers"
	}
	return ""
}
