package plot

import (
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var monday = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

func TestStrips(t *testing.T) {
	at := func(h int) time.Time { return monday.Add(time.Duration(h) * time.Hour) }
	svg := Strips(`hours <&>`, monday, at(48), []Strip{
		{Name: `saw "<b>"`, Bars: []Bar{{From: at(0), To: at(24), High: 10}, {From: at(24), To: at(24), Low: 2, Mid: 3, High: 5}}},
		{Name: "a machine with a very long name", Bars: nil},
	}, Figure("h"))
	d := xml.NewDecoder(strings.NewReader(svg))
	rects := 0
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err, svg)
		if e, ok := tok.(xml.StartElement); ok && e.Name.Local == "rect" {
			rects++
		}
	}
	assert.Equal(t, 2, rects)
	assert.Contains(t, svg, `width="340.0"`, "a day of two is half of the plot")
	assert.Contains(t, svg, `width="1.5"`, "a moment can be seen")
	assert.Contains(t, svg, ">03-02<")
	assert.Contains(t, svg, ">10 h<")
	assert.Contains(t, svg, "…")
	assert.NotContains(t, svg, "<b>")
	assert.NotContains(t, svg, "NaN")
	assert.NotContains(t, svg, "style=")
}

func TestNothingToDraw(t *testing.T) {
	assert.Empty(t, Strips("x", monday, monday.Add(time.Hour), nil, Figure("")))
	assert.Empty(t, Strips("x", monday, monday, []Strip{{Bars: []Bar{{High: 1}}}}, Figure("")))
}

// A span of a year has few labels, all in order.
func TestLongSpans(t *testing.T) {
	svg := Strips("year", monday, monday.AddDate(1, 0, 0), []Strip{{Bars: []Bar{{From: monday, To: monday.AddDate(1, 0, 0), High: 1}}}}, Figure(""))
	assert.LessOrEqual(t, strings.Count(svg, `class="when"`), 8)
	assert.Equal(t, "12.5 A", Figure("A")(12.5))
	assert.Equal(t, "1200 Pa", Figure("Pa")(1200.4))
}
