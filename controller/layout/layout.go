// Package layout places a tree of ducts on a drawing: a row for each end of the tree, a column for each step from
// the collector. It depends on nothing but the tree, so that two devices and a printed page show the same picture.
package layout

import "strings"

// Duct is one run of pipe, as far as its place matters.
type Duct struct {
	Into      int  // place of the duct downstream, -1 = the collector
	Collector int  // place of the collector that it ends in
	Port      bool // air enters at its upstream end
}

// Tree is a tree of ducts with their places. Rows and steps are counted, not measured.
type Tree struct {
	Depth   []int     // of each duct: steps from the collector, 1 = into it
	Row     []float64 // of each duct; a duct stands in the middle of what flows into it
	Deepest int
	Rows    int

	children [][]int // by duct
	roots    [][]int // by collector
	ducts    []Duct
}

// Place finds a place for every duct. Children stand in the order of the shop file.
func Place(ducts []Duct, collectors int) *Tree {
	t := &Tree{Depth: make([]int, len(ducts)), Row: make([]float64, len(ducts)), children: make([][]int, len(ducts)),
		roots: make([][]int, max(1, collectors)), ducts: ducts}
	for i, d := range ducts {
		if d.Into < 0 {
			t.roots[d.Collector] = append(t.roots[d.Collector], i)
		} else {
			t.children[d.Into] = append(t.children[d.Into], i)
		}
	}
	for _, roots := range t.roots {
		for _, r := range roots {
			t.place(r, 1)
		}
	}
	return t
}

func (t *Tree) place(i, depth int) {
	t.Depth[i] = depth
	t.Deepest = max(t.Deepest, depth)
	kids := t.children[i]
	if len(kids) == 0 {
		t.Row[i] = float64(t.Rows)
		t.Rows++
		return
	}
	for _, c := range kids {
		t.place(c, depth+1)
	}
	if t.ducts[i].Port { // a row of its own, or its label would lie on a pipe
		t.Row[i] = float64(t.Rows)
		t.Rows++
		return
	}
	t.Row[i] = (t.Row[kids[0]] + t.Row[kids[len(kids)-1]]) / 2
}

// CollectorRow is the row of a collector: the middle of the ducts that flow into it.
func (t *Tree) CollectorRow(c int) float64 {
	r := t.roots[c]
	if len(r) == 0 {
		return 0
	}
	return (t.Row[r[0]] + t.Row[r[len(r)-1]]) / 2
}

// Stroke is how thick a pipe of a diameter (m) is drawn, in four classes, so that a trunk is seen to be one.
func Stroke(diameter float64) int {
	switch {
	case diameter < 0.09:
		return 4
	case diameter < 0.115:
		return 6
	case diameter < 0.14:
		return 8
	}
	return 11
}

// Short cuts a label to so many letters.
func Short(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n-1]) + "…"
}

// Wrap breaks a label at its spaces into lines of up to n letters. What does not fit into most lines is cut.
func Wrap(s string, n, most int) []string {
	var lines []string
	for _, word := range strings.Fields(s) {
		last := len(lines) - 1
		switch {
		case last >= 0 && len([]rune(lines[last]))+1+len([]rune(word)) <= n:
			lines[last] += " " + word
		case len(lines) == most:
			lines[last] = Short(lines[last]+" "+word, n)
			return lines
		default:
			lines = append(lines, Short(word, n))
		}
	}
	return lines
}
