package airflow

import "strings"

// inch in m.
const inch = 0.0254

// Pipe is a nominal size with its inside diameter.
type Pipe struct {
	Name   string
	Inside float64 // m
	Wall   string  // kind of wall that such a pipe has
	Source string
	Mark   Mark
}

// series is one standard's pipes: nominal sizes and inside diameters in one unit.
type series struct {
	name, unit, wall, source string
	mark                     Mark
	in                       float64 // the unit in m
	sizes                    []size
}

type size struct {
	nominal string
	inside  float64
}

var pipes = []series{
	{"EN 1506", "", "spiral", "EN 1506, sheet-metal duct of circular section: the nominal size is the inside diameter", Secondary, 1e-3,
		[]size{{"63", 63}, {"80", 80}, {"100", 100}, {"125", 125}, {"150", 150}, {"160", 160}, {"200", 200}, {"250", 250}, {"300", 300}, {"315", 315}, {"355", 355}, {"400", 400}, {"450", 450}, {"500", 500}}},
	{"EN 1401", "", "pvc", "EN 1401, SN 4: outside diameter less two walls of 3.2, 3.2, 4.0 and 4.9 mm", Memory, 1e-3,
		[]size{{"110", 103.6}, {"125", 118.6}, {"160", 152.0}, {"200", 190.2}}},
	{"round", " in", "galvanized", "round sheet metal in inches: the nominal size is the inside diameter", Practice, inch,
		[]size{{"3", 3}, {"4", 4}, {"5", 5}, {"6", 6}, {"7", 7}, {"8", 8}, {"10", 10}, {"12", 12}}},
	{"schedule 40", " in", "pvc", "ASTM D1785 schedule 40, as the open library fluids lists the sizes of ASME B36.10", Secondary, 1e-3,
		[]size{{"2", 52.48}, {"3", 77.92}, {"4", 102.26}, {"6", 154.08}, {"8", 202.74}}},
	{"ASTM D2729", " in", "pvc", "ASTM D2729 drain pipe, average inside diameter", Secondary, inch,
		[]size{{"3", 3.11}, {"4", 4.065}, {"6", 6.075}}},
	{"SDR 35", " in", "pvc", "ASTM D3034: outside diameter 4.215, 6.275 and 8.4 in less two walls of a 35th", Secondary, inch,
		[]size{{"4", 3.974}, {"6", 5.916}, {"8", 7.92}}},
}

// Pipes lists the nominal sizes, in the order of the table.
func Pipes() []Pipe {
	var out []Pipe
	for _, s := range pipes {
		for _, z := range s.sizes {
			out = append(out, Pipe{Name: s.name + " " + z.nominal + s.unit, Inside: z.inside * s.in, Wall: s.wall, Source: s.source, Mark: s.mark})
		}
	}
	return out
}

// PipeOf finds a nominal size by its name; case and spaces do not matter.
func PipeOf(name string) (Pipe, bool) {
	tight := func(s string) string { return strings.ToLower(strings.ReplaceAll(s, " ", "")) }
	for _, p := range Pipes() {
		if tight(p.Name) == tight(name) {
			return p, true
		}
	}
	return Pipe{}, false
}
