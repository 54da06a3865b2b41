package panel

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "write text/said.json anew")

// speaking is where the sentences come from that the page shows and does not write itself.
var speaking = []string{
	"controller/*.go", "controller/alarm/*.go", "controller/plan/*.go", "controller/bench/*.go", "controller/loop/*.go", "controller/airflow/*.go", "controller/airflow/advice/*.go",
	"controller/airflow/fit/*.go", "controller/panel/api/*.go", "controller/panel/access/*.go", "controller/report/*.go", "controller/report/*.html", "config/*.go",
	"cmd/ductwarden/words.go", "cmd/ductwarden/wire*.go", "cmd/ductwarden/run_beside.go", "cmd/ductwarden/run_broker.go", "cmd/ductwarden/texts.go", "controller/broker/*.go", "controller/journal/*.go", "cmd/ductwarden/page*.go", "cmd/ductwarden/survey_report.go", "cmd/ductwarden/survey_text.go", "cmd/ductwarden/survey_advice.go", "cmd/ductwarden/fit.go",
}

// gatherer gathers what a source file says, as patterns: {1}, {2} stand for what is put in.
type gatherer struct {
	out   map[string]bool
	words bool // in this file single words are said too
}

var verb = regexp.MustCompile(`%[-+#0]*[0-9*]*(\.[0-9*]+)?[a-zA-Z]`)

// pattern numbers the holes of a format or of a sum of strings.
func pattern(parts []string) string {
	n := 0
	var b strings.Builder
	for _, p := range parts {
		if p == hole {
			n++
			fmt.Fprintf(&b, "{%d}", n)
		} else {
			b.WriteString(p)
		}
	}
	return b.String()
}

var sql = regexp.MustCompile(`^(SELECT|INSERT|DELETE|UPDATE|CREATE|VACUUM|PRAGMA) `)

const hole = "\x00"

// cut parts a format at its verbs.
func cut(format string) (parts []string) {
	format = strings.ReplaceAll(format, "%%", "\x01")
	at := 0
	for _, m := range verb.FindAllStringIndex(format, -1) {
		parts = append(parts, strings.ReplaceAll(format[at:m[0]], "\x01", "%"), hole)
		at = m[1]
	}
	return append(parts, strings.ReplaceAll(format[at:], "\x01", "%"))
}

// flat lays a sum of strings out.
func flat(e ast.Expr) (parts []string, text bool) {
	switch x := e.(type) {
	case *ast.ParenExpr:
		return flat(x.X)
	case *ast.BinaryExpr:
		if x.Op == token.ADD {
			a, ta := flat(x.X)
			b, tb := flat(x.Y)
			return append(a, b...), ta || tb
		}
	case *ast.BasicLit:
		if x.Kind == token.STRING {
			s, err := strconv.Unquote(x.Value)
			if err == nil {
				return cut(s), true
			}
		}
	}
	return []string{hole}, false
}

func (g *gatherer) add(parts []string) {
	var joined []string // neighbouring holes are one
	for _, p := range parts {
		if p == "" || p == hole && len(joined) > 0 && joined[len(joined)-1] == hole {
			continue
		}
		joined = append(joined, p)
	}
	s := strings.Trim(strings.TrimLeft(pattern(joined), " ,;:.)"), " ,;:(")
	if strings.Count(s, "(") != strings.Count(s, ")") { // one half of a pair
		s = strings.TrimSuffix(strings.TrimPrefix(s, "("), ")")
	}
	letters := 0
	for _, p := range joined {
		if p != hole {
			for _, r := range p {
				if unicode.IsLetter(r) {
					letters++
				}
			}
		}
	}
	bare := strings.Trim(s, "{}0123456789 .,;:()%+-/")
	if strings.HasPrefix(s, "(") && strings.HasSuffix(s, ")") && strings.Count(s, "(") == 1 {
		s = s[1 : len(s)-1]
	}
	switch {
	case letters < 3, strings.ContainsAny(s, "\n\t<>=\\`"), strings.Contains(s, "_"), strings.HasPrefix(s, "/"), strings.HasPrefix(s, "#"), sql.MatchString(s), strings.HasPrefix(s, "%"), strings.HasPrefix(bare, "--"):
		return
	case !strings.Contains(s, " ") && !g.words: // a name, a key, a unit
		return
	case !strings.Contains(s, " ") && !regexp.MustCompile(`^[A-Z]?[a-z-]+$`).MatchString(bare):
		return
	}
	g.out[s] = true
}

func (g *gatherer) Visit(n ast.Node) ast.Visitor {
	switch x := n.(type) {
	case *ast.ImportSpec, *ast.Field: // a field's tag
		return nil
	case *ast.IndexExpr: // a key
		ast.Walk(g, x.X)
		return nil
	case *ast.CaseClause: // what is compared with is not said
		for _, s := range x.Body {
			ast.Walk(g, s)
		}
		return nil
	case *ast.BinaryExpr:
		if parts, text := flat(x); text && x.Op == token.ADD {
			g.add(parts)
			ast.Walk(inner{g}, x)
			return nil
		}
	case *ast.BasicLit:
		if parts, text := flat(x); text {
			g.add(parts)
		}
	}
	return g
}

// inner looks into a sum for sentences within its calls, not at its own strings.
type inner struct{ g *gatherer }

func (i inner) Visit(n ast.Node) ast.Visitor {
	switch n.(type) {
	case *ast.BinaryExpr, *ast.ParenExpr:
		return i
	case *ast.BasicLit:
		return nil
	case nil:
		return nil
	}
	return i.g
}

var (
	htmlText = regexp.MustCompile(`>([^<>]+)<`)
	action   = regexp.MustCompile(`\{\{.*?\}\}`)
)

func gather(t *testing.T) []string {
	t.Helper()
	g := &gatherer{out: map[string]bool{}}
	for _, glob := range speaking {
		files, err := filepath.Glob(filepath.Join("..", "..", glob))
		require.NoError(t, err)
		require.NotEmpty(t, files, glob)
		for _, path := range files {
			if strings.HasSuffix(path, "_test.go") {
				continue
			}
			g.words = !regexp.MustCompile(`/(config|loop|api|access|broker|journal)/`).MatchString(filepath.ToSlash(path))
			if strings.HasSuffix(path, ".html") {
				text, err := os.ReadFile(path)
				require.NoError(t, err)
				for _, m := range htmlText.FindAllStringSubmatch(string(text), -1) {
					for _, one := range regexp.MustCompile(`\{\{-?\s*(if|else|end|range|with|template)[^}]*\}\}`).Split(m[1], -1) {
						one = strings.TrimSpace(one)
						var parts []string
						at := 0
						for _, h := range action.FindAllStringIndex(one, -1) {
							parts, at = append(parts, one[at:h[0]], hole), h[1]
						}
						g.add(append(parts, one[at:]))
					}
				}
				continue
			}
			f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
			require.NoError(t, err)
			for _, d := range f.Decls {
				ast.Walk(g, d)
			}
		}
	}
	var out []string
	for s := range g.out {
		out = append(out, s)
	}
	slices.Sort(out)
	return out
}

// Every sentence that the program can say at the page stands in the catalogue, so that another language is one file.
func TestEverySentenceIsInTheCatalogue(t *testing.T) {
	sentences := gather(t)
	require.Greater(t, len(sentences), 1000)
	path := filepath.Join("text", "said.json")
	if *update {
		var b bytes.Buffer
		e := json.NewEncoder(&b)
		e.SetEscapeHTML(false)
		e.SetIndent("", " ")
		require.NoError(t, e.Encode(sentences))
		require.NoError(t, os.WriteFile(path, b.Bytes(), 0o644))
	}
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	var got []string
	require.NoError(t, json.Unmarshal(b, &got))
	require.Equal(t, sentences, got, "the program's sentences have changed: run go test ./controller/panel -update")
	// Sentences of every kind are among them: by these the gathering itself is judged.
	for _, want := range []string{"gate {1} did not open", "chips in the slide, a servo without power, a loose linkage or switch", "the shop is standing by: press Ready first", "gate {1} open for its air"} {
		assert.Contains(t, got, want)
	}
}

func TestLoadText(t *testing.T) {
	en := English()
	same, missing, err := LoadText([]byte(`{}`))
	require.NoError(t, err)
	assert.Equal(t, en, same)
	assert.Equal(t, len(en), missing)
	assert.Empty(t, same.sentences())

	other, missing, err := LoadText([]byte("\xef\xbb\xbf" + `{"nav.shop": "Werkstatt", "gate {1} did not open": "Schieber {1} ging nicht auf", "of another version": "x"}`))
	require.NoError(t, err)
	assert.Equal(t, len(en)-2, missing)
	assert.Equal(t, "Werkstatt", other.Say("nav.shop"))
	assert.Equal(t, map[string]string{"Shop": "Werkstatt", "gate {1} did not open": "Schieber {1} ging nicht auf"}, other.sentences())

	_, _, err = LoadText([]byte(`{"gate {1} did not open": "{2} ging nicht auf"}`))
	assert.EqualError(t, err, `catalogue of texts: what stands for "gate {1} did not open" has {2}, which the English has not: write only the numbers in braces that stand there`)
	_, _, err = LoadText([]byte(`[1]`))
	assert.ErrorContains(t, err, "this is no catalogue of texts")
}
