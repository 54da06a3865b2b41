package main

import (
	"cmp"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"ductwarden/config"
	"ductwarden/controller/airflow/advice"
)

// surveyTwo shows what a new shop file changes, demand by demand.
func surveyTwo(before, after string, o surveyOptions, w io.Writer) error {
	var shops [2]*surveyed
	var advisors [2][]*advice.Advisor
	for k, path := range []string{before, after} {
		file, err := config.Load(path)
		if err != nil {
			return err
		}
		if shops[k], err = newSurvey(file); err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
		for _, t := range shops[k].trees {
			o.progress.say("judging the demands of %s", path)
			a, err := t.advisor(shops[k])
			if err != nil {
				return err
			}
			advisors[k] = append(advisors[k], a)
		}
	}
	o.progress.done()
	rows := advice.Compare(advisors[0], advisors[1])
	differ := shopsDiffer(shops[0], shops[1])
	s := shops[1]
	if o.asJSON {
		e := json.NewEncoder(w)
		e.SetEscapeHTML(false)
		if err := e.Encode(struct {
			Before      string              `json:"before"`
			After       string              `json:"after"`
			Differences []advice.Difference `json:"differences"`
			Demands     []advice.Compared   `json:"demands"`
		}{before, after, differ, rows}); err != nil {
			return err
		}
	} else if err := s.writeTwo(w, shops[0], differ, rows); err != nil {
		return err
	}
	for _, r := range rows {
		if r.After != nil && r.Asked && !r.After.Carries {
			return errNo
		}
	}
	return nil
}

// shopsDiffer lists what differs between the collectors of two shops, by their names; a collector that only one of
// them has differs as a whole.
func shopsDiffer(was, is *surveyed) []advice.Difference {
	out := []advice.Difference{}
	named := func(s *surveyed, name string, alone bool) *airTree {
		for _, t := range s.trees {
			if alone || t.model.Network().Name == name {
				return t
			}
		}
		return nil
	}
	one := len(was.trees) == 1 && len(is.trees) == 1 // then a new name is no new collector
	for _, t := range is.trees {
		n := t.model.Network()
		if o := named(was, n.Name, one); o != nil {
			out = append(out, advice.Differences(o.model.Network(), n)...)
		} else {
			out = append(out, advice.Difference{Of: "collector", Name: n.Name, Field: "new"})
		}
	}
	for _, t := range was.trees {
		if n := t.model.Network(); named(is, n.Name, one) == nil {
			out = append(out, advice.Difference{Of: "collector", Name: n.Name, Field: "gone"})
		}
	}
	return out
}

// changeWords are the changes as a person reads them, the worst first.
var changeWords = []struct {
	is   advice.Verdict
	word string
}{
	{advice.Spoilt, "SPOILT"}, {advice.Worse, "worse"}, {advice.Gone, "gone"}, {advice.Added, "new"}, {advice.Mended, "mended"}, {advice.Better, "better"}, {advice.Unmoved, "same"},
}

func (s *surveyed) writeTwo(w io.Writer, was *surveyed, differ []advice.Difference, rows []advice.Compared) error {
	if len(s.trees) == 0 && len(was.trees) == 0 {
		return s.writeNotJudged(w)
	}
	fmt.Fprintf(w, "%s, old and new\n", s.file.Name)
	for _, x := range []*surveyed{was, s} {
		if len(x.trees) == 0 {
			fmt.Fprintf(w, "The air of %s is not judged.\n", map[bool]string{true: "the old file", false: "the new file"}[x == was])
		}
	}
	fmt.Fprintf(w, "\nWhat differs in the air:\n")
	if len(differ) == 0 {
		fmt.Fprintf(w, "  nothing\n")
	}
	for _, d := range differ {
		fmt.Fprintf(w, "  %s\n", s.difference(d))
	}
	rank := func(v advice.Verdict) int {
		return slices.IndexFunc(changeWords, func(c struct {
			is   advice.Verdict
			word string
		}) bool {
			return c.is == v
		})
	}
	rows = slices.Clone(rows)
	slices.SortStableFunc(rows, func(a, b advice.Compared) int {
		return cmp.Or(-cmp.Compare(fewer(a.Asked), fewer(b.Asked)), cmp.Compare(rank(a.Change), rank(b.Change)))
	})
	count := map[advice.Verdict]int{}
	for _, r := range rows {
		count[r.Change]++
	}
	var tally []string
	for _, c := range changeWords {
		if n := count[c.is]; n > 0 {
			tally = append(tally, fmt.Sprintf("%d %s", n, strings.ToLower(c.word)))
		}
	}
	for k, part := range []string{"Demands: each machine alone, and what must run together; filter loaded, gates moved by hand shut.", "Other sets that could run at once:"} {
		var mine []advice.Compared
		same := 0
		for _, r := range rows {
			switch {
			case r.Asked != (k == 0):
			case k == 1 && r.Change == advice.Unmoved:
				same++
			default:
				mine = append(mine, r)
			}
		}
		if len(mine)+same == 0 {
			continue
		}
		fmt.Fprintf(w, "\n%s\n\n", part)
		if err := s.twoTable(w, rank, mine); err != nil {
			return err
		}
		if same > 0 {
			fmt.Fprintf(w, "and %d that stay as they were\n", same)
		}
	}
	_, err := fmt.Fprintf(w, "\nTogether: %s.\n", strings.Join(tally, ", "))
	return err
}

// fewer is 1 for true, so that what was asked comes first.
func fewer(b bool) int {
	if b {
		return 1
	}
	return 0
}

func (s *surveyed) twoTable(w io.Writer, rank func(advice.Verdict) int, rows []advice.Compared) error {
	if len(rows) == 0 {
		return nil
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "machines\tchange\told: air\tmargin\tair got\told gates\tnew: air\tmargin\tair got\tnew gates\tslowest duct, new")
	for _, r := range rows {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", strings.Join(r.Machines, " + "), changeWords[rank(r.Change)].word, outcomeCells(r.Before), outcomeCells(r.After), s.slowestOf(r.After))
	}
	return t.Flush()
}

func outcomeCells(o *advice.Outcome) string {
	if o == nil {
		return "-\t-\t-\t-"
	}
	return strings.Join([]string{o.Transport, percentOf(o.Margin, true), percentOf(o.Share, false), strings.Join(o.Open, ", ")}, "\t")
}

func (s *surveyed) slowestOf(o *advice.Outcome) string {
	if o == nil || o.Weakest == "" {
		return "-"
	}
	return fmt.Sprintf("%s, %s of %s", o.Weakest, s.speed(o.Speed), s.speed(o.Asked))
}

func percentOf(f *float64, signed bool) string {
	switch {
	case f == nil:
		return "-"
	case signed:
		return fmt.Sprintf("%+.1f %%", *f*100)
	}
	return fmt.Sprintf("%.0f %%", *f*100)
}

// difference says what differs in a line.
func (s *surveyed) difference(d advice.Difference) string {
	what := strings.TrimSpace(d.Of + " " + d.Name)
	switch d.Field {
	case "new":
		if d.Is.Kind == "length" || d.Is.Kind == "flow" && d.Is.Value > 0 {
			return fmt.Sprintf("%s: new, %s", what, s.figure(d.Is))
		}
		return what + ": new"
	case "gone":
		return what + ": gone"
	case "curve", "loss":
		return fmt.Sprintf("%s: another %s", what, d.Field)
	}
	return fmt.Sprintf("%s: %s %s, was %s", what, d.Field, s.figure(d.Is), s.figure(d.Was))
}

func (s *surveyed) figure(f advice.Figure) string {
	in := func(k config.Kind) string { return config.FormatQuantity(k, f.Value, s.file.Units) }
	switch f.Kind {
	case "length":
		return in(config.Length)
	case "flow":
		return in(config.Flow)
	case "speed":
		return in(config.Speed)
	case "density":
		return in(config.Density)
	}
	return orWord(strings.ReplaceAll(f.Text, "_", " "), "none")
}
