package main

import (
	"fmt"
	"io"
	"strings"

	"ductwarden/config"
)

// drawShop draws a shop's ducts as a tree that hangs from its collectors.
func drawShop(w io.Writer, file *config.Shop, lines bool) {
	for c := range file.Collectors {
		fmt.Fprintln(w, file.Collectors[c].Name)
		t := tree{w: w, file: file, collector: c, lines: lines}
		t.branch(-1, "")
	}
	if len(file.Ducts) == 0 {
		for i := range file.Machines {
			fmt.Fprintf(w, "  %s%s\n", file.Machines[i].Name, gatesOf(file, file.Machines[i].Gates))
		}
	}
}

// tree is one collector's ducts being drawn.
type tree struct {
	w         io.Writer
	file      *config.Shop
	collector int
	lines     bool
}

func (t tree) branch(into int, lead string) {
	var kids []int
	for i := range t.file.Ducts {
		if d := &t.file.Ducts[i]; d.Into == into && d.Collector == t.collector {
			kids = append(kids, i)
		}
	}
	for n, i := range kids {
		stem, cont := "|- ", "|  "
		last := n == len(kids)-1
		switch {
		case t.lines && last:
			stem, cont = "└─ ", "   "
		case t.lines:
			stem, cont = "├─ ", "│  "
		case last:
			stem, cont = "`- ", "   "
		}
		d := &t.file.Ducts[i]
		fmt.Fprintf(t.w, "%s%s%s, %s, %s%s\n", lead, stem, d.Name, config.FormatQuantity(config.Length, d.Diameter, t.file.Units),
			config.FormatQuantity(config.Length, d.Length, t.file.Units), t.on(i))
		t.branch(i, lead+cont)
	}
}

// on says which gate and which port are at a duct's upstream end.
func (t tree) on(duct int) string {
	var parts []string
	for i := range t.file.Gates {
		if t.file.Gates[i].Duct == duct {
			parts = append(parts, "gate "+t.file.Gates[i].Name)
		}
	}
	for i := range t.file.Ports {
		if t.file.Ports[i].Duct == duct {
			parts = append(parts, "port "+t.file.Ports[i].Name)
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "   [" + strings.Join(parts, "; ") + "]"
}

func gatesOf(file *config.Shop, all []int) string {
	var names []string
	for _, g := range all {
		names = append(names, file.Gates[g].Name)
	}
	return "   [gate " + strings.Join(names, ", ") + "]"
}
