package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/cautions"
)

var update = flag.Bool("update", false, "write anew what is made from one source: cautions, drawings, sheets")

// block is a stretch of a document that is made from the one source.
var block = regexp.MustCompile(`(?s)(<!-- cautions of ([a-z/-]+) -->\n)(.*?)(<!-- end of cautions -->)`)

// kept compares what a file says with what it should say, and writes it with -update.
func kept(t *testing.T, path, want string) {
	t.Helper()
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(want), 0o644))
	}
	got, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, want, string(got), "%s: run go test ./cmd/ductwarden -update, and read what has changed", path)
}

// guides are the documents for people: the README and what stands in deploy/.
func guides(t *testing.T) []string {
	t.Helper()
	all, err := filepath.Glob(filepath.Join(root(t), "deploy", "*.md"))
	require.NoError(t, err)
	return append(all, filepath.Join(root(t), "README.md"))
}

func TestCautionsStandInTheDocuments(t *testing.T) {
	met := map[cautions.Place]bool{}
	for _, path := range guides(t) {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		kept(t, path, block.ReplaceAllStringFunc(string(text), func(b string) string {
			part := block.FindStringSubmatch(b)
			place := cautions.Place(part[2])
			require.NotEmpty(t, cautions.At(place), "%s: no caution is met at %s", path, place)
			met[place] = true
			return part[1] + cautions.Markdown(place) + part[4]
		}))
		if place := cautions.Sheet(strings.TrimSuffix(filepath.Base(path), ".md")); len(cautions.At(place)) > 0 {
			assert.True(t, met[place], "%s wants the block <!-- cautions of %s -->", path, place)
		}
	}
	assert.True(t, met[cautions.Readme])
	for _, p := range cautions.Places() {
		if strings.HasPrefix(string(p), "sheet/") {
			assert.True(t, met[p], "a caution names %s: write deploy/%s.md with its block", p, strings.TrimPrefix(string(p), "sheet/"))
		}
	}
}

func TestCautionsStandInTheHelpOfVerbs(t *testing.T) {
	flat := func(s string) string { return strings.Join(strings.Fields(s), " ") }
	known := map[string]bool{}
	for _, v := range verbs {
		name := v().Name()
		known[name] = true
		at := cautions.At(cautions.Verb(name))
		if len(at) == 0 {
			continue
		}
		var out, errs bytes.Buffer
		require.Equal(t, exitDone, run(t.Context(), []string{name, "--help"}, nil, &out, &errs), errs.String())
		for _, c := range at {
			assert.Contains(t, flat(out.String()), flat(c.Title+" "+c.Text), "%s --help", name)
		}
	}
	for _, p := range cautions.Places() {
		if name, ok := strings.CutPrefix(string(p), "verb/"); ok {
			assert.True(t, known[name], "a caution names the verb %s, which is not there", name)
		}
	}
}

// catalogue is the file of the page's English texts.
func catalogue(t *testing.T) string {
	return filepath.Join(root(t), "controller", "panel", "text", "en.json")
}

// cautionTexts are the lines of the page's catalogue that are made from the one source.
func cautionTexts() string {
	quote := func(s string) string {
		var b bytes.Buffer
		e := json.NewEncoder(&b)
		e.SetEscapeHTML(false)
		_ = e.Encode(s)
		return strings.TrimSpace(b.String())
	}
	var b strings.Builder
	line := func(key, text string) { b.WriteString("  " + quote(key) + ": " + quote(text) + ",\n") }
	for _, c := range cautions.At(cautions.Page) {
		line("caution."+c.Key, c.Text)
		line("caution."+c.Key+".title", c.Title)
		line("caution."+c.Key+".decides", c.Decides)
		line("caution."+c.Key+".source", c.Source)
		if c.Brief != "" {
			line("caution."+c.Key+".brief", c.Brief)
		}
	}
	return b.String()
}

func TestCautionsStandInThePagesCatalogue(t *testing.T) {
	ours := regexp.MustCompile(`(?m)^  "caution\.[^\n]*\n`)
	after := regexp.MustCompile(`(?m)^  "head\.cautions".*\n`)
	text, err := os.ReadFile(catalogue(t))
	require.NoError(t, err)
	bare := ours.ReplaceAllString(string(text), "")
	require.Regexp(t, after, bare)
	kept(t, catalogue(t), after.ReplaceAllStringFunc(bare, func(l string) string { return l + cautionTexts() }))
	require.True(t, json.Valid([]byte(bare)))
}
