package config

import (
	"fmt"
	"slices"
	"strings"
)

// Position is where a value stands in the file: line and column from 1, the column counted in characters.
type Position struct{ Line, Column int }

// Problem is one thing wrong with a shop file, with its place, what was found and what would be accepted.
type Problem struct {
	File     string `json:"file"`
	Line     int    `json:"line"`   // 0: the file as a whole
	Column   int    `json:"column"` // 0: the line as a whole
	Path     string `json:"path"`   // gates[2].actuator.servo.channel; "" for the file as a whole
	Problem  string `json:"problem"`
	Found    string `json:"found"`
	Accepted string `json:"accepted"`
}

// String is the problem as one line for a person.
func (p Problem) String() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		fmt.Fprintf(&b, ":%d", p.Line)
		if p.Column > 0 {
			fmt.Fprintf(&b, ":%d", p.Column)
		}
	}
	if p.Path != "" {
		b.WriteString(": " + p.Path)
	}
	b.WriteString(": " + p.Problem)
	if p.Found != "" {
		b.WriteString("; found " + p.Found)
	}
	if p.Accepted != "" {
		b.WriteString("; accepted: " + p.Accepted)
	}
	return b.String()
}

// Problems is everything wrong with a shop file, sorted by place. As an error it prints one line each.
type Problems []Problem

// Error lists the problems, one a line.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}

// sort orders by line, then column, keeping the order of finding for equal places.
func (ps Problems) sort() {
	slices.SortStableFunc(ps, func(a, b Problem) int {
		if a.Line != b.Line {
			return a.Line - b.Line
		}
		return a.Column - b.Column
	})
}
