package bench

import (
	"fmt"
	"strings"
	"time"
)

// FirstLines are the comment that a begun shop file has at its head.
func FirstLines(verb string) string {
	return "# A shop file, begun with `ductwarden " + verb + "`. It is yours: comments and order are kept, `ductwarden check` says whether\n" +
		"# it is in order, `ductwarden rehearse` runs it against a simulated shop. One gate is enough; every other section may\n" +
		"# come later. Collector and gates may move at any time without warning while the program is on duty.\n" +
		"version: 1\n"
}

// BusLine names the bus of a begun file.
func BusLine(name, device string) string {
	return fmt.Sprintf("buses: {%s: %s}   # the wires that the boards hang on\n", name, device)
}

// ServoGate is a gate as an item of the file's gates.
func ServoGate(name, chip string, channel int, s Servo) string {
	us := func(d time.Duration) string { return fmt.Sprintf("%d us", d.Microseconds()) }
	return fmt.Sprintf("{name: %s, actuator: {servo: {chip: %s, channel: %d, open: %s, closed: %s, least: %s, most: %s}}}   # ends found with jog",
		Named(name), chip, channel, us(s.Open), us(s.Closed), us(s.Least), us(s.Most))
}

// ClampSensor is a clamp as an item of a machine's sensors. Its running threshold is a guess until learn has found it.
func ClampSensor(chip string, channel int, scale string, running float64) string {
	return fmt.Sprintf("{clamp: {adc: %s, channel: %d, scale: %s, running: %s}}", chip, channel, scale, amperes(running))
}

// Named writes a name as YAML: plain where that is read back as the same text, quoted otherwise.
func Named(name string) string {
	plain := name != "" && strings.TrimSpace(name) == name
	for i, r := range name {
		letter := r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r > 127
		plain = plain && (letter || i > 0 && (r >= '0' && r <= '9' || r == ' ' || r == '-' || r == '_' || r == '.'))
	}
	switch strings.ToLower(name) {
	case "null", "true", "false", "yes", "no", "on", "off", "y", "n":
		plain = false
	}
	if plain {
		return name
	}
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range name {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r >= ' ' && r != 127:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
