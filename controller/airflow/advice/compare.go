package advice

import (
	"fmt"
	"strings"

	"ductwarden/controller/airflow"
)

// Compared is one demand in an old and in a new shop.
type Compared struct {
	Machines []string `json:"machines"`
	Asked    bool     `json:"asked"` // in either shop
	Change   Verdict  `json:"change"`
	Before   *Outcome `json:"before"` // nil: the old shop has no such demand
	After    *Outcome `json:"after"`  // nil: the new one has none
}

// Verdict is what became of a demand.
type Verdict string

// What may become of a demand.
const (
	Added   Verdict = "new"
	Gone    Verdict = "gone"
	Spoilt  Verdict = "spoilt" // it carried, or crept, and does so no longer
	Mended  Verdict = "mended"
	Worse   Verdict = "worse" // same grade, less margin or less air
	Better  Verdict = "better"
	Unmoved Verdict = "same"
)

// hardly is how far a margin or a share may move without being told: half a percent of the transport speed or of
// the wanted air.
const hardly airflow.Ratio = 50

// Compare sets the demands of two shops side by side, by the names of their machines: first those of the new shop in
// their order, then those that are gone. Each shop has an advisor for each collector whose air is judged.
func Compare(before, after []*Advisor) []Compared {
	type entry struct {
		out   Outcome
		asked bool
		names []string
		met   bool
	}
	was := map[string]*entry{}
	var order []*entry
	for _, a := range before {
		for i, c := range a.crews {
			e := &entry{out: a.was[i], asked: c.Asked, names: a.shop.names(c.Machines)}
			was[key(e.names, was)] = e
			order = append(order, e)
		}
	}
	var out []Compared
	seen := map[string]*entry{}
	for _, a := range after {
		for i, c := range a.crews {
			names, is := a.shop.names(c.Machines), a.was[i]
			row := Compared{Machines: names, Asked: c.Asked, After: &is, Change: Added}
			k := key(names, seen)
			seen[k] = nil
			if e := was[k]; e != nil {
				e.met = true
				row.Before, row.Asked = &e.out, c.Asked || e.asked
				row.Change = change(e.out.verdict, is.verdict)
			}
			out = append(out, row)
		}
	}
	for _, e := range order {
		if !e.met {
			out = append(out, Compared{Machines: e.names, Asked: e.asked, Before: &e.out, Change: Gone})
		}
	}
	return out
}

// key names a set of machines whatever their order; a set that is on several collectors' ducts is counted.
func key[T any](names []string, known map[string]T) string {
	k := strings.Join(names, "\x00")
	for n := 1; ; n++ {
		numbered := fmt.Sprint(k, "\x00", n)
		if _, taken := known[numbered]; !taken {
			return numbered
		}
	}
}

func change(was, is airflow.Verdict) Verdict {
	switch {
	case is.Grade > was.Grade:
		return Spoilt
	case is.Grade < was.Grade:
		return Mended
	}
	margin, share := moved(was.Margin, is.Margin), moved(was.Share, is.Share)
	switch {
	case margin < 0 || margin == 0 && share < 0:
		return Worse
	case margin > 0 || share > 0:
		return Better
	}
	return Unmoved
}

// moved is the sign of a change that is worth telling.
func moved(was, is airflow.Ratio) int {
	switch {
	case was == airflow.NoRatio || is == airflow.NoRatio:
		return 0
	case is < was-hardly:
		return -1
	case is > was+hardly:
		return 1
	}
	return 0
}
