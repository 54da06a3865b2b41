package config

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ductwarden/controller/airflow"
	"ductwarden/controller/plan"
)

// FuzzLoad: whatever the file holds, reading it ends without a panic; what is refused is refused with sentences and
// places, and what is accepted can be built into networks and a core, and is read the same again.
func FuzzLoad(f *testing.F) {
	for _, pattern := range []string{"reference.yaml", "testdata/good/*.yaml", "testdata/bad/*.yaml"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			f.Fatalf("no seeds in %s", pattern)
		}
		for _, file := range files {
			text, err := os.ReadFile(file)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(text)
		}
	}
	f.Add([]byte("gates: &g [*g]"))
	f.Add([]byte("gates:\n  - ~\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := Parse("shop.yaml", bytes.NewReader(text))
		if err != nil {
			var ps Problems
			if s != nil || !errors.As(err, &ps) || len(ps) == 0 {
				t.Fatalf("refused without problems: %v", err)
			}
			lines := 2
			for _, end := range []string{"\n", "\r", "\u0085", "\u2028", "\u2029"} { // all that YAML takes for the end of a line
				lines += bytes.Count(text, []byte(end))
			}
			for _, p := range ps {
				if p.Problem == "" || p.Line < 0 || p.Line > lines || strings.ContainsAny(p.String(), "\n\r\x00\x1b") {
					t.Fatalf("a problem that helps nobody: %+v", p)
				}
			}
			return
		}
		var planners []plan.Planner
		for _, tree := range s.Trees() {
			if _, err := airflow.Compile(tree.Network); err != nil {
				t.Fatalf("accepted, and the airflow model refuses it: %v", err)
			}
			p, err := plan.New(&tree.Network, nil, tree.Machines, plan.Options{})
			if err != nil {
				t.Fatalf("accepted, and the planner refuses it: %v", err)
			}
			planners = append(planners, p)
		}
		if _, err := s.Core(planners); err != nil {
			t.Fatalf("accepted, and the core refuses it: %v", err)
		}
		_, _, _ = s.Summary(), s.Notes(), s.NotJudged()
		again, err := Parse("shop.yaml", bytes.NewReader(s.Text))
		if err != nil || len(again.positions) != len(s.positions) {
			t.Fatalf("read again, it is another: %v", err)
		}
	})
}
