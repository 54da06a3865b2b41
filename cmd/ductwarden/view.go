package main

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"ductwarden/config"
	"ductwarden/controller"
)

// scene is everything that the live view shows at one moment.
type scene struct {
	snap  *controller.Snapshot
	clock string // time of day
	pace  string // "10x"
	lines []toldLine
	stamp func(toldLine) string // time of day of a line
	us    bool                  // show fpm and cfm
}

// paint is how the view is drawn: with colour or without, with block characters or in plain ASCII.
type paint struct{ colour, blocks bool }

func (p paint) wrap(code, s string) string {
	if !p.colour || s == "" {
		return s
	}
	return "\x1b[" + code + "m" + s + "\x1b[0m"
}

// Normal is grey: colour is kept for what is not as it should be.
func (p paint) strong(s string) string { return p.wrap("1", s) }
func (p paint) faint(s string) string  { return p.wrap("2", s) }
func (p paint) warn(s string) string   { return p.wrap("33", s) } // creeps, an alarm of high priority
func (p paint) bad(s string) string    { return p.wrap("31;1", s) }

// verdict paints a word by what it says of the air.
func (p paint) verdict(word string) string {
	switch word {
	case "creeps":
		return p.warn(word)
	case "settles":
		return p.bad(word)
	}
	return word
}

// width of a line on the screen: escape sequences take none.
func shownWidth(s string) int {
	n, inside := 0, false
	for _, r := range s {
		switch {
		case r == 0x1b:
			inside = true
		case inside:
			inside = r != 'm'
		default:
			n++
		}
	}
	return n
}

// cut shortens a line to a width, keeping the escape sequences.
func cut(s string, width int) string {
	if shownWidth(s) <= width {
		return s
	}
	var b strings.Builder
	n, inside := 0, false
	for _, r := range s {
		switch {
		case r == 0x1b:
			inside = true
			b.WriteRune(r)
		case inside:
			inside = r != 'm'
			b.WriteRune(r)
		case n < width-1:
			n++
			b.WriteRune(r)
		}
	}
	return b.String() + "~"
}

// padded fills a painted word up to a width.
func padded(s string, width int) string {
	return s + strings.Repeat(" ", max(0, width-shownWidth(s)))
}

// sides puts one text at the left edge and one at the right.
func sides(left, right string, width int) string {
	gap := width - shownWidth(left) - shownWidth(right)
	if gap < 1 {
		return cut(left, width)
	}
	return left + strings.Repeat(" ", gap) + right
}

// render draws the scene as at most height lines of at most width columns.
func render(s scene, p paint, width, height int) []string {
	width = max(width, 40)
	out := []string{
		sides(p.strong(s.snap.Shop), fmt.Sprintf("%s  %s  %s", s.clock, p.faint(s.pace), p.mode(s.snap.Mode)), width),
		p.faint(capital(s.snap.Why)),
		"",
	}
	for i := range s.snap.Collectors {
		out = append(out, p.collector(s, &s.snap.Collectors[i], width)...)
	}
	out = append(out, "")
	out = append(out, p.machines(s.snap, width)...)
	out = append(out, "")
	out = append(out, p.gates(s.snap, width)...)
	out = append(out, "")
	out = append(out, p.air(s, width)...)
	if alarms := p.alarms(s.snap); len(alarms) > 0 {
		out = append(out, "")
		out = append(out, alarms...)
	}
	out = append(out, "")
	out = append(out, p.tail(s, height-len(out))...)
	if len(out) > height {
		out = out[:height]
	}
	for i := range out {
		out[i] = cut(out[i], width)
	}
	return out
}

func (p paint) mode(mode string) string {
	word := strings.ToUpper(plainWord(mode))
	if mode == "on_duty" {
		return p.strong(word)
	}
	return p.warn(word)
}

func (p paint) collector(s scene, c *controller.CollectorSnapshot, width int) []string {
	phase := plainWord(c.Phase)
	if c.LeftMS > 0 {
		phase += ", " + countdown(c.LeftMS)
	}
	switch c.Phase {
	case "start_failed", "will_not_stop":
		phase = p.bad(phase)
	case "off":
		phase = p.faint(phase)
	default:
		phase = p.strong(phase)
	}
	right := ""
	if c.StartsHour > 0 {
		right = fmt.Sprintf("%d of %d starts left this hour", c.StartsLeft, c.StartsHour)
		if c.RestMS > 0 {
			right = "rests " + countdown(c.RestMS) + "; " + right
		}
	}
	lines := []string{sides(fmt.Sprintf("%-18s%s", c.Name, phase), right, width)}
	detail := capital(c.Why)
	if c.Margin != nil {
		if detail != "" {
			detail = strings.TrimRight(detail, ".") + "; "
		}
		detail = strings.TrimSpace(detail + fmt.Sprintf("%s, margin %s in the %s", p.verdict(c.Transport), percent(c.Margin), ductName(s.snap, c.Weakest)))
	}
	figures := ""
	if c.FlowM3S != nil && *c.FlowM3S > 0 {
		figures = flowText(*c.FlowM3S, s.us)
	}
	if c.SuctionPa != nil && *c.SuctionPa > 20 {
		figures += "  " + pressureText(*c.SuctionPa, s.us)
	}
	return append(lines, sides(strings.Repeat(" ", 18)+detail, figures, width))
}

func ductName(s *controller.Snapshot, id string) string {
	for i := range s.Ducts {
		if s.Ducts[i].ID == id {
			return s.Ducts[i].Name
		}
	}
	return id
}

func (p paint) machines(s *controller.Snapshot, width int) []string {
	out := make([]string, 0, len(s.Machines))
	for i := range s.Machines {
		m := &s.Machines[i]
		state := plainWord(m.State)
		if m.LeftMS > 0 {
			state += ", " + countdown(m.LeftMS)
		}
		current := ""
		if m.CurrentA != nil && m.State != "idle" {
			current = fmt.Sprintf("%5.1f A", *m.CurrentA)
		}
		air := ""
		if m.Share != nil {
			air = fmt.Sprintf("%3.0f %% of its air", *m.Share*100)
		}
		note := ""
		switch {
		case m.Unserved:
			note = p.bad("makes dust without its air")
		case m.Health != "" && m.Health != "good" && m.Health != "untried":
			note = p.warn("sensor " + plainWord(m.Health))
		case m.AirReady && m.State != "idle":
			note = "air is there"
		}
		name := fmt.Sprintf("%-18s", m.Name)
		switch m.State {
		case "idle":
			name, state = p.faint(name), p.faint(state)
		case "unknown":
			state = p.warn(state)
		default:
			name = p.strong(name)
		}
		out = append(out, name+padded(state, 22)+padded(current, 10)+padded(air, 20)+note)
	}
	return out
}

// blade draws a gate as a slot with its slide.
func (p paint) blade(g *controller.GateSnapshot) string {
	full, half := "##", "> "
	if p.blocks {
		full, half = "██", "▐ "
	}
	switch g.State {
	case "open":
		return "[  ]"
	case "closed":
		return p.faint("[" + full + "]")
	case "opening", "closing":
		return "[" + half + "]"
	case "failed":
		return p.bad("[!!]")
	}
	return p.warn("[??]")
}

func (p paint) gates(s *controller.Snapshot, width int) []string {
	cell := 0
	words := make([]string, len(s.Gates))
	for i := range s.Gates {
		g := &s.Gates[i]
		word := g.Name
		switch {
		case g.Role == "relief" || g.Role == "held":
			word += " (" + g.Role + ")"
		case g.Selector == "off":
			word += " (off)"
		case g.Hand:
			word += " (by hand)"
		}
		words[i] = word
		cell = max(cell, utf8.RuneCountInString(word)+7)
	}
	each := max(1, width/max(cell, 1))
	var out []string
	row := ""
	for i := range s.Gates {
		g := &s.Gates[i]
		name := words[i]
		if g.State == "open" || strings.HasSuffix(g.State, "ing") {
			name = p.strong(name)
		}
		row += padded(p.blade(g)+" "+name, cell)
		if (i+1)%each == 0 || i == len(s.Gates)-1 {
			out = append(out, strings.TrimRight(row, " "))
			row = ""
		}
	}
	return out
}

// fastest is the right end of the bars, m/s: above DGUV's upper advice of 28 m/s.
const fastest = 36.0

// air draws the speed in each carrying duct as a bar, with a mark at what is asked.
func (p paint) air(s scene, width int) []string {
	var out []string
	for i := range s.snap.Ducts {
		d := &s.snap.Ducts[i]
		if !d.Carrying {
			continue
		}
		word := d.Verdict
		if d.VelocityMS == 0 {
			word = "no air yet"
		}
		right := fmt.Sprintf("%12s  ", speedText(d.VelocityMS, s.us))
		n := min(max(width-18-len(right)-12, 10), 60)
		out = append(out, fmt.Sprintf("%-18s", d.Name)+p.bar(d.VelocityMS, d.TransportMS, d.Verdict, n)+right+p.verdict(plainWord(word)))
	}
	if len(out) == 0 {
		return []string{p.faint("no duct has to carry chips now")}
	}
	return out
}

// bar draws a speed against what is asked.
func (p paint) bar(speed, asked float64, verdict string, n int) string {
	fill, empty, mark := '=', '.', '|'
	if p.blocks {
		fill, empty, mark = '█', '·', '┃'
	}
	cells := make([]rune, n)
	upTo := int(math.Round(min(speed/fastest, 1) * float64(n)))
	for i := range cells {
		cells[i] = empty
		if i < upTo {
			cells[i] = fill
		}
	}
	at := min(int(math.Round(asked/fastest*float64(n))), n-1)
	before, after := string(cells[:at]), string(cells[at+1:])
	shade := func(s string) string { return s }
	switch {
	case speed == 0:
		shade = p.faint
	case verdict == "creeps":
		shade = p.warn
	case verdict == "settles":
		shade = p.bad
	}
	return shade(before) + p.strong(string(mark)) + shade(after)
}

// alarmText is an alarm as two sentences: what is wrong, and what to do.
func alarmText(a *controller.AlarmSnapshot) string {
	if a.ToDo == "" {
		return a.Text
	}
	return strings.TrimRight(a.Text, ".") + ". " + capital(a.ToDo)
}

// capital begins a sentence.
func capital(s string) string {
	if s == "" {
		return ""
	}
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

func (p paint) alarms(s *controller.Snapshot) []string {
	var out []string
	for i := range s.Alarms {
		a := &s.Alarms[i]
		mark := map[string]string{"urgent": "!!!", "high": "!! ", "low": "!  "}[a.Priority]
		line := mark + " " + alarmText(a)
		switch {
		case !a.Active:
			line = p.faint("gone, to be acknowledged: " + a.Text)
		case a.Priority == "urgent":
			line = p.bad(line)
		default:
			line = p.warn(line)
		}
		out = append(out, line)
	}
	return out
}

// tail is the newest lines that fit.
func (p paint) tail(s scene, room int) []string {
	lines := s.lines
	if len(lines) > max(room, 0) {
		lines = lines[len(lines)-max(room, 0):]
	}
	out := make([]string, 0, len(lines))
	for _, l := range lines {
		text := l.text
		switch l.kind {
		case lineStory:
			text = p.strong(text)
		case lineAlarm:
			text = p.warn(text)
		default:
			text = "  " + text
		}
		out = append(out, p.faint(s.stamp(l))+"  "+text)
	}
	return out
}

// Figures in the shop's units.

func speedText(v float64, us bool) string {
	if us {
		return fmt.Sprintf("%.0f fpm", v/0.00508)
	}
	return fmt.Sprintf("%.1f m/s", v)
}

func flowText(q float64, us bool) string {
	if us {
		return fmt.Sprintf("%.0f cfm", q/0.000471947443)
	}
	return fmt.Sprintf("%.0f m3/h", q*3600)
}

func pressureText(pa float64, us bool) string {
	if us {
		return fmt.Sprintf("%.1f inH2O", pa/249.08891)
	}
	return fmt.Sprintf("%.0f Pa", pa)
}

// isUS reports whether a shop is shown US figures.
func isUS(f *config.Shop) bool { return f.Units == config.US }
