package drawing

import (
	"fmt"
	"html"
	"strings"
)

// sheet is a drawing in the making. Lengths are in the drawing's own units, a character being about 7 wide.
type sheet struct {
	w, h  int
	title string
	b     strings.Builder
}

func newSheet(title string, w, h int) *sheet {
	s := &sheet{w: w, h: h, title: title}
	s.words(20, 30, "title", title)
	return s
}

// words writes one line of text; class is title, name, plain, small or warn.
func (s *sheet) words(x, y int, class, text string) {
	fmt.Fprintf(&s.b, `<text x="%d" y="%d" class="%s">%s</text>`+"\n", x, y, class, html.EscapeString(text))
}

// box is a part with its name and lines of what it must be.
func (s *sheet) box(x, y, w, h int, name string, lines ...string) {
	fmt.Fprintf(&s.b, `<rect x="%d" y="%d" width="%d" height="%d" class="box"/>`+"\n", x, y, w, h)
	s.words(x+8, y+18, "name", name)
	for i, l := range lines {
		s.words(x+8, y+36+16*i, "small", l)
	}
}

// closed is a box that this drawing does not open: another trade's work.
func (s *sheet) closed(x, y, w, h int, name string, lines ...string) {
	fmt.Fprintf(&s.b, `<rect x="%d" y="%d" width="%d" height="%d" class="closed"/>`+"\n", x, y, w, h)
	s.words(x+10, y+22, "warn", name)
	for i, l := range lines {
		s.words(x+10, y+44+17*i, "small", l)
	}
}

// wire is a line through points x, y, x, y ...; class is wire, pair (twisted), power or earth.
func (s *sheet) wire(class string, xy ...int) {
	var p []string
	for i := 0; i+1 < len(xy); i += 2 {
		p = append(p, fmt.Sprintf("%d,%d", xy[i], xy[i+1]))
	}
	fmt.Fprintf(&s.b, `<polyline points="%s" class="%s"/>`+"\n", strings.Join(p, " "), class)
}

// dot joins wires.
func (s *sheet) dot(x, y int) { fmt.Fprintf(&s.b, `<circle cx="%d" cy="%d" r="3"/>`+"\n", x, y) }

// ground is the common return of the extra-low voltage.
func (s *sheet) ground(x, y int) {
	s.wire("wire", x, y, x, y+10)
	for i := range 3 {
		s.wire("wire", x-12+4*i, y+10+4*i, x+12-4*i, y+10+4*i)
	}
}

// resistor lies between (x, y) and 60 to the right, or 60 down.
func (s *sheet) resistor(x, y int, down bool, value string) {
	if down {
		fmt.Fprintf(&s.b, `<rect x="%d" y="%d" width="14" height="40" class="box"/>`+"\n", x-7, y+10)
		s.wire("wire", x, y, x, y+10)
		s.wire("wire", x, y+50, x, y+60)
		s.words(x+12, y+34, "small", value)
		return
	}
	fmt.Fprintf(&s.b, `<rect x="%d" y="%d" width="40" height="14" class="box"/>`+"\n", x+10, y-7)
	s.wire("wire", x, y, x+10, y)
	s.wire("wire", x+50, y, x+60, y)
	s.words(x+8, y-12, "small", value)
}

// capacitor lies as a resistor does.
func (s *sheet) capacitor(x, y int, down bool, value string) {
	if down {
		s.wire("wire", x, y, x, y+26)
		s.wire("plate", x-14, y+26, x+14, y+26)
		s.wire("plate", x-14, y+34, x+14, y+34)
		s.wire("wire", x, y+34, x, y+60)
		s.words(x+18, y+34, "small", value)
		return
	}
	s.wire("wire", x, y, x+26, y)
	s.wire("plate", x+26, y-14, x+26, y+14)
	s.wire("plate", x+34, y-14, x+34, y+14)
	s.wire("wire", x+34, y, x+60, y)
	s.words(x+8, y-20, "small", value)
}

// diode conducts to the right, or upwards where up.
func (s *sheet) diode(x, y int, up bool, value string) {
	if up {
		s.wire("wire", x, y, x, y-22)
		fmt.Fprintf(&s.b, `<polygon points="%d,%d %d,%d %d,%d" class="box"/>`+"\n", x-10, y-22, x+10, y-22, x, y-38)
		s.wire("plate", x-10, y-38, x+10, y-38)
		s.wire("wire", x, y-38, x, y-60)
		s.words(x+14, y-26, "small", value)
		return
	}
	s.wire("wire", x, y, x+22, y)
	fmt.Fprintf(&s.b, `<polygon points="%d,%d %d,%d %d,%d" class="box"/>`+"\n", x+22, y-10, x+22, y+10, x+38, y)
	s.wire("plate", x+38, y-10, x+38, y+10)
	s.wire("wire", x+38, y, x+60, y)
	s.words(x+10, y-16, "small", value)
}

// svg is the whole file.
func (s *sheet) svg() string {
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%d" height="%d" role="img" aria-label="%s">
<style>
svg{background:#fff}text{font-family:sans-serif;fill:#111}
.title{font-size:20px;font-weight:bold}.name{font-size:14px;font-weight:bold}.plain{font-size:13px}.small{font-size:12px}.warn{font-size:15px;font-weight:bold}
.box{fill:#fff;stroke:#111;stroke-width:1.5}.closed{fill:#f3f3f3;stroke:#111;stroke-width:4}
.wire{fill:none;stroke:#111;stroke-width:1.5}.plate{fill:none;stroke:#111;stroke-width:3}.pair{fill:none;stroke:#111;stroke-width:3;stroke-dasharray:7 3}.power{fill:none;stroke:#111;stroke-width:4}.earth{fill:none;stroke:#111;stroke-width:2;stroke-dasharray:12 3 2 3}
</style>
%s</svg>
`, s.w, s.h, s.w, s.h, html.EscapeString(s.title), s.b.String())
}
