package plan

import "ductwarden/gates"

// Air is the airflow model of one collector's ducts, as far as a choice needs it. The model must be monotone:
// opening a gate raises the flow in the ducts on its way to the collector and lowers it in every other, and no
// pressure loss grows faster than with the square of the flow. That holds for a tree of fixed coefficients and a
// fan curve that does not rise; the search prunes by it.
type Air interface {
	// Pattern solves the air with the given gates open and all others closed, and fills out.
	Pattern(open gates.Set, loaded bool, out *Pattern)
	// Inlet is the most suction, in 1/1000 Pa, that there is at the collector's inlet at a flow in mm3/s. It falls
	// with the flow.
	Inlet(flow int64, loaded bool) int64
	// Loss is the least suction, in 1/1000 Pa, that a duct takes at a flow in mm3/s, and with it that of its hood, if
	// it has one port and nothing else upstream. Both rise with the flow.
	Loss(duct int, flow int64) (run, hooded int64)
}

// Pattern is what the model says of one pattern of open gates. Slices are by place in the network. The first
// four are rounded once and decide or are shown; the others bound the search and decide nothing.
type Pattern struct {
	Over  []Ratio // a duct's air speed over its transport speed, less 1
	Clear []Ratio // a duct's air speed over its settling speed, less 1
	Share []Ratio // flow at a port over what it wants; NoRatio where none is stated
	Speed []int32 // a duct's air speed in 0.1 mm/s: for sentences and the clearing time

	Flow    []int64 // a duct's flow in mm3/s
	Suction []int64 // at a duct's upstream end, outside its gate, in 1/1000 Pa
}

// NewPattern makes room for a network of so many ducts and ports.
func NewPattern(ducts, ports int) *Pattern {
	return &Pattern{
		Over: make([]Ratio, ducts), Clear: make([]Ratio, ducts), Share: make([]Ratio, ports),
		Speed: make([]int32, ducts), Flow: make([]int64, ducts), Suction: make([]int64, ducts),
	}
}
