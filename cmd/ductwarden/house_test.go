package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// pureRooms are the packages that decide. The value names the imports that only this room may have on top of
// pureImports, each with its reason.
var pureRooms = map[string]map[string]string{
	"current":                    nil,
	"gates":                      nil,
	"controller":                 nil,
	"controller/plan":            nil,
	"controller/alarm":           nil,
	"controller/cautions":        nil,
	"controller/layout":          nil,
	"controller/publish":         {"encoding/json": "its output is JSON"},
	"controller/airflow/takeoff": nil,
	"controller/airflow/advice":  nil,
	"controller/airflow":         {"sync": "spreads work over the workers that the caller allows", "context": "a long survey can be given up"},
	"controller/transcript":      {"io": "reads a script from wherever the caller has it", "bufio": "by lines"},
}

// pureImports may stand in every pure room; everything else from the standard library is refused for the
// reason in impureBecause, or because nobody has argued for it.
var pureImports = map[string]bool{
	"errors": true, "fmt": true, "math": true, "math/bits": true, "cmp": true, "slices": true, "maps": true, "sort": true,
	"strconv": true, "strings": true, "iter": true, "math/rand/v2": true, "time": true,
}

var impureBecause = map[string]string{
	"os":            "files and the environment differ between machines; a replay must not notice them",
	"io":            "reading waits; the caller reads and hands over values",
	"bufio":         "reading waits; the caller reads and hands over values",
	"net":           "the network waits and differs from run to run",
	"net/http":      "the network waits and differs from run to run",
	"sync":          "one goroutine owns the state; a lock here would hide a second owner",
	"sync/atomic":   "one goroutine owns the state; an atomic here would hide a second owner",
	"context":       "nothing here takes long enough to be given up",
	"log":           "pure rooms return notes as data",
	"log/slog":      "pure rooms return notes as data",
	"math/rand":     "its global source is seeded by the clock; math/rand/v2 with an explicit seed is allowed",
	"reflect":       "decisions are written out, not looked up",
	"unsafe":        "no decision depends on how memory is laid out",
	"runtime":       "the scheduler and the collector must not be noticed",
	"encoding/json": "only publish speaks JSON; the rest returns values",
	"math/big":      "whole numbers of fixed size decide",
}

// clockCalls read or wait for the clock; time comes as an argument.
var clockCalls = map[string]bool{
	"Now": true, "Since": true, "Until": true, "After": true, "AfterFunc": true, "Sleep": true, "Tick": true,
	"NewTimer": true, "NewTicker": true, "Local": true, "LoadLocation": true,
}

// siblings that may not import each other: a driver borrows a bus or a line through an interface of its own.
var driverRooms = []string{"current/", "gates/"}

func root(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		parent := filepath.Dir(dir)
		require.NotEqual(t, dir, parent, "no go.mod above the test")
		dir = parent
	}
}

type source struct {
	room string // folder relative to the module
	path string
	file *ast.File
	fset *token.FileSet
}

func sources(t *testing.T, tests bool) []source {
	t.Helper()
	top := root(t)
	var all []source
	require.NoError(t, filepath.WalkDir(top, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && p != top && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata" || d.Name() == "node_modules") {
			return filepath.SkipDir
		}
		if !strings.HasSuffix(p, ".go") || !tests && strings.HasSuffix(p, "_test.go") {
			return nil
		}
		fset := token.NewFileSet()
		f, err := parser.ParseFile(fset, p, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(top, p)
		all = append(all, source{room: filepath.ToSlash(filepath.Dir(rel)), path: filepath.ToSlash(rel), file: f, fset: fset})
		return nil
	}))
	require.NotEmpty(t, all)
	return all
}

func imports(f *ast.File) []string {
	var out []string
	for _, i := range f.Imports {
		out = append(out, strings.Trim(i.Path.Value, `"`))
	}
	return out
}

// whyNot says why a file of a pure room may not have an import, or "".
func whyNot(room, imp string) string {
	if inner, ok := strings.CutPrefix(imp, "ductwarden/"); ok {
		if _, pure := pureRooms[inner]; pure {
			return ""
		}
		return "it is not a pure room"
	}
	if pureImports[imp] {
		return ""
	}
	if _, ok := pureRooms[room][imp]; ok {
		return ""
	}
	if why := impureBecause[imp]; why != "" {
		return why
	}
	return "nobody has argued for it; a pure room stays testable everywhere by knowing little"
}

func TestPureRoomsStayPure(t *testing.T) {
	seen := map[string]bool{}
	for _, s := range sources(t, false) {
		if _, pure := pureRooms[s.room]; !pure {
			continue
		}
		seen[s.room] = true
		for _, imp := range imports(s.file) {
			assert.Empty(t, whyNot(s.room, imp), "%s imports %s", s.path, imp)
		}
		ast.Inspect(s.file, func(n ast.Node) bool {
			sel, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			if x, ok := sel.X.(*ast.Ident); ok && x.Name == "time" && clockCalls[sel.Sel.Name] {
				assert.Fail(t, "a clock in a pure room", "%s: time.%s: time is an argument, or a replay would differ", s.fset.Position(sel.Pos()), sel.Sel.Name)
			}
			return true
		})
		ast.Inspect(s.file, func(n ast.Node) bool {
			if g, ok := n.(*ast.GoStmt); ok {
				assert.Equal(t, "controller/airflow", s.room, "%s: only airflow may spread work over goroutines", s.fset.Position(g.Pos()))
			}
			return true
		})
	}
	for room := range pureRooms {
		assert.True(t, seen[room], "the list names %s, which has no file: strike it out or build it", room)
	}
}

// The rule itself must bite.
func TestImportRuleRefuses(t *testing.T) {
	assert.NotEmpty(t, whyNot("controller", "os"))
	assert.NotEmpty(t, whyNot("controller", "sync"))
	assert.NotEmpty(t, whyNot("controller", "github.com/anything/else"))
	assert.NotEmpty(t, whyNot("controller", "ductwarden/controller/loop"))
	assert.Empty(t, whyNot("controller/airflow", "sync"))
	assert.Empty(t, whyNot("controller", "ductwarden/gates"))
}

func TestArrowsPointInwards(t *testing.T) {
	for _, s := range sources(t, false) {
		for _, imp := range imports(s.file) {
			inner, ours := strings.CutPrefix(imp, "ductwarden/")
			if !ours {
				continue
			}
			assert.False(t, strings.HasPrefix(inner, "cmd/"), "%s imports %s: cmd knows everybody, nobody knows cmd", s.path, imp)
			if inner == "config" {
				assert.True(t, s.room == "cmd/ductwarden" || s.room == "controller/simshop" || strings.HasPrefix(s.room, "config"),
					"%s imports config: config is a phase, its values are handed inwards by cmd", s.path)
			}
			for _, noun := range driverRooms {
				if strings.HasPrefix(s.room, noun) && strings.HasPrefix(inner, noun) {
					own := strings.Split(strings.TrimPrefix(s.room, noun), "/")[0]
					other := strings.Split(strings.TrimPrefix(inner, noun), "/")[0]
					assert.True(t, own == other || strings.HasSuffix(own, "test"), "%s imports %s: drivers do not know each other; take a small interface", s.path, imp)
				}
			}
			if s.room == "controller/panel" {
				for _, far := range []string{"journal", "bench", "airflow", "loop", "broker"} {
					assert.NotEqual(t, "controller/"+far, inner, "%s: the panel declares the small interfaces that it needs", s.path)
				}
			}
		}
	}
}

// Every folder with Go code is named in the map of rooms.
func TestDocNamesEveryRoom(t *testing.T) {
	doc, err := os.ReadFile(filepath.Join(root(t), "controller", "doc.go"))
	require.NoError(t, err)
	said := map[string]bool{}
	for _, s := range sources(t, false) {
		if inner, ok := strings.CutPrefix(s.room, "controller/"); ok && !said[inner] {
			said[inner] = true
			assert.Contains(t, string(doc), "\t"+inner+" ", "controller/doc.go lists the rooms in reading order; %s wants a line", s.room)
		}
	}
}

// A program that is no safety function does not call itself one. Where such a word stands in a caution that
// tells a person what to do, or where computing has no other name, the line says so here.
var (
	bigWords   = regexp.MustCompile(`(?i)\b(safe|safely|safety|protected|protects?|locked|isolated|interlock(ed|s)?|prevented|prevents?|guaranteed?s?|fail-?safe|certified|compliant)\b`)
	wordsAllow = regexp.MustCompile(`(?i)no safety function|not a safety function|is no safety|lock(ed)? the disconnect|locked off|disconnect.{0,40}locked|off and lock|uncertified|race-safe|goroutine-safe|fail2ban|safely read`)
)

func TestNoBigWords(t *testing.T) {
	for _, s := range sources(t, false) {
		ast.Inspect(s.file, func(n ast.Node) bool {
			lit, ok := n.(*ast.BasicLit)
			if !ok || lit.Kind != token.STRING {
				return true
			}
			for _, line := range strings.Split(lit.Value, "\n") {
				if bigWords.MatchString(line) && !wordsAllow.MatchString(line) {
					assert.Fail(t, "a word that this program never uses of itself", "%s: %s", s.fset.Position(lit.Pos()), line)
				}
			}
			return true
		})
	}
	top := root(t)
	check := func(p string) {
		b, err := os.ReadFile(p)
		require.NoError(t, err)
		for i, line := range strings.Split(string(b), "\n") {
			if bigWords.MatchString(line) && !wordsAllow.MatchString(line) {
				assert.Fail(t, "a word that this program never uses of itself", "%s:%d: %s", p, i+1, line)
			}
		}
	}
	check(filepath.Join(top, "README.md"))
	_ = filepath.WalkDir(filepath.Join(top, "deploy"), func(p string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && regexp.MustCompile(`\.(md|ya?ml|service|rules|html|svg|json|txt)$`).MatchString(p) {
			check(p)
		}
		return nil
	})
}

// What the project is must not be readable as something else's copy, nor as the story of how it was made.
func TestNothingOfTheWorkshopLeaksIn(t *testing.T) {
	top := root(t)
	leak := regexp.MustCompile(`/wor` + `k/|/far` + `m/|\.librar` + `y|TO` + `DO|FIX` + `ME`)
	require.NoError(t, filepath.WalkDir(top, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if d.Name() == ".git" || d.Name() == "node_modules" {
				return filepath.SkipDir
			}
			return nil
		}
		if !regexp.MustCompile(`\.(go|md|ya?ml|txt|html|css|js|sh|service|rules)$|/run$`).MatchString(p) {
			return nil
		}
		b, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		assert.NotRegexp(t, leak, string(b), "%s", p)
		return nil
	}))
}

// A map that names files which are gone is worse than none: every Go file and folder that the guides name is there.
func TestGuidesNameWhatExists(t *testing.T) {
	top := root(t)
	names := regexp.MustCompile(`[a-z0-9_/]+\.go\b`)
	for guide, base := range map[string]string{"DEVELOPERS.md": "", "README.md": "", "controller/doc.go": "controller", "controller/plan/plan.go": "controller/plan"} {
		text, err := os.ReadFile(filepath.Join(top, guide))
		require.NoError(t, err)
		guideText := string(text)
		if strings.HasSuffix(guide, ".go") {
			guideText, _, _ = strings.Cut(guideText, "\npackage ")
		}
		for _, name := range names.FindAllString(guideText, -1) {
			where := filepath.Join(top, base, name)
			assert.True(t, exists(where), "%s names %s, which is not there", guide, name)
		}
	}
}
