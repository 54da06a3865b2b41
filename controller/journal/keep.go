package journal

import "time"

// Forget removes events, changes and readings that are older than keep; hours, starts, marks and records stay. It is
// done by the writer, at once and then once a day. Call it before anything is recorded.
func (j *Journal) Forget(keep time.Duration) { j.put(entry{wall: j.now(), keep: keep}) }

// forgetEvery is how often old rows are looked for.
const forgetEvery = 24 * time.Hour

// clean forgets once a day. What fails is tried again the next day, and said until then.
func (j *Journal) clean() {
	now := j.now()
	if j.keep == 0 || now.Sub(j.forgotten) < forgetEvery {
		return
	}
	j.forgotten = now
	if err := j.forget(now); err != nil {
		text := err.Error()
		j.failing.Store(&text)
	}
}

// forget removes old rows. A run goes as a whole once the next has begun: half a run could not be replayed.
func (j *Journal) forget(now time.Time) error {
	old := now.Add(-j.keep).UnixMilli()
	for _, q := range []string{
		`DELETE FROM changes WHERE wall_ms < ?`,
		`DELETE FROM readings WHERE quarter_ms < ?`,
	} {
		if _, err := j.db.Exec(q, old); err != nil {
			return err
		}
	}
	const gone = `(SELECT run FROM runs r WHERE r.run <> ? AND (SELECT min(n.began_wall_ms) FROM runs n WHERE n.run > r.run) < ?)`
	for _, table := range []string{"events", "effects", "answers", "checkpoints", "gaps", "runs"} {
		if _, err := j.db.Exec("DELETE FROM "+table+" WHERE run IN "+gone, j.run, old); err != nil {
			return err
		}
	}
	return nil
}
