// Package report is a survey of the air as plain data, and as a page: for a screen, for paper, and as pieces for
// other pages. Figures come as texts in the person's units, ready to be shown; grades and ratios beside them are for
// drawing and sorting. The package computes nothing.
//
// Reading order: data.go (what is shown), page.go and page.html (the page), tree.go, fan.go (the drawings).
package report

// Survey is a shop's air.
type Survey struct {
	Shop       string        `json:"shop"`
	Made       string        `json:"made,omitempty"` // day; "" leaves it out
	Fitted     string        `json:"fitted,omitempty"`
	NotJudged  []string      `json:"not_judged"` // what of the shop is not judged, and why
	Collectors []Collector   `json:"collectors"`
	Demands    []Demand      `json:"demands"` // what must carry, worst first
	Others     []Demand      `json:"others"`  // further sets that could run at once, best first
	Matrix     Matrix        `json:"matrix"`
	Most       string        `json:"mends_most,omitempty"` // the one change that mends most
	MakeUp     []MakeUp      `json:"make_up_air"`
	Notes      []string      `json:"notes"`
	Facts      []Fact        `json:"assumptions"`
	Cautions   []CautionText `json:"cautions"`
}

// Grades as they stand in Grade fields.
const (
	Carries = "carries"
	Creeps  = "creeps"
	Settles = "settles"
)

// Demand is a set of machines that may run at once.
type Demand struct {
	Machines []string `json:"machines"`
	Together bool     `json:"together"` // a set that the person named
	Open     []string `json:"open"`
	Grade    string   `json:"grade"`
	Margin   string   `json:"margin"`
	Weakest  string   `json:"weakest_duct"`
	Speed    string   `json:"speed"`
	Asked    string   `json:"asked"` // of that duct
	Share    string   `json:"share"`
	Short    bool     `json:"short"` // a port gets less than it wants
	Sure     string   `json:"sure"`  // in words, with the share of the draws
	Clean    string   `json:"clean_filter"`
	Theft    string   `json:"hand_gate_open,omitempty"` // with a hand gate left open
	Why      string   `json:"why,omitempty"`            // where it does not carry
	Remedies []Remedy `json:"remedies"`
	None     string   `json:"no_remedy,omitempty"` // that nothing mends it, and how near the best came
}

// Remedy is one thing that mends a demand.
type Remedy struct {
	Kind  string `json:"kind"` // duct_size, relief_gate, fan, hose, filter
	Text  string `json:"text"`
	Costs string `json:"elsewhere,omitempty"` // what it spoils or mends elsewhere
}

// Matrix says who runs with whom: a row and a column for each machine, on the diagonal each alone.
type Matrix struct {
	Machines []string `json:"machines"`
	Cells    [][]Cell `json:"cells"`
}

// Cell is one pair. Grade is empty where the pair shares no collector: each has its own air.
type Cell struct {
	Grade  string `json:"grade"`
	Margin string `json:"margin"`
	Open   string `json:"open"`
}

// Collector is one tree of ducts with its fan.
type Collector struct {
	Name   string    `json:"name"`
	Guess  bool      `json:"guess"` // the fan's curve is a guess
	Ducts  []Duct    `json:"ducts"`
	Ports  []Port    `json:"ports"`
	Gates  []Gate    `json:"gates"`
	Fan    FanChart  `json:"fan"`
	Points []Working `json:"operating_points"`
}

// Duct is one run of pipe with how it fares.
type Duct struct {
	Name     string   `json:"name"`
	Into     int      `json:"into"`       // place of the duct downstream, -1 = the collector
	Diameter float64  `json:"diameter_m"` // for the drawing
	Size     string   `json:"size"`
	Grade    string   `json:"grade"` // worst of the demands that must carry; "" when none goes through it
	Speed    string   `json:"speed"` // there
	Fails    []string `json:"fails"` // demands in which it is too slow, with its speed
}

// Port is where air enters a duct.
type Port struct {
	Name     string   `json:"name"`
	Duct     int      `json:"duct"`
	Machines []string `json:"machines"`
}

// Gate sits at the upstream end of a duct.
type Gate struct {
	Name string `json:"name"`
	Duct int    `json:"duct"`
	Hand bool   `json:"hand"`
}

// FanChart is the fan's curve in the person's units.
type FanChart struct {
	FlowUnit     string  `json:"flow_unit"`
	PressureUnit string  `json:"pressure_unit"`
	Curve        []Point `json:"curve"`
	End          float64 `json:"sheet_ends"` // flow of the sheet's last point: beyond it the curve is drawn on
}

// Point is a flow and a pressure.
type Point struct {
	Flow     float64 `json:"flow"`
	Pressure float64 `json:"pressure"`
}

// Working is an operating point.
type Working struct {
	Point
	Machines []string `json:"machines"`
	Grade    string   `json:"grade"`
	Text     string   `json:"text"`
}

// MakeUp is air that leaves the building.
type MakeUp struct {
	Text    string `json:"text"`
	Caution string `json:"caution"`
}

// Fact is one assumption with its source.
type Fact struct {
	About  string `json:"about"`
	Kind   string `json:"kind"`
	Value  string `json:"value"`
	Spread string `json:"spread"`
	Source string `json:"source"`
}

// CautionText is a caution as it is read.
type CautionText struct {
	Title string `json:"title"`
	Text  string `json:"text"`
}
