package report

import (
	_ "embed" // the page's own text and looks
	"fmt"
	"html/template"
	"io"
	"strings"
)

//go:embed page.html
var pageText string

// Style is the looks of a survey's pieces; every rule stands under the class airsheet.
//
//go:embed page.css
var Style string

var pages = template.Must(template.New("survey").Funcs(template.FuncMap{
	"join":  strings.Join,
	"whole": whole,
	"kind": func(k string) string {
		if w, ok := kindWords[k]; ok {
			return w
		}
		return k
	},
}).Parse(pageText))

// widest is up to how many machines the matrix has words in its cells.
const widest = 8

// whole is a percentage without its tenths and its sign of percent: "+13.1 %" is "+13".
func whole(percent string) string {
	n, _, _ := strings.Cut(percent, ".")
	return strings.TrimSuffix(n, " %")
}

// kindWords head the remedies.
var kindWords = map[string]string{
	"duct_size": "Duct size:", "relief_gate": "Relief gate:", "fan": "Fan:", "hose": "Hose:", "filter": "Filter:",
}

// Page writes a survey as one page that needs nothing else: no script, no picture, no style from elsewhere.
func Page(w io.Writer, s *Survey) error { return run(w, "page", s) }

// Body writes the same without the page around it, for a page that has its own head and brings Style along.
func Body(w io.Writer, s *Survey) error { return run(w, "body", s) }

func run(w io.Writer, name string, s *Survey) error {
	if err := pages.ExecuteTemplate(w, name, view(s)); err != nil {
		return fmt.Errorf("the page of the survey cannot be made: %w", err)
	}
	return nil
}

// sheet is what the templates see.
type sheet struct {
	Survey        *Survey
	Style         template.CSS
	Many, Compact bool // several collectors; a matrix too wide for words
	Verdict, Said string
	Fails         bool
	Drawn         []drawn
	Tables        []table
	Mend          []Demand
}

type drawn struct {
	Collector
	Tree, Fan template.HTML
	Fails     []Duct
}

type table struct {
	Title string
	Rows  []Demand
	Theft bool
	More  int // rows left out
}

// mostOthers is how many sets that nobody asked for a page has room for.
const mostOthers = 32

func view(s *Survey) sheet {
	v := sheet{Survey: s, Style: template.CSS(Style), Many: len(s.Collectors) > 1, Compact: len(s.Matrix.Machines) > widest}
	v.Verdict, v.Said, v.Fails = s.answer()
	for _, c := range s.Collectors {
		d := drawn{Collector: c, Tree: template.HTML(c.Drawing()), Fan: template.HTML(c.Chart())}
		for _, u := range c.Ducts {
			if len(u.Fails) > 0 {
				d.Fails = append(d.Fails, u)
			}
		}
		v.Drawn = append(v.Drawn, d)
	}
	for _, t := range []table{{Title: "What must carry: each machine alone, and what must run together", Rows: s.Demands}, {Title: "Further sets that could run at once, best first", Rows: s.Others[:min(len(s.Others), mostOthers)], More: max(0, len(s.Others)-mostOthers)}} {
		for _, d := range t.Rows {
			t.Theft = t.Theft || d.Theft != ""
			if len(d.Remedies) > 0 || d.None != "" {
				v.Mend = append(v.Mend, d)
			}
		}
		v.Tables = append(v.Tables, t)
	}
	return v
}

// answer is the survey in a word and a sentence.
func (s *Survey) answer() (word, said string, fails bool) {
	if len(s.Collectors) == 0 {
		return "Not judged.", "The file has no ducts or no fan.", false
	}
	var bad []string
	for _, d := range s.Demands {
		if d.Grade != Carries {
			bad = append(bad, strings.Join(d.Machines, " + "))
		}
	}
	if len(bad) > 0 {
		return "No.", fmt.Sprintf("%d of %d that must carry do not, filter loaded: %s.", len(bad), len(s.Demands), strings.Join(bad, "; ")), true
	}
	return "Yes.", fmt.Sprintf("All %d that must carry do, filter loaded.", len(s.Demands)), false
}
