package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"text/tabwriter"

	"ductwarden/controller/airflow"
)

// sourceRow is one figure with its source, for --sources --json.
type sourceRow struct {
	Collector string  `json:"collector,omitempty"`
	About     string  `json:"about"`
	Kind      string  `json:"kind,omitempty"`
	Value     *figure `json:"value,omitempty"`
	Unit      string  `json:"unit,omitempty"`
	Uses      int     `json:"uses,omitempty"`
	Source    string  `json:"source"`
	Read      string  `json:"read"`
	Spread    *figure `json:"spread,omitempty"`
	Why       string  `json:"spread_from,omitempty"`
}

// writeSources shows every figure that the air was judged with, and where it comes from.
func (s *surveyed) writeSources(w io.Writer, asJSON bool) error {
	if asJSON {
		rows := []sourceRow{}
		for _, t := range s.trees {
			for _, x := range t.model.Sources() {
				row := sourceRow{Collector: s.which(t), About: x.About, Kind: x.Kind, Unit: x.Unit, Uses: x.Uses, Source: x.From, Read: x.Mark.String(), Why: x.Why}
				if x.Value != 0 {
					v := figure(x.Value)
					row.Value = &v
				}
				if x.Spread != 0 {
					v := figure(x.Spread)
					row.Spread = &v
				}
				rows = append(rows, row)
			}
		}
		e := json.NewEncoder(w)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		return e.Encode(map[string]any{"sources": rows})
	}
	if len(s.trees) == 0 {
		return s.writeNotJudged(w)
	}
	fmt.Fprintf(w, "%s: the figures that its air is judged with. Spread: nineteen of twenty draws lie within that factor.\n\n", s.file.Name)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "what\tkind\tvalue\tuses\tspread\tsource")
	for _, tree := range s.trees {
		for _, x := range tree.model.Sources() {
			fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s (%s)%s\n", x.About, x.Kind, value(x), uses(x.Uses), spread(x), x.From, x.Mark, because(x))
		}
	}
	return t.Flush()
}

func value(x airflow.Source) string {
	if x.Value == 0 && x.Unit == "" {
		return ""
	}
	v := strconv.FormatFloat(x.Value, 'g', 4, 64)
	if x.Unit != "" {
		v += " " + x.Unit
	}
	return v
}

func uses(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

func spread(x airflow.Source) string {
	if x.Spread == 0 {
		return ""
	}
	return "x " + strconv.FormatFloat(x.Spread, 'g', 3, 64)
}

func because(x airflow.Source) string {
	if x.Why == "" {
		return ""
	}
	return "; spread: " + x.Why
}
