// Package cautions is the one source of every caution: the guide, the pages, the verbs and the printed sheets take
// their words from here, so that none of them says less than another. It is pure data.
//
// Each is one or two plain sentences for a person who works wood, names who decides, and carries its source or the
// words "common practice". Secondary copies are marked; standards behind a paywall were not read in the original.
package cautions

import (
	"slices"
	"strings"
)

// Place is where a person meets a caution: "readme", "page", "verb/NAME" or "sheet/NAME".
type Place string

// The places that are not a verb or a sheet of their own.
const (
	Readme Place = "readme"
	Page   Place = "page"
)

// Verb is the help of a verb.
func Verb(name string) Place { return Place("verb/" + name) }

// Sheet is a document beside the program, by its name without ending.
func Sheet(name string) Place { return Place("sheet/" + name) }

// Caution is one thing that a person must know before a part of the shop hurts somebody.
type Caution struct {
	Key     string // a word for catalogues and markers
	Title   string
	Text    string // one or two sentences
	Brief   string // for a line on a page; empty: it has none
	Decides string // who decides, in the middle of a sentence
	Source  string // a published source, or "common practice"
	Met     []Place
}

// Of finds a caution by its key.
func Of(key string) (Caution, bool) {
	i := slices.IndexFunc(List, func(c Caution) bool { return c.Key == key })
	if i < 0 {
		return Caution{}, false
	}
	return List[i], true
}

// At lists what is met at a place, in the order of the list. The guide and the pages meet everything.
func At(p Place) []Caution {
	if p == Readme || p == Page {
		return List
	}
	var out []Caution
	for _, c := range List {
		if slices.Contains(c.Met, p) {
			out = append(out, c)
		}
	}
	return out
}

// Places lists every verb and sheet that some caution names, sorted.
func Places() []Place {
	var out []Place
	for _, c := range List {
		out = append(out, c.Met...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Markdown is the list of a place for a document.
func Markdown(p Place) string {
	var b strings.Builder
	for _, c := range At(p) {
		b.WriteString("- **" + c.Title + "** " + c.Text + " *Decides: " + c.Decides + ". Source: " + c.Source + ".*\n")
	}
	return b.String()
}

// Help is the list of a place for a verb's help, one caution a paragraph; empty where nothing is met.
func Help(p Place) string {
	var lines []string
	for _, c := range At(p) {
		lines = append(lines, wrap(c.Title+" "+c.Text, 110))
	}
	return strings.Join(lines, "\n")
}

// wrap breaks a text at spaces so that no line is longer than width characters.
func wrap(text string, width int) string {
	var b strings.Builder
	used := 0
	for _, word := range strings.Fields(text) {
		n := len([]rune(word))
		switch {
		case used == 0:
		case used+1+n > width:
			b.WriteString("\n  ")
			used = 2
		default:
			b.WriteByte(' ')
			used++
		}
		b.WriteString(word)
		used += n
	}
	return b.String()
}
