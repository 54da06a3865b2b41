package config

import (
	"fmt"
	"strconv"
)

// converterFields are the keys adc, channel and against.
func converterFields(c *Converter, kinds ...string) []field {
	c.Against = -1
	return []field{
		need("adc", chip(&c.Chip, kinds...)),
		need("channel", integer(&c.Channel, 0, 7, "a channel")),
		may("against", integer(&c.Against, 0, 7, "the channel measured against")),
	}
}

// checkConverter looks at channel and chip together and notes the use of the inputs.
func (v value) checkConverter(c *Converter, g given, shared bool, user string) {
	limits, known := chipKinds[c.Chip.Kind]
	if !known || !g.has("channel") {
		return
	}
	last := limits.channels - 1
	if c.Channel > last {
		g["channel"].problem(fmt.Sprintf("the %s has the channels 0 to %d", c.Chip.Kind, last), strconv.Itoa(c.Channel), fmt.Sprintf("0 to %d", last))
		return
	}
	if c.Against >= 0 {
		if c.Chip.Kind != "ads1115" {
			g["against"].problem("the "+c.Chip.Kind+" is read against ground", "against", "no such key, or an ads1115")
			return
		}
		accepted := "0 against 1 or 3, 1 or 2 against 3" // SBAS444E table of MUX
		ok := c.Channel == 0 && c.Against == 1 || c.Channel < 3 && c.Against == 3
		if !ok {
			g["against"].problem("the chip cannot measure this difference", fmt.Sprintf("%d against %d", c.Channel, c.Against), accepted)
			return
		}
	}
	at := g["channel"]
	v.r.later = append(v.r.later, func(*Shop) {
		if c.Chip.Bus < 0 {
			return
		}
		v.r.uses.input(at, *c, c.Channel, shared, user)
		// The ADS1115 may measure several inputs against its channel 3, the bias.
		if c.Against >= 0 {
			v.r.uses.input(at, *c, c.Against, shared || c.Against == 3, user)
		}
	})
}
