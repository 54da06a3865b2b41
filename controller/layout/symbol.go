package layout

import "fmt"

// Sizes of the drawing, in its own units; a page scales it to the width there is.
const (
	RowHeight   = 64
	ColumnWidth = 190
	LeftLabel   = 210
	RightLabel  = 150
	TopSpace    = 20
)

// X is the place of a step: the collector stands on the right, air flows towards it.
func (t *Tree) X(depth int) float64 { return LeftLabel + float64(t.Deepest-depth)*ColumnWidth }

// Y is the place of a row.
func (t *Tree) Y(row float64) float64 { return TopSpace + (row+0.5)*RowHeight }

// Size is the drawing's width and height.
func (t *Tree) Size() (width, height float64) {
	return t.X(0) + RightLabel, t.Y(float64(max(t.Rows, 1))-0.5) + TopSpace
}

// Run is a duct's line: from its upstream end along its row to the next step, and there to where it flows into.
func (t *Tree) Run(i int) (from, to, y, end float64) {
	d := t.ducts[i]
	from, to, y = t.X(t.Depth[i]), t.X(t.Depth[i]-1), t.Y(t.Row[i])
	if d.Into >= 0 {
		return from, to, y, t.Y(t.Row[d.Into])
	}
	return from, to, y, t.Y(t.CollectorRow(d.Collector))
}

// Collector is a fan on a hopper in SVG, as in open drawing standards: a circle with a blade's curve for the fan, a
// funnel for the separator.
func Collector(x, y float64) string {
	return fmt.Sprintf(`<path class="hopper" d="M%.0f %.0fh44v26l-16 22h-12l-16 -22z"/>`, x, y-2) +
		fmt.Sprintf(`<circle class="fan" cx="%.0f" cy="%.0f" r="22"/><path class="wheel" d="M%.0f %.0fm0 -15a8 8 0 0 1 0 15a8 8 0 0 0 0 15"/>`, x+22, y-8, x+22, y-8)
}

// Gate is a slot with a blade in SVG: across the pipe, a page moves the blade beside it.
func Gate(x, y float64) string {
	return fmt.Sprintf(`<rect class="slot" x="%.0f" y="%.0f" width="14" height="34"/><rect class="blade" x="%.0f" y="%.0f" width="6" height="26"/>`, x+6, y-17, x+10, y-13)
}
