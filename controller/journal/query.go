package journal

import (
	"database/sql"
	"fmt"
	"time"
)

// Book reads a journal, also while a daemon writes it.
type Book struct{ db *sql.DB }

// Read opens a journal for reading.
func Read(path string) (*Book, error) {
	db, err := openFile(path, true)
	if err != nil {
		return nil, err
	}
	return &Book{db}, nil
}

// Close ends reading.
func (b *Book) Close() error { return b.db.Close() }

// Tally is one sum over a span of days.
type Tally struct {
	What    string `json:"what"`
	Subject string `json:"subject"`
	Name    string `json:"name"`
	Value   int64  `json:"value"` // seconds or a count, as What says
}

// hourLayout writes an hour so that text compares as time does.
const hourLayout = "2006-01-02T15"

// Tallies sums from the hour of from up to and with the hour of to.
func (b *Book) Tallies(from, to time.Time) ([]Tally, error) {
	rows, err := b.db.Query(`SELECT what, subject, max(name), sum(value) FROM tallies WHERE hour BETWEEN ? AND ? GROUP BY what, subject ORDER BY what, subject`,
		hourOrDay(from), to.Format(hourLayout))
	if err != nil {
		return nil, fmt.Errorf("journal: %w", err)
	}
	defer rows.Close()
	var out []Tally
	for rows.Next() {
		var t Tally
		if err := rows.Scan(&t.What, &t.Subject, &t.Name, &t.Value); err != nil {
			return nil, fmt.Errorf("journal: %w", err)
		}
		out = append(out, t)
	}
	return out, rows.Err()
}

// hourOrDay is an hour, or the day alone at its beginning: sums of an older version have only their day.
func hourOrDay(t time.Time) string {
	if t.Hour() == 0 {
		return t.Format("2006-01-02")
	}
	return t.Format(hourLayout)
}

// Happened is one change with the time on the wall.
type Happened struct {
	Wall time.Time `json:"at"`
	Change
}

// Changes lists changes of one kind ("" = all), newest first, at most most.
func (b *Book) Changes(what string, from, to time.Time, most int) ([]Happened, error) {
	rows, err := b.db.Query(`SELECT wall_ms, at_ms, what, subject, name, was, is_now FROM changes WHERE (? = '' OR what = ?) AND wall_ms BETWEEN ? AND ? ORDER BY id DESC LIMIT ?`,
		what, what, from.UnixMilli(), to.UnixMilli(), most)
	if err != nil {
		return nil, fmt.Errorf("journal: %w", err)
	}
	defer rows.Close()
	var out []Happened
	for rows.Next() {
		var h Happened
		var ms int64
		if err := rows.Scan(&ms, &h.AtMS, &h.What, &h.Subject, &h.Name, &h.Was, &h.Now); err != nil {
			return nil, fmt.Errorf("journal: %w", err)
		}
		h.Wall = time.UnixMilli(ms)
		out = append(out, h)
	}
	return out, rows.Err()
}

// Marked is a mark with its time.
type Marked struct {
	Wall time.Time `json:"at"`
	Mark
}

// Marks lists what people did, newest first.
func (b *Book) Marks(from, to time.Time) ([]Marked, error) {
	rows, err := b.db.Query(`SELECT wall_ms, what, subject, who, note FROM marks WHERE wall_ms BETWEEN ? AND ? ORDER BY id DESC`, from.UnixMilli(), to.UnixMilli())
	if err != nil {
		return nil, fmt.Errorf("journal: %w", err)
	}
	defer rows.Close()
	var out []Marked
	for rows.Next() {
		var m Marked
		var ms int64
		if err := rows.Scan(&ms, &m.What, &m.Subject, &m.Who, &m.Note); err != nil {
			return nil, fmt.Errorf("journal: %w", err)
		}
		m.Wall = time.UnixMilli(ms)
		out = append(out, m)
	}
	return out, rows.Err()
}

// ReadingSum is a reading over a span: it is kept by the quarter of an hour.
type ReadingSum struct {
	What     string  `json:"what"` // suction_pa, flow_m3_s, current_a, velocity_m_s ...
	Subject  string  `json:"subject"`
	Readings int64   `json:"readings"`
	Mean     float64 `json:"mean"`
	Least    float64 `json:"least"`
	Most     float64 `json:"most"`
}

// ReadingSums sums up all readings of a span.
func (b *Book) ReadingSums(from, to time.Time) ([]ReadingSum, error) {
	return collect(b.db, `SELECT what, subject, sum(n), sum(mean*n)/sum(n), min(least), max(most) FROM readings WHERE quarter_ms BETWEEN ? AND ? GROUP BY what, subject ORDER BY what, subject`,
		[]any{from.UnixMilli(), to.UnixMilli()}, func(r *ReadingSum, scan func(...any) error) error {
			return scan(&r.What, &r.Subject, &r.Readings, &r.Mean, &r.Least, &r.Most)
		})
}

// Gap is a run of events that could not be written.
type Gap struct {
	Run      int64 `json:"run"`
	From, To uint64
	Wall     time.Time `json:"at"`
	Why      string    `json:"why"`
}

// Gaps lists those of all runs, oldest first.
func (b *Book) Gaps() ([]Gap, error) {
	rows, err := b.db.Query(`SELECT run, from_seq, to_seq, wall_ms, why FROM gaps ORDER BY run, from_seq`)
	if err != nil {
		return nil, fmt.Errorf("journal: %w", err)
	}
	defer rows.Close()
	var out []Gap
	for rows.Next() {
		var g Gap
		var ms int64
		if err := rows.Scan(&g.Run, &g.From, &g.To, &ms, &g.Why); err != nil {
			return nil, fmt.Errorf("journal: %w", err)
		}
		g.Wall = time.UnixMilli(ms)
		out = append(out, g)
	}
	return out, rows.Err()
}
