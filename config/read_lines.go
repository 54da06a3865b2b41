package config

import (
	"strconv"
	"strings"
	"time"
)

// direction of a line.
type direction bool

const (
	input  direction = false
	output direction = true
)

// line reads a line that may be absent.
func line(dst **Line, d direction) func(value) {
	return func(v value) {
		l := &Line{}
		if v.line(l, d) {
			*dst = l
		}
	}
}

// theLine reads a line into dst.
func theLine(dst *Line, d direction) func(value) {
	return func(v value) { v.line(dst, d) }
}

// line reads a line: GPIO17, or its words.
func (v value) line(l *Line, d direction) bool {
	l.Offset = -1
	if d == input {
		l.Debounce = 20 * time.Millisecond
	}
	if v.r.listing != nil || v.isMapping() {
		fields, finish := lineFields(l, d)
		g := v.mapping(fields...)
		if v.r.listing == nil {
			finish(v, g)
		}
		return l.Offset >= 0
	}
	l.name(v)
	l.use(v, d)
	return l.Offset >= 0
}

// lineFields are the keys by which a line is described, alone or among other keys of a part; finish must be
// called afterwards.
func lineFields(l *Line, d direction) (fields []field, finish func(v value, g given)) {
	l.Offset = -1
	fields = []field{
		may("line", func(v value) {
			if v.isMapping() {
				v.line(l, d)
				return
			}
			l.name(v)
		}),
		may("offset", integer(&l.Offset, 0, 511, "the offset of a line")),
		may("chip", text(&l.Chip, 40)),
		may("active", choice(&l.ActiveLow, option[bool]{"high", false}, option[bool]{"low", true})),
	}
	if d == input {
		l.Debounce = 20 * time.Millisecond
		fields = append(fields,
			may("pull", choice(&l.Pull, option[Pull]{"up", PullUp}, option[Pull]{"down", PullDown}, option[Pull]{"none", PullNone})),
			may("debounce", span(&l.Debounce, 0, 2*time.Second)))
	} else {
		fields = append(fields, may("held_off", yesNo(&l.HeldOff)))
	}
	return fields, func(v value, g given) {
		if g == nil {
			return
		}
		switch {
		case g.has("line") && g.has("offset"):
			g["offset"].problem("a line is named by line or by offset, not by both", "both", "line: GPIO17 or offset: 17")
		case !g.has("line") && !g.has("offset"):
			v.problem("the line is missing", "", "line: GPIO17 or offset: 17")
		case g.has("line") && g["line"].isMapping():
		case l.Offset >= 0:
			at := g["line"]
			if !g.has("line") {
				at = g["offset"]
			}
			l.use(at, d)
		}
	}
}

// name reads GPIO17, or gpiochip1:17.
func (l *Line) name(v value) {
	const accepted = "GPIO17, or gpiochip1:17, or {offset: 17, active: low, pull: up, debounce: 20 ms}"
	l.Offset = -1
	s, ok := v.scalar(accepted)
	if !ok {
		return
	}
	number := ""
	if chip, offset, cut := strings.Cut(s, ":"); cut {
		l.Chip, number = strings.TrimSpace(chip), strings.TrimSpace(offset)
	} else if len(s) > 4 && strings.EqualFold(s[:4], "gpio") {
		number = s[4:]
	}
	n, err := strconv.ParseUint(number, 10, 16)
	if err != nil || n > 511 {
		l.Offset = -1
		v.problem("this names no line", quote(s), accepted)
		return
	}
	l.Offset = int(n)
}

// use settles the line's chip once all is read and notes its use.
func (l *Line) use(v value, d direction) {
	v.r.later = append(v.r.later, func(s *Shop) {
		if l.Offset < 0 {
			return
		}
		if l.Chip == "" {
			l.Chip = s.LineChip
		}
		v.r.uses.line(v, s, *l, d)
	})
}
