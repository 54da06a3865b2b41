package main

import (
	"time"

	"ductwarden/controller/journal"
	"ductwarden/controller/panel/api"
)

// bookHistory reads the journal for the page, on a connection of its own, while the daemon writes.
type bookHistory struct{ path string }

func (h bookHistory) read(f func(*journal.Book) error) error {
	b, err := journal.Read(h.path)
	if err != nil {
		return err
	}
	defer b.Close()
	return f(b)
}

// Days implements api.History.
func (h bookHistory) Days(from, to time.Time) (out []api.DaySum, err error) {
	return out, h.read(func(b *journal.Book) error {
		days, err := b.Days(from, to)
		for _, d := range days {
			out = append(out, api.DaySum{Day: d.Day, What: d.What, Subject: d.Subject, Name: d.Name, Value: d.Value})
		}
		return err
	})
}

// Changes implements api.History.
func (h bookHistory) Changes(what string, from, to time.Time, most int) (out []api.Happened, err error) {
	return out, h.read(func(b *journal.Book) error {
		all, err := b.Changes(what, from, to, most)
		for _, c := range all {
			out = append(out, api.Happened{At: c.Wall, What: c.What, Subject: c.Subject, Name: c.Name, Was: c.Was, Now: c.Now})
		}
		return err
	})
}

// Marks implements api.History.
func (h bookHistory) Marks(from, to time.Time) (out []api.Marked, err error) {
	return out, h.read(func(b *journal.Book) error {
		all, err := b.Marks(from, to)
		for _, m := range all {
			out = append(out, api.Marked{At: m.Wall, What: m.What, Subject: m.Subject, Who: m.Who, Note: m.Note})
		}
		return err
	})
}

// Readings implements api.History.
func (h bookHistory) Readings(what, subject string, from, to time.Time) (out []api.Reading, err error) {
	return out, h.read(func(b *journal.Book) error {
		all, err := b.Readings(what, subject, from, to)
		for _, r := range all {
			out = append(out, api.Reading{At: r.Wall, What: r.What, Subject: r.Subject, Mean: r.Mean, Least: r.Least, Most: r.Most})
		}
		return err
	})
}
