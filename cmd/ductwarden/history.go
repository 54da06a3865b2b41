package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"ductwarden/controller/journal"
)

// historyVerb shows hours, starts, moves and faults of a span of days.
func historyVerb() *cobra.Command {
	var from, to string
	var days, faults int
	var asJSON, asCSV bool
	c := &cobra.Command{
		Use:   "history JOURNAL",
		Short: "Show hours, starts, gate moves and the last faults",
		Long: "Reads the journal, also while the daemon runs, and sums hours of running and lingering, machine starts,\n" +
			"collector starts and gate moves over any span; then currents, pressures and air speeds, the last faults, newest\n" +
			"first, what people did, and how long each collector has run since. Sums are kept by the hour, readings by the\n" +
			"quarter of an hour.",
		Example: "  ductwarden history /var/lib/ductwarden/journal.db --days 30\n  ductwarden history journal.db --from 2026-03-01 --to 2026-03-31 --csv >march.csv",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if asJSON && asCSV {
				return usageError{fmt.Errorf("--json and --csv exclude each other: choose one")}
			}
			until := time.Now()
			var since time.Time
			var err error
			if to != "" {
				if until, err = moment(to, true); err != nil {
					return usageError{fmt.Errorf("--to %w", err)}
				}
			}
			if from != "" {
				if since, err = moment(from, false); err != nil {
					return usageError{fmt.Errorf("--from %w", err)}
				}
			} else {
				since = until.AddDate(0, 0, -max(0, days-1))
				since = time.Date(since.Year(), since.Month(), since.Day(), 0, 0, 0, 0, since.Location())
			}
			if until.Before(since) {
				return usageError{fmt.Errorf("the span ends before it begins")}
			}
			h, err := readHistory(args[0], since, until, faults)
			if err != nil {
				return err
			}
			switch {
			case asJSON:
				e := json.NewEncoder(c.OutOrStdout())
				e.SetIndent("", "  ")
				return e.Encode(h)
			case asCSV:
				return h.csv(c.OutOrStdout())
			}
			return h.table(c.OutOrStdout())
		},
	}
	f := c.Flags()
	f.IntVar(&days, "days", 7, "days up to and with today")
	f.StringVar(&from, "from", "", "first day or hour, like 2026-03-01 or 2026-03-01T14")
	f.StringVar(&to, "to", "", "last day or hour, like 2026-03-31 or 2026-03-31T17")
	f.IntVar(&faults, "faults", 10, "how many of the last faults")
	f.BoolVar(&asJSON, "json", false, "as JSON")
	f.BoolVar(&asCSV, "csv", false, "sums, readings, faults and what people did as CSV")
	return c
}

func day(s string) (time.Time, error) {
	t, err := time.ParseInLocation("2006-01-02", s, time.Local)
	if err != nil {
		return t, fmt.Errorf("%q is not a day; write it like 2026-03-01", s)
	}
	return t, nil
}

// moment reads a day or an hour; last is its last millisecond.
func moment(s string, last bool) (time.Time, error) {
	length := time.Hour
	t, err := time.ParseInLocation("2006-01-02T15", s, time.Local)
	if err != nil {
		if t, err = day(s); err != nil {
			return t, fmt.Errorf("%q is no day and no hour; write it like 2026-03-01 or 2026-03-01T14", s)
		}
		length = 24 * time.Hour
	}
	if last {
		t = t.Add(length - time.Millisecond)
	}
	return t, nil
}

// history is what the verb reports.
type history struct {
	From   string               `json:"from"`
	To     string               `json:"to"`
	Sums   []journal.Tally      `json:"sums"`
	Read   []journal.ReadingSum `json:"readings"`
	Since  []sinceDone          `json:"since"`
	Faults []journal.Happened   `json:"faults"`
	Marks  []journal.Marked     `json:"marks"`
	Gaps   []journal.Gap        `json:"gaps"`
}

func readHistory(path string, since, until time.Time, faults int) (h history, err error) {
	b, err := journal.Read(path)
	if err != nil {
		return h, err
	}
	defer b.Close()
	h.From, h.To = spanEnd(since, since.Hour() == 0), spanEnd(until, until.Hour() == 23)
	if h.Sums, err = b.Tallies(since, until); err != nil {
		return h, err
	}
	if h.Read, err = b.ReadingSums(since, until); err != nil {
		return h, err
	}
	if h.Since, err = sinceAll(b); err != nil {
		return h, err
	}
	if h.Faults, err = b.Changes("alarm", since, until, faults); err != nil {
		return h, err
	}
	if h.Marks, err = b.Marks(since, until); err != nil {
		return h, err
	}
	h.Gaps, err = b.Gaps()
	return h, err
}

// sumWords say what a tally counts, and whether it is seconds.
var sumWords = map[string]struct {
	words   string
	seconds bool
}{
	journal.MachineSeconds:   {"ran", true},
	journal.MachineStarts:    {"starts", false},
	journal.MachineUnserved:  {"ran without its air", true},
	journal.GateMoves:        {"gate moves", false},
	journal.CollectorStarts:  {"collector starts", false},
	journal.CollectorSeconds: {"collector ran", true},
	journal.LingerSeconds:    {"of it lingering", true},
	journal.AlarmsRaised:     {"alarm raised", false},
}

// spanEnd writes an end of a span: the day alone where it is whole.
func spanEnd(t time.Time, whole bool) string {
	if whole {
		return t.Format("2006-01-02")
	}
	return t.Format("2006-01-02T15")
}

// sinceDone is how long a collector has run since a person last saw to its bin or its filter.
type sinceDone struct {
	Collector string    `json:"collector"`
	What      string    `json:"what"` // "with this bin", "with this filter"
	At        time.Time `json:"done,omitzero"`
	Seconds   int64     `json:"ran_s"`
}

// sinceAll asks for every collector that the journal knows.
func sinceAll(b *journal.Book) (out []sinceDone, err error) {
	ids, err := b.Collectors()
	if err != nil {
		return nil, err
	}
	for _, id := range ids {
		for _, x := range []struct {
			what  string
			marks []string
		}{{"with this bin", []string{"bin_emptied"}}, {"with this filter, not cleaned", []string{"filter_cleaned", "filter_replaced"}}} {
			s, err := b.Since(id, x.marks...)
			if err != nil {
				return nil, err
			}
			out = append(out, sinceDone{id, x.what, s.At, int64(s.Ran / time.Second)})
		}
	}
	return out, nil
}

// readWords say what a reading is.
var readWords = map[string]struct {
	words, unit string
	digits      int
}{
	"suction_pa":   {"suction", "Pa", 0},
	"flow_m3_s":    {"flow", "m3/s", 3},
	"current_a":    {"current", "A", 1},
	"velocity_m_s": {"air speed by the model", "m/s", 1},
	"stroke_s":     {"stroke", "s", 2},
}

func (h history) table(w io.Writer) error {
	fmt.Fprintf(w, "%s to %s\n\n", h.From, h.To)
	if len(h.Sums) == 0 {
		fmt.Fprintln(w, "Nothing was recorded in these days.")
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, s := range h.Sums {
		k := sumWords[s.What]
		value := strconv.FormatInt(s.Value, 10)
		if k.seconds {
			value = fmt.Sprintf("%d:%02d h", s.Value/3600, s.Value/60%60)
		}
		fmt.Fprintf(t, "%s\t%s\t%s\n", s.Name, k.words, value)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if len(h.Read) > 0 {
		fmt.Fprintln(w, "\nReadings, mean (least to most):")
		for _, r := range h.Read {
			k := readWords[r.What]
			fmt.Fprintf(t, "  %s\t%s\t%.*f (%.*f to %.*f) %s\n", r.Subject, k.words, k.digits, r.Mean, k.digits, r.Least, k.digits, r.Most, k.unit)
		}
		if err := t.Flush(); err != nil {
			return err
		}
	}
	if len(h.Since) > 0 {
		fmt.Fprintln(w, "\nCollectors have run:")
		for _, s := range h.Since {
			last := "since the journal began"
			if !s.At.IsZero() {
				last = "since it was done last, " + s.At.Format("2006-01-02")
			}
			fmt.Fprintf(t, "  %s\t%s\t%d:%02d h %s\n", s.Collector, s.What, s.Seconds/3600, s.Seconds/60%60, last)
		}
		if err := t.Flush(); err != nil {
			return err
		}
	}
	if len(h.Faults) > 0 {
		fmt.Fprintln(w, "\nLast faults, newest first:")
		for _, f := range h.Faults {
			fmt.Fprintf(w, "  %s  %s: %s\n", f.Wall.Format("2006-01-02 15:04:05"), f.Now, f.Name)
		}
	}
	if len(h.Marks) > 0 {
		fmt.Fprintln(w, "\nDone by people:")
		for _, m := range h.Marks {
			fmt.Fprintf(w, "  %s  %s %s (%s) %s\n", m.Wall.Format("2006-01-02 15:04"), strings.ReplaceAll(m.What, "_", " "), m.Subject, m.Who, m.Note)
		}
	}
	for _, g := range h.Gaps {
		fmt.Fprintf(w, "\nNot recorded: events %d to %d of run %d, %s (%s)\n", g.From, g.To, g.Run, g.Wall.Format("2006-01-02 15:04:05"), g.Why)
	}
	return nil
}

func (h history) csv(w io.Writer) error {
	c := csv.NewWriter(w)
	c.Write([]string{"from", "to", "what", "subject", "name", "value", "least", "most"})
	for _, s := range h.Sums {
		c.Write([]string{h.From, h.To, s.What, s.Subject, s.Name, strconv.FormatInt(s.Value, 10), "", ""})
	}
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
	for _, r := range h.Read {
		c.Write([]string{h.From, h.To, r.What, r.Subject, "", number(r.Mean), number(r.Least), number(r.Most)})
	}
	for _, f := range h.Faults {
		at := f.Wall.Format(time.RFC3339)
		c.Write([]string{at, at, "alarm_" + f.Now, f.Subject, f.Name, "", "", ""})
	}
	for _, m := range h.Marks {
		at := m.Wall.Format(time.RFC3339)
		c.Write([]string{at, at, m.What, m.Subject, m.Note, "", "", ""})
	}
	c.Flush()
	return c.Error()
}
