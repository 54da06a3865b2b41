package journal

import (
	"fmt"
	"strconv"
	"time"
)

// Test is a dated test of named points, to be shown to others. It is added once and never changed.
type Test struct {
	Number        int64     `json:"test"`
	Taken         time.Time `json:"taken"`
	Instrument    string    `json:"instrument"`
	Calibrated    string    `json:"calibrated"` // day, 2026-03-01
	Initials      string    `json:"initials"`
	NextDue       string    `json:"next_due,omitempty"` // day; "": none was set
	Note          string    `json:"note,omitempty"`
	Commissioning bool      `json:"commissioning"` // later tests are held against it
	Points        []Point   `json:"points"`
}

// Point is one reading of a test. Figures are SI: m/s, m³/s, Pa.
type Point struct {
	Place        string   `json:"place"`    // a port, or duct:NAME
	Quantity     string   `json:"quantity"` // speed, flow, pressure
	Open         string   `json:"open"`     // the open gates, joined by +
	Reading      string   `json:"reading"`  // as it was written down, with its unit
	Value        float64  `json:"value"`
	Unit         string   `json:"unit"`                   // of Value
	Commissioned *float64 `json:"commissioned,omitempty"` // the same point at the latest commissioning
	Model        *float64 `json:"model,omitempty"`        // what the airflow model says
}

// AddTest writes a test into a journal, also while a daemon writes to it, and gives it its number. Where a point was
// measured at the latest commissioning, that value is written beside it.
func AddTest(path string, t *Test) error {
	db, err := openFile(path, false)
	if err != nil {
		return err
	}
	defer db.Close()
	tx, err := db.Begin()
	if err != nil {
		return fmt.Errorf("journal %s: %w", path, err)
	}
	defer tx.Rollback()
	if err := tx.QueryRow("SELECT coalesce(max(CAST(test AS INTEGER)), 0) + 1 FROM records").Scan(&t.Number); err != nil {
		return fmt.Errorf("journal %s: %w", path, err)
	}
	for i := range t.Points {
		p := &t.Points[i]
		if !t.Commissioning {
			var v float64
			err := tx.QueryRow("SELECT value FROM records WHERE commissioning AND place = ? AND quantity = ? AND open = ? ORDER BY id DESC LIMIT 1", p.Place, p.Quantity, p.Open).Scan(&v)
			if err == nil {
				p.Commissioned = &v
			}
		}
		if _, err := tx.Exec(`INSERT INTO records (test, wall_ms, place, quantity, value, unit, instrument, calibrated, initials, commissioned, model, next_due, note, open, reading, commissioning)
			VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)`, strconv.FormatInt(t.Number, 10), t.Taken.UnixMilli(), p.Place, p.Quantity, p.Value, p.Unit, t.Instrument, t.Calibrated,
			t.Initials, p.Commissioned, p.Model, t.NextDue, t.Note, p.Open, p.Reading, t.Commissioning); err != nil {
			return fmt.Errorf("journal %s: %w", path, err)
		}
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("journal %s: %w", path, err)
	}
	return nil
}

// Tests lists all, newest first.
func (b *Book) Tests() ([]Test, error) {
	type row struct {
		Test
		p Point
	}
	rows, err := collect(b.db, `SELECT CAST(test AS INTEGER), wall_ms, place, quantity, value, unit, instrument, calibrated, initials, commissioned, model, next_due, note, open, reading, commissioning
		FROM records ORDER BY CAST(test AS INTEGER) DESC, id`, nil, func(r *row, scan func(...any) error) error {
		var ms int64
		err := scan(&r.Number, &ms, &r.p.Place, &r.p.Quantity, &r.p.Value, &r.p.Unit, &r.Instrument, &r.Calibrated, &r.Initials, &r.p.Commissioned, &r.p.Model,
			&r.NextDue, &r.Note, &r.p.Open, &r.p.Reading, &r.Commissioning)
		r.Taken = time.UnixMilli(ms)
		return err
	})
	var out []Test
	for _, r := range rows {
		if len(out) == 0 || out[len(out)-1].Number != r.Number {
			out = append(out, r.Test)
		}
		t := &out[len(out)-1]
		t.Points = append(t.Points, r.p)
	}
	return out, err
}

// Since is what a person last did at a collector, and how long it has run since.
type Since struct {
	At  time.Time // zero: never
	Ran time.Duration
}

// Since asks for the latest of some marks at a collector.
func (b *Book) Since(collector string, marks ...string) (Since, error) {
	var s Since
	var total int64
	if err := b.db.QueryRow("SELECT coalesce(sum(value), 0) FROM tallies WHERE what = ? AND subject = ?", CollectorSeconds, collector).Scan(&total); err != nil {
		return s, fmt.Errorf("journal: %w", err)
	}
	before := int64(0)
	for _, m := range marks {
		found, err := collect(b.db, "SELECT wall_ms, ran_s FROM marks WHERE what = ? AND subject = ? ORDER BY id DESC LIMIT 1", []any{m, collector}, func(x *[2]int64, scan func(...any) error) error {
			return scan(&x[0], &x[1])
		})
		if err != nil {
			return s, err
		}
		for _, x := range found {
			if at := time.UnixMilli(x[0]); at.After(s.At) {
				s.At, before = at, x[1]
			}
		}
	}
	s.Ran = time.Duration(total-before) * time.Second
	return s, nil
}

// Collectors are those that have ever run.
func (b *Book) Collectors() ([]string, error) {
	return collect(b.db, "SELECT DISTINCT subject FROM tallies WHERE what = ? ORDER BY subject", []any{CollectorSeconds}, func(id *string, scan func(...any) error) error { return scan(id) })
}
