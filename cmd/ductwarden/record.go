package main

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller/airflow"
	"ductwarden/controller/airflow/fit"
	"ductwarden/controller/journal"
)

// recordFlags are what a person tells beside the readings.
type recordFlags struct {
	book                             string
	instrument, calibrated, initials string
	next, note                       string
	commissioning, loaded            bool
	test                             int64
	asJSON, asCSV, asPage            bool
}

// recordVerb keeps dated tests to show others.
func recordVerb() *cobra.Command {
	var f recordFlags
	c := &cobra.Command{
		Use:   "record SHOP [READINGS]",
		Short: "Keep a dated test of measured points, and print it to show others",
		Long: "With READINGS, writes a dated test into the shop's journal: what was read at which ports and ducts, with which\n" +
			"instrument, calibrated when, by whom; beside each point what was read there at commissioning and what the airflow\n" +
			"model says. A test is added and never changed: a wrong one is followed by a right one with a note. READINGS is\n" +
			"the sheet that `fit` reads (open,place,quantity,value).\n\n" +
			"Without READINGS, shows the tests: as a table, --csv, --json, or --page for one printable page. A record says\n" +
			"what was measured; whether that satisfies a rule is for those to say who ask for it.",
		Example: "  ductwarden record shop.yaml readings.csv --instrument \"hot wire, no. 7\" --calibrated 2026-01-10 --initials RB --commissioning\n" +
			"  ductwarden record shop.yaml --test 3 --page >test-3.html",
		Args: cobra.RangeArgs(1, 2),
		RunE: func(c *cobra.Command, args []string) error {
			file, err := config.Load(args[0])
			if err != nil {
				return err
			}
			path := f.book
			if path == "" {
				path = file.Journal.Path
			}
			if path == "" {
				return errors.New("the shop file names no journal in which a test could be kept: add journal: {path: ...}, or give --journal")
			}
			if len(args) == 2 {
				return f.keep(c.OutOrStdout(), file, path, args[1], time.Now())
			}
			return f.show(c.OutOrStdout(), file, path)
		},
	}
	l := c.Flags()
	l.StringVar(&f.book, "journal", "", "the journal (default: the shop file's)")
	l.StringVar(&f.instrument, "instrument", "", "what was measured with")
	l.StringVar(&f.calibrated, "calibrated", "", "day of its calibration, like 2026-01-10")
	l.StringVar(&f.initials, "initials", "", "who measured")
	l.StringVar(&f.next, "next", "", "day by which to measure again (default: by upkeep.record of the shop file)")
	l.StringVar(&f.note, "note", "", "anything worth keeping")
	l.BoolVar(&f.commissioning, "commissioning", false, "later tests are held against this one")
	l.BoolVar(&f.loaded, "loaded", false, "the filter was loaded (default: clean)")
	l.Int64Var(&f.test, "test", 0, "show only the test of this number")
	l.BoolVar(&f.asJSON, "json", false, "as JSON")
	l.BoolVar(&f.asCSV, "csv", false, "as CSV, a row a point")
	l.BoolVar(&f.asPage, "page", false, "as a page to print, HTML")
	c.MarkFlagsMutuallyExclusive("json", "csv", "page")
	return c
}

// keep writes a test.
func (f *recordFlags) keep(w io.Writer, file *config.Shop, path, sheet string, now time.Time) error {
	for _, need := range [][2]string{{"--instrument", f.instrument}, {"--calibrated", f.calibrated}, {"--initials", f.initials}} {
		if need[1] == "" {
			return usageError{fmt.Errorf("a test needs %s: readings that nobody can trace back show nothing", need[0])}
		}
	}
	if c, err := day(f.calibrated); err != nil || c.After(now) {
		return usageError{fmt.Errorf("--calibrated %q is not a day in the past; write it like 2026-01-10", f.calibrated)}
	}
	t := &journal.Test{Taken: now, Instrument: f.instrument, Calibrated: f.calibrated, Initials: f.initials, NextDue: f.next, Note: f.note, Commissioning: f.commissioning}
	switch d, err := day(f.next); {
	case f.next == "" && file.Upkeep.Record > 0:
		t.NextDue = now.Add(file.Upkeep.Record).Format(time.DateOnly)
	case f.next != "" && (err != nil || d.Before(now)):
		return usageError{fmt.Errorf("--next %q is not a day to come; write it like 2027-01-10", f.next)}
	}
	var err error
	if t.Points, err = f.points(file, sheet); err != nil {
		return err
	}
	if err := journal.AddTest(path, t); err != nil {
		return err
	}
	fmt.Fprintf(w, "test %d is kept, %d points", t.Number, len(t.Points))
	if t.NextDue != "" {
		fmt.Fprintf(w, "; the next is due on %s", t.NextDue)
	}
	fmt.Fprintln(w)
	return nil
}

// points reads the sheet and puts the model's figure beside each reading.
func (f *recordFlags) points(file *config.Shop, path string) ([]journal.Point, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("%w; check the name and the folder", err)
	}
	sheets, err := readSheet(path, bytes.NewReader(text), file)
	if err != nil {
		return nil, err
	}
	written, err := sheetLines(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	_, models, err := compile(file)
	if err != nil {
		return nil, err
	}
	state := airflow.Clean
	if f.loaded {
		state = airflow.Loaded
	}
	units := map[fit.Quantity]string{fit.Speed: "m/s", fit.Flow: "m3/s", fit.Static: "Pa"}
	var out []journal.Point
	for c, t := range file.Trees() {
		for _, r := range sheets[t.Network.Name] {
			row := written[r.Where]
			p := journal.Point{Place: row[1], Quantity: r.Quantity.String(), Reading: row[3], Value: r.Value, Unit: units[r.Quantity], Open: row[0]}
			if models[c] != nil {
				v := fit.Predict(airflow.NewSolver(models[c]), r, state)
				p.Model = &v
			}
			out = append(out, p)
		}
	}
	return out, nil
}

// sheetLines gives the fields of each line of a sheet, by "line N"; open gates are put in order.
func sheetLines(text []byte) (map[string][]string, error) {
	rows := csv.NewReader(bytes.NewReader(text))
	rows.TrimLeadingSpace, rows.Comment = true, '#'
	out := map[string][]string{}
	for {
		row, err := rows.Read()
		if err == io.EOF {
			return out, nil
		}
		if err != nil {
			return nil, err
		}
		line, _ := rows.FieldPos(0)
		var open []string
		for name := range strings.SplitSeq(row[0], "+") {
			if name = strings.TrimSpace(name); name != "" {
				open = append(open, name)
			}
		}
		slices.Sort(open)
		row[0] = strings.Join(open, "+")
		for i := range row {
			row[i] = strings.TrimSpace(row[i])
		}
		out[fmt.Sprintf("line %d", line)] = row
	}
}

// show prints what is kept.
func (f *recordFlags) show(w io.Writer, file *config.Shop, path string) error {
	b, err := journal.Read(path)
	if err != nil {
		return err
	}
	defer b.Close()
	tests, err := b.Tests()
	if err != nil {
		return err
	}
	if f.test != 0 {
		tests = slices.DeleteFunc(tests, func(t journal.Test) bool { return t.Number != f.test })
		if len(tests) == 0 {
			return fmt.Errorf("the journal has no test %d", f.test)
		}
	}
	switch {
	case f.asJSON:
		if tests == nil {
			tests = []journal.Test{}
		}
		e := json.NewEncoder(w)
		e.SetIndent("", "  ")
		return e.Encode(tests)
	case f.asCSV:
		return recordCSV(w, tests)
	case f.asPage:
		return recordPage(w, file, tests)
	}
	return recordTable(w, file, tests)
}

func recordCSV(w io.Writer, tests []journal.Test) error {
	c := csv.NewWriter(w)
	c.Write([]string{"test", "taken", "commissioning", "place", "quantity", "open", "reading", "value", "unit", "commissioned", "model", "instrument", "calibrated", "initials", "next_due", "note"})
	figure := func(v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'g', 6, 64)
	}
	for _, t := range tests {
		for _, p := range t.Points {
			c.Write([]string{strconv.FormatInt(t.Number, 10), t.Taken.Format(time.RFC3339), strconv.FormatBool(t.Commissioning), p.Place, p.Quantity, p.Open, p.Reading,
				figure(&p.Value), p.Unit, figure(p.Commissioned), figure(p.Model), t.Instrument, t.Calibrated, t.Initials, t.NextDue, t.Note})
		}
	}
	c.Flush()
	return c.Error()
}

// pointShown is a point in the shop's units.
type pointShown struct {
	Place, Quantity, Open, Reading string
	Commissioned, OffCommissioned  string
	Model, OffModel                string
}

func shownPoint(p journal.Point, us bool) pointShown {
	figure := func(v *float64) (shown, off string) {
		if v == nil {
			return "", ""
		}
		switch p.Quantity {
		case "flow":
			shown = flowText(*v, us)
		case "pressure":
			shown = pressureText(*v, us)
		default:
			shown = speedText(*v, us)
		}
		if *v != 0 {
			off = fmt.Sprintf("%+.0f %%", 100*(p.Value / *v - 1))
		}
		return shown, off
	}
	s := pointShown{Place: strings.Replace(p.Place, "duct:", "duct ", 1), Quantity: p.Quantity, Open: strings.ReplaceAll(p.Open, "+", ", "), Reading: p.Reading}
	s.Commissioned, s.OffCommissioned = figure(p.Commissioned)
	s.Model, s.OffModel = figure(p.Model)
	return s
}

// takenFor says what a test was taken for.
func takenFor(t journal.Test) string {
	if t.Commissioning {
		return "commissioning"
	}
	return "test"
}

func recordTable(w io.Writer, file *config.Shop, tests []journal.Test) error {
	if len(tests) == 0 {
		fmt.Fprintln(w, "No test is kept yet.")
	}
	for i, t := range tests {
		if i > 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "%s %d, %s, by %s with %s, calibrated %s", takenFor(t), t.Number, t.Taken.Format("2006-01-02 15:04"), t.Initials, t.Instrument, t.Calibrated)
		if t.NextDue != "" {
			fmt.Fprintf(w, "; next due %s", t.NextDue)
		}
		fmt.Fprintln(w)
		if t.Note != "" {
			fmt.Fprintln(w, "  "+t.Note)
		}
		tab := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		fmt.Fprintln(tab, "  place\topen gates\tread\tat commissioning\t\tmodel\t")
		for _, p := range t.Points {
			s := shownPoint(p, isUS(file))
			fmt.Fprintf(tab, "  %s\t%s\t%s %s\t%s\t%s\t%s\t%s\n", s.Place, s.Open, s.Quantity, s.Reading, s.Commissioned, s.OffCommissioned, s.Model, s.OffModel)
		}
		if err := tab.Flush(); err != nil {
			return err
		}
	}
	return nil
}

//go:embed record.html
var recordSheet string

// recordPage writes a page for screen and paper, which needs nothing beside itself.
func recordPage(w io.Writer, file *config.Shop, tests []journal.Test) error {
	page, err := template.New("record").Funcs(template.FuncMap{
		"kind": takenFor, "point": func(p journal.Point) pointShown { return shownPoint(p, isUS(file)) },
		"day": func(t time.Time) string { return t.Format("2006-01-02 15:04") },
	}).Parse(recordSheet)
	if err != nil {
		return err
	}
	return page.Execute(w, struct {
		Shop  string
		Tests []journal.Test
	}{file.Name, tests})
}
