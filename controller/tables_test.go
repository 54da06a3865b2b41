package controller_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"runtime"
	"sort"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	tablesBegin = "<!-- tables begin: go test ./controller -update writes them -->"
	tablesEnd   = "<!-- tables end -->"
)

// TestMain writes the tables of DEVELOPERS.md after a whole run with -update, and the figures of a run into the file that
// FIGURES names.
func TestMain(m *testing.M) {
	code := m.Run()
	if path := os.Getenv("FIGURES"); path != "" && len(explorations.lines) > 0 {
		f, err := os.OpenFile(path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
		if err == nil {
			_, err = fmt.Fprintf(f, "%s\n%s\n", toldExplorations(), yearsFigure)
			err = errors.Join(err, f.Close())
		}
		if err != nil {
			fmt.Println(err)
			code = 1
		}
	}
	if code == 0 && *update && len(explorations.rows) > 0 {
		if err := writeSlices(); err != nil {
			fmt.Println(err)
			code = 1
		}
	}
	if code == 0 && *update && explored["I1"] > 0 && exercised["I18"] > 0 && exercised["I19"] > 0 {
		path := filepath.Join("..", "DEVELOPERS.md")
		text, err := os.ReadFile(path)
		if err == nil {
			before, _, _ := strings.Cut(string(text), tablesBegin)
			err = os.WriteFile(path, []byte(before+tables()), 0o644)
		}
		if err != nil {
			fmt.Println(err)
			code = 1
		}
	}
	os.Exit(code)
}

// writeSlices writes what each slice came to into DEVELOPERS.md: those of every run, or with -long those behind it.
func writeSlices() error {
	path := filepath.Join("..", "DEVELOPERS.md")
	text, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	of := "every run"
	if *long {
		of = "-long"
	}
	begin, end := "<!-- slices of "+of+" begin -->\n", "<!-- slices of "+of+" end -->"
	before, rest, found := strings.Cut(string(text), begin)
	_, after, ended := strings.Cut(rest, end)
	if !found || !ended {
		return fmt.Errorf("DEVELOPERS.md has no place for the slices of %s", of)
	}
	sort.Strings(explorations.rows)
	table := "| slice | states | transitions | depth | extent | leaves out |\n|---|---|---|---|---|---|\n" + strings.Join(explorations.rows, "\n") + "\n"
	return os.WriteFile(path, []byte(before+begin+table+end+after), 0o644)
}

// row is an invariant as the table has it.
type row struct{ id, observer, says, instead string }

// observer names the functions that judge a rule.
func (r *rule) observer() string {
	var names []string
	for _, f := range []any{r.event, r.effect, r.after} {
		if v := reflect.ValueOf(f); !v.IsNil() {
			name := runtime.FuncForPC(v.Pointer()).Name()
			names = append(names, "`"+name[strings.LastIndexByte(name, '.')+1:]+"`")
		}
	}
	return strings.Join(names, ", ")
}

func rows() (out []row) {
	for _, r := range ruleList() {
		out = append(out, row{r.id, r.observer(), r.says, r.instead})
	}
	for _, p := range properties {
		out = append(out, row{p.id, "`" + p.observer + "`", p.says, p.instead})
	}
	number := func(id string) int {
		n, _ := strconv.Atoi(id[1:])
		if id[0] == 'D' {
			n += 100
		}
		return n
	}
	sort.SliceStable(out, func(i, j int) bool { return number(out[i].id) < number(out[j].id) })
	return out
}

// tables are the invariants with their observers, and the faults with their tests.
func tables() string {
	var b strings.Builder
	b.WriteString(tablesBegin + "\n\n## Invariants and their observers\n\n")
	b.WriteString("Each rule has an observer in `controller/observe_start_test.go` and its neighbours (or compares runs in `controller/properties_test.go`), written against events and effects with timers of its own, and a trace in which it fires (`TestObserversFire`, `TestPropertiesFire`). Exercised: how often it was put to the test in simulated shop-years, properties and exploration of one run; states: in how many explored states it was on, of slices (b), (c) and (d) (see Exploration). D rules are the design's own.\n\n")
	b.WriteString("| rule | what is held to | where it differs from the first wording, and why | observer | exercised | states |\n|---|---|---|---|---|---|\n")
	for _, r := range rows() {
		fmt.Fprintf(&b, "| %s | %s | %s | %s | %d | %d |\n", r.id, r.says, r.instead, r.observer, exercised[r.id], explored[r.id])
	}
	b.WriteString("\n## Faults and their tests\n\n| # | fault | test, or why not |\n|---|---|---|\n")
	for i, f := range faultRows {
		fmt.Fprintf(&b, "| %d | %s | %s |\n", i+1, f.fault, f.test)
	}
	b.WriteString("\n" + tablesEnd + "\n")
	return b.String()
}

// TestDevelopersTables compares the tables with what they are made of, their counts left out, and looks for every test
// that they name.
func TestDevelopersTables(t *testing.T) {
	require.Len(t, faultRows, 50)
	numbers := regexp.MustCompile(`\| \d+ \| \d+ \|\n`)
	plain := func(s string) string { return numbers.ReplaceAllString(s, "| n | n |\n") }
	text, err := os.ReadFile(filepath.Join("..", "DEVELOPERS.md"))
	require.NoError(t, err)
	_, in, found := strings.Cut(string(text), tablesBegin)
	if !*update {
		require.True(t, found, "DEVELOPERS.md has no tables: run go test ./controller -update")
		assert.Equal(t, plain(tables()), plain(tablesBegin+in), "run go test ./controller -update, and read what has changed")
		assert.NotContains(t, in, "| 0 | 0 |", "every rule was put to the test")
	}
	for n := 1; n <= 30; n++ {
		assert.Contains(t, tables(), fmt.Sprintf("| I%d |", n))
	}
	tests := map[string]bool{}
	require.NoError(t, filepath.WalkDir("..", func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		source, err := os.ReadFile(path)
		for _, m := range regexp.MustCompile(`(?m)^func ((?:Test|Fuzz|Benchmark)\w+)\(`).FindAllStringSubmatch(string(source), -1) {
			tests[filepath.ToSlash(filepath.Dir(path))[3:]+" "+m[1]] = true
		}
		return err
	}))
	named := regexp.MustCompile("`(\\w+)` in `([\\w/]+)`")
	covered := 0
	for i, f := range faultRows {
		found := named.FindAllStringSubmatch(f.test, -1)
		for _, m := range found {
			assert.True(t, tests[m[2]+" "+m[1]], "row %d names %s in %s, which is not there", i+1, m[1], m[2])
		}
		for _, m := range regexp.MustCompile(`shop/([\w-]+)\.txt`).FindAllStringSubmatch(f.test, -1) {
			assert.FileExists(t, filepath.Join("..", "testdata", "shop", m[1]+".txt"))
			found = append(found, m)
		}
		if !strings.HasPrefix(f.test, "no test: ") {
			covered++
		}
		assert.True(t, len(found) > 0 || strings.HasPrefix(f.test, "no test: "), "row %d has neither a test nor a reason", i+1)
	}
	t.Logf("%d of 50 faults have a test", covered)
}
