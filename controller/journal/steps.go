package journal

import (
	"database/sql"
	"fmt"
	"iter"
	"time"

	"ductwarden/controller"
)

// Run is one run of the program.
type Run struct {
	Number  int64     `json:"run"`
	Began   time.Time `json:"began"`
	Version string    `json:"version"`
	Shop    []byte    `json:"-"` // the shop file's bytes
	Events  int64     `json:"events"`
}

// Runs lists all runs, newest first.
func (b *Book) Runs() ([]Run, error) {
	return b.runs(`SELECT run, began_wall_ms, version, shop, (SELECT count(*) FROM events e WHERE e.run = r.run) FROM runs r ORDER BY run DESC`)
}

// Run finds one by its number; 0 is the newest.
func (b *Book) Run(number int64) (Run, error) {
	out, err := b.runs(`SELECT run, began_wall_ms, version, shop, (SELECT count(*) FROM events e WHERE e.run = r.run) FROM runs r WHERE run = ? OR ? = 0 ORDER BY run DESC LIMIT 1`, number, number)
	if err == nil && len(out) == 0 {
		return Run{}, fmt.Errorf("the journal has no run %d", number)
	}
	if err != nil {
		return Run{}, err
	}
	return out[0], nil
}

func (b *Book) runs(query string, args ...any) ([]Run, error) {
	return collect(b.db, query, args, func(r *Run, scan func(...any) error) error {
		var ms int64
		err := scan(&r.Number, &ms, &r.Version, &r.Shop, &r.Events)
		r.Began = time.UnixMilli(ms)
		return err
	})
}

// Checkpoints lists those of a run in order.
func (b *Book) Checkpoints(run int64) ([]Checkpoint, error) {
	return collect(b.db, `SELECT seq, at_ms, state FROM checkpoints WHERE run = ? ORDER BY seq`, []any{run}, func(c *Checkpoint, scan func(...any) error) error {
		return scan(&c.Seq, &c.At, &c.State)
	})
}

// stepsAtOnce bounds what a long run takes of memory.
const stepsAtOnce = 1000

// Steps gives the steps of a run in order. It ends at the first error, which it gives.
func (b *Book) Steps(run int64) iter.Seq2[Step, error] {
	return func(yield func(Step, error) bool) {
		for after := int64(-1); ; {
			part, err := b.steps(run, after)
			if err != nil {
				yield(Step{}, err)
				return
			}
			for _, s := range part {
				if !yield(s, nil) {
					return
				}
				after = int64(s.Seq)
			}
			if len(part) < stepsAtOnce {
				return
			}
		}
	}
}

// steps reads the next steps after one.
func (b *Book) steps(run, after int64) ([]Step, error) {
	out, err := collect(b.db, `SELECT seq, at_ms, kind, by, n, v, ref FROM events WHERE run = ? AND seq > ? ORDER BY seq LIMIT ?`, []any{run, after, stepsAtOnce},
		func(s *Step, scan func(...any) error) error {
			e := &s.Event
			return scan(&s.Seq, &e.At, &e.Kind, &e.By, &e.N, &e.V, &e.Ref)
		})
	if err != nil || len(out) == 0 {
		return nil, err
	}
	at := make(map[uint64]*Step, len(out))
	for i := range out {
		at[out[i].Seq] = &out[i]
	}
	span := []any{run, after, int64(out[len(out)-1].Seq)}
	type effect struct {
		seq uint64
		is  controller.Effect
	}
	effects, err := collect(b.db, `SELECT seq, kind, n, why, ref, v FROM effects WHERE run = ? AND seq > ? AND seq <= ? ORDER BY seq, place`, span, func(e *effect, scan func(...any) error) error {
		return scan(&e.seq, &e.is.Kind, &e.is.N, &e.is.Why, &e.is.Ref, &e.is.V)
	})
	if err != nil {
		return nil, err
	}
	for _, e := range effects {
		if s := at[e.seq]; s != nil {
			s.Effects = append(s.Effects, e.is)
		}
	}
	type answer struct {
		seq uint64
		is  Answer
	}
	answers, err := collect(b.db, `SELECT seq, collector, question, answer FROM answers WHERE run = ? AND seq > ? AND seq <= ? ORDER BY seq, place`, span, func(a *answer, scan func(...any) error) error {
		return scan(&a.seq, &a.is.Collector, &a.is.Question, &a.is.Answer)
	})
	for _, a := range answers {
		if s := at[a.seq]; s != nil {
			s.Answers = append(s.Answers, a.is)
		}
	}
	return out, err
}

// collect reads all rows of a query.
func collect[T any](db *sql.DB, query string, args []any, read func(*T, func(...any) error) error) ([]T, error) {
	rows, err := db.Query(query, args...)
	if err != nil {
		return nil, fmt.Errorf("journal: %w", err)
	}
	defer rows.Close()
	var out []T
	for rows.Next() {
		var t T
		if err := read(&t, rows.Scan); err != nil {
			return nil, fmt.Errorf("journal: %w", err)
		}
		out = append(out, t)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("journal: %w", err)
	}
	return out, nil
}
