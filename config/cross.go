package config

import (
	"fmt"
	"strings"

	"ductwarden/controller"
	"ductwarden/controller/airflow"
)

// at gives the value at a path for a message of the cross checks.
func (r *reader) at(path string) value {
	return value{r: r, path: path, at: r.positions[path]}
}

// pathOf is the path of a key of a list's item, or of the item itself.
func pathOf(list string, i int, key string) string {
	path := fmt.Sprintf("%s[%d]", list, i)
	if key == "" {
		return path
	}
	return join(path, key)
}

// linked tells whether all ducts, ports and gates found what they name, so that the tree can be walked.
func (s *Shop) linked() bool {
	for _, d := range s.Ducts {
		if d.Into < 0 && d.Collector < 0 {
			return false
		}
	}
	for _, p := range s.Ports {
		if p.Duct < 0 {
			return false
		}
	}
	return true
}

// crossTree checks the rules of the tree of ducts. It needs a linked shop without loops.
func (r *reader) crossTree(s *Shop) {
	r.crossDucts(s)
	r.crossGates(s)
	r.crossCollectors(s)
}

// crossAir asks the airflow model itself whether it can work with what was read.
func (r *reader) crossAir(s *Shop) {
	for c, tree := range s.Trees() {
		for _, p := range airflow.Check(tree.Network) {
			path := ""
			switch {
			case p.In == "ducts" && p.Place >= 0:
				path = pathOf("ducts", tree.Ducts[p.Place], p.Field)
			case p.In == "ports" && p.Place >= 0:
				path = pathOf("ports", tree.Ports[p.Place], p.Field)
			case p.In == "gates" && p.Place >= 0:
				path = pathOf("gates", tree.Network.Gates[p.Place].Number, p.Field)
			case p.In == "ducts" || p.In == "ports" || p.In == "gates" || p.In == "air" || p.In == "transport":
				path = p.In
			case p.In == "fan" && p.Place >= 0:
				path = fmt.Sprintf("collectors[%d].fan.%s[%d]", c, p.Field, p.Place)
			case p.In == "fan":
				path = fmt.Sprintf("collectors[%d].fan.%s", c, p.Field)
			default:
				path = fmt.Sprintf("collectors[%d].%s", c, p.In)
			}
			r.at(r.nearestPath(path)).problem(p.Text, "", "")
		}
	}
}

// nearestPath shortens a path until it is one that stands in the file.
func (r *reader) nearestPath(path string) string {
	for path != "" {
		if _, ok := r.positions[path]; ok {
			return path
		}
		cut := strings.LastIndexAny(path, ".[")
		path = path[:max(cut, 0)]
	}
	return ""
}

func (r *reader) crossDucts(s *Shop) {
	fed := make([]bool, len(s.Ducts))
	for _, d := range s.Ducts {
		if d.Into >= 0 {
			fed[d.Into] = true
		}
	}
	for _, p := range s.Ports {
		fed[p.Duct] = true
	}
	for i, d := range s.Ducts {
		if !fed[i] {
			r.at(pathOf("ducts", i, "")).problem(fmt.Sprintf("no air can enter the duct %s: no port is at its end and no duct flows into it", d.Name), "", "a port with duct: "+d.Name+", or leave the duct out")
		}
	}
}

func (r *reader) crossGates(s *Shop) {
	at := map[int]int{}
	for i, g := range s.Gates {
		if g.Duct < 0 {
			continue
		}
		if first, twice := at[g.Duct]; twice {
			r.at(pathOf("gates", i, "duct")).problem(fmt.Sprintf("the duct %s already has the gate %s at its upstream end", s.Ducts[g.Duct].Name, s.Gates[first].Name), quote(s.Ducts[g.Duct].Name), "a duct of its own")
			continue
		}
		at[g.Duct] = i
	}
}

func (r *reader) crossMachines(s *Shop) {
	for i, m := range s.Machines {
		if len(m.Sensors) == 0 {
			continue
		}
		buttons := 0
		for j, sensor := range m.Sensors {
			if sensor.Button == nil {
				continue
			}
			if buttons++; buttons > 1 {
				r.at(fmt.Sprintf("machines[%d].sensors[%d]", i, j)).problem("a machine has one button; wire two in parallel to one line", "a second button", "one button")
			}
		}
	}
}

func (r *reader) crossCollectors(s *Shop) {
	for i, c := range s.Collectors {
		used := false
		for _, d := range s.Ducts {
			used = used || d.Collector == i
		}
		if len(s.Ducts) > 0 && !used {
			r.at(pathOf("collectors", i, "")).problem(fmt.Sprintf("no duct leads to the collector %s", c.Name), "", "a duct with into: "+c.Name+", or leave the collector out")
		}
	}
}

func (r *reader) crossChips(s *Shop) {
	seen := map[Chip]int{}
	for i, c := range s.Chips {
		if first, twice := seen[c.Chip]; twice {
			r.at(pathOf("chips", i, "chip")).problem(fmt.Sprintf("this chip is already described by item %d of the list", first+1), c.Chip.String(), "each chip once")
			continue
		}
		seen[c.Chip] = i
	}
}

// conditionNames lists the alarms whose delays can be set.
func conditionNames() []string {
	all := controller.Conditions()
	names := make([]string, len(all))
	for i, c := range all {
		names[i] = c.String()
	}
	return names
}
