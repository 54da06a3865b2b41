package main

import (
	"fmt"
	"time"

	"ductwarden/config"
	"ductwarden/controller/journal"
)

// upkeepDue says in sentences what is due by the shop file's upkeep: reminders, no alarms.
func upkeepDue(file *config.Shop, b *journal.Book, now time.Time) (out []string, err error) {
	u := file.Upkeep
	for _, c := range file.Collectors {
		for _, x := range []struct {
			after time.Duration
			what  string
			marks []string
		}{
			{u.Bin, "bin", []string{"bin_emptied"}},
			{u.Filter, "filter", []string{"filter_cleaned", "filter_replaced"}},
		} {
			if x.after == 0 {
				continue
			}
			s, err := b.Since(c.ID, x.marks...)
			if err != nil {
				return nil, err
			}
			if s.Ran < x.after {
				continue
			}
			last := "since the journal began"
			if !s.At.IsZero() {
				last = "since " + s.At.Format(time.DateOnly)
			}
			out = append(out, fmt.Sprintf("Look at the %s of %s: it has run %d h %s.", x.what, c.Name, int(s.Ran.Hours()), last))
		}
	}
	if u.Record == 0 {
		return out, nil
	}
	tests, err := b.Tests()
	switch {
	case err != nil:
		return nil, err
	case len(tests) == 0:
		out = append(out, "Air readings are due: none are on record yet (`ductwarden record`).")
	case tests[0].NextDue != "" && tests[0].NextDue <= now.Format(time.DateOnly):
		out = append(out, fmt.Sprintf("Air readings are due since %s: the last are of %s.", tests[0].NextDue, tests[0].Taken.Format(time.DateOnly)))
	}
	return out, nil
}
