// Package plot draws what happened over time as SVG: a strip for each thing, all on one axis of time, so that nothing
// is told by colour.
package plot

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
	"time"
)

// Strip is one thing over time.
type Strip struct {
	Name string
	Bars []Bar
}

// Bar is a span of time with a value. Low to High is drawn; where Mid lies between them it is marked.
type Bar struct {
	From, To       time.Time
	Low, Mid, High float64
}

// Sizes in the drawing's own units.
const (
	width  = 960.0
	left   = 170.0
	right  = 110.0
	height = 54.0 // of a strip
	inset  = 8.0
	foot   = 30.0
	leastW = 1.5 // a bar can always be seen
)

// Strips draws them on a span of time. title is what a screen reader says; figure writes a value with its unit. All
// strips share one scale.
func Strips(title string, from, to time.Time, strips []Strip, figure func(float64) string) string {
	most := 0.0
	for _, s := range strips {
		for _, b := range s.Bars {
			most = math.Max(most, b.High)
		}
	}
	if most == 0 || !to.After(from) {
		return ""
	}
	x := func(t time.Time) float64 {
		share := t.Sub(from).Seconds() / to.Sub(from).Seconds()
		return left + math.Max(0, math.Min(1, share))*(width-left-right)
	}
	var b strings.Builder
	full := foot + height*float64(len(strips))
	fmt.Fprintf(&b, `<svg class="strips" viewBox="0 0 %g %g" role="img" aria-label="%s">`, width, full, html.EscapeString(title))
	days(&b, from, to, x, full-foot)
	for i, s := range strips {
		top := height * float64(i)
		floor := top + height - inset
		y := func(v float64) float64 { return floor - v/most*(height-2*inset) }
		fmt.Fprintf(&b, `<g><path class="axis" d="M%g %.1fH%g"/><text class="name" x="%g" y="%.1f" text-anchor="end">%s</text>`, left, floor, width-right, left-10, floor-height/2+inset+4, html.EscapeString(short(s.Name)))
		for _, r := range s.Bars {
			x0, x1 := x(r.From), x(r.To)
			low := y(r.Low)
			fmt.Fprintf(&b, `<rect class="bar" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`, x0, y(r.High), math.Max(leastW, x1-x0), math.Max(leastW, low-y(r.High)))
			if r.Mid > r.Low && r.Mid < r.High {
				fmt.Fprintf(&b, `<path class="mid" d="M%.1f %.1fH%.1f"/>`, x0, y(r.Mid), math.Max(x0+leastW, x1))
			}
		}
		fmt.Fprintf(&b, `<path class="rule" d="M%g %.1fH%g"/><text x="%g" y="%.1f">%s</text></g>`, left, y(most), width-right, width-right+6, y(most)+5, html.EscapeString(figure(most)))
	}
	b.WriteString(`</svg>`)
	return b.String()
}

// days rules the days, a label where there is room for it.
func days(b *strings.Builder, from, to time.Time, x func(time.Time) float64, floor float64) {
	first := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, from.Location())
	count := int(math.Ceil(to.Sub(first).Hours() / 24))
	step := max(1, (count+7)/8)
	for i := 0; i < count; i += step {
		at := first.AddDate(0, 0, i)
		if at.Before(from) {
			continue
		}
		fmt.Fprintf(b, `<path class="day" d="M%.1f 0V%g"/><text class="when" x="%.1f" y="%g">%s</text>`, x(at), floor, x(at)+2, floor+20, at.Format("01-02"))
	}
}

// short keeps a name within its margin.
func short(s string) string {
	r := []rune(s)
	if len(r) <= 20 {
		return s
	}
	return string(r[:19]) + "…"
}

// Figure writes a value to three digits with its unit.
func Figure(unit string) func(float64) string {
	return func(v float64) string {
		digits := 0
		if v < 100 && v != math.Trunc(v) {
			digits = 1
		}
		return strings.TrimSpace(strconv.FormatFloat(v, 'f', digits, 64) + " " + unit)
	}
}
