package panel

// Shop is what does not change while the daemon runs: what is drawn and offered.
type Shop struct {
	Name       string
	Units      string // metric or us: how figures are first shown on a new device
	Collectors []Named
	Ducts      []Duct
	Ports      []Port
	Gates      []Gate
	Machines   []Machine
	Rehearsal  bool // nothing of metal moves: said at the top of every page
}

// Named is a thing with a stable id.
type Named struct{ ID, Name string }

// Duct is one run of pipe, as drawn.
type Duct struct {
	ID, Name  string
	Into      int     // place of the duct downstream, -1 = the collector
	Collector int     // place of the collector that it ends in
	Diameter  float64 // m inside
}

// Port is where air enters a duct.
type Port struct {
	Name string
	Duct int
}

// Gate sits at the upstream end of a duct. Duct is -1 in a shop file without ducts.
type Gate struct {
	ID, Name string
	Duct     int
	Hand     bool
}

// Machine is what makes the dust.
type Machine struct {
	ID, Name string
	Ports    []string
	Button   bool // the page may call its air as its button would
}
