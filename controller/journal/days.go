package journal

import (
	"fmt"
	"time"
)

// DaySum is one sum of one day.
type DaySum struct {
	Day string // 2026-03-01
	Tally
}

// Days sums each day by itself, oldest first.
func (b *Book) Days(from, to time.Time) ([]DaySum, error) {
	rows, err := b.db.Query(`SELECT substr(hour, 1, 10) AS day, what, subject, max(name), sum(value) FROM tallies WHERE hour BETWEEN ? AND ? GROUP BY day, what, subject ORDER BY day, what, subject`,
		hourOrDay(from), to.Format(hourLayout))
	if err != nil {
		return nil, fmt.Errorf("journal: %w", err)
	}
	defer rows.Close()
	var out []DaySum
	for rows.Next() {
		var d DaySum
		if err := rows.Scan(&d.Day, &d.What, &d.Subject, &d.Name, &d.Value); err != nil {
			return nil, fmt.Errorf("journal: %w", err)
		}
		out = append(out, d)
	}
	return out, rows.Err()
}

// Reading is a quarter of an hour of one quantity: A, m/s, Pa or m³/s.
type Reading struct {
	Wall              time.Time
	What, Subject     string
	Mean, Least, Most float64
}

// Readings are those of one quantity ("" = all) and one subject ("" = all), oldest first.
func (b *Book) Readings(what, subject string, from, to time.Time) ([]Reading, error) {
	rows, err := b.db.Query(`SELECT quarter_ms, what, subject, mean, least, most FROM readings WHERE (? = '' OR what = ?) AND (? = '' OR subject = ?) AND quarter_ms BETWEEN ? AND ? ORDER BY quarter_ms, what, subject`,
		what, what, subject, subject, from.UnixMilli(), to.UnixMilli())
	if err != nil {
		return nil, fmt.Errorf("journal: %w", err)
	}
	defer rows.Close()
	var out []Reading
	for rows.Next() {
		var r Reading
		var ms int64
		if err := rows.Scan(&ms, &r.What, &r.Subject, &r.Mean, &r.Least, &r.Most); err != nil {
			return nil, fmt.Errorf("journal: %w", err)
		}
		r.Wall = time.UnixMilli(ms)
		out = append(out, r)
	}
	return out, rows.Err()
}
