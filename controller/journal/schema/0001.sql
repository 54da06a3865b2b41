-- Runs of the program. Times named _ms are monotonic milliseconds since the run began; wall_ms is the clock on
-- the wall as it stood, in milliseconds since 1970, for people only.
CREATE TABLE runs (
	run INTEGER PRIMARY KEY,
	began_wall_ms INTEGER NOT NULL,
	version TEXT NOT NULL,
	shop_sum TEXT NOT NULL, -- SHA-256 of the shop file that this run began with
	shop BLOB NOT NULL      -- the file itself, so that a replay needs nothing else
) STRICT;

CREATE TABLE events (
	run INTEGER NOT NULL, seq INTEGER NOT NULL,
	at_ms INTEGER NOT NULL, kind INTEGER NOT NULL, by INTEGER NOT NULL, n INTEGER NOT NULL, v INTEGER NOT NULL, ref INTEGER NOT NULL,
	PRIMARY KEY (run, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE effects (
	run INTEGER NOT NULL, seq INTEGER NOT NULL, place INTEGER NOT NULL,
	kind INTEGER NOT NULL, n INTEGER NOT NULL, why INTEGER NOT NULL, ref INTEGER NOT NULL, v INTEGER NOT NULL,
	PRIMARY KEY (run, seq, place)
) STRICT, WITHOUT ROWID;

-- Each answer of the planner, so that a replay uses the stored one and can report where its own differs.
CREATE TABLE answers (
	run INTEGER NOT NULL, seq INTEGER NOT NULL, place INTEGER NOT NULL,
	collector INTEGER NOT NULL, question BLOB NOT NULL, answer BLOB NOT NULL,
	PRIMARY KEY (run, seq, place)
) STRICT, WITHOUT ROWID;

-- The core's state after event seq; a replay may begin here.
CREATE TABLE checkpoints (run INTEGER NOT NULL, seq INTEGER NOT NULL, state BLOB NOT NULL, PRIMARY KEY (run, seq)) STRICT, WITHOUT ROWID;

-- Events from_seq to to_seq could not be written.
CREATE TABLE gaps (run INTEGER NOT NULL, from_seq INTEGER NOT NULL, to_seq INTEGER NOT NULL, wall_ms INTEGER NOT NULL, why TEXT NOT NULL, PRIMARY KEY (run, from_seq)) STRICT, WITHOUT ROWID;

-- What changed, in the words that people are shown.
CREATE TABLE changes (
	id INTEGER PRIMARY KEY, run INTEGER NOT NULL, at_ms INTEGER NOT NULL, wall_ms INTEGER NOT NULL,
	what TEXT NOT NULL, subject TEXT NOT NULL, name TEXT NOT NULL, was TEXT NOT NULL, is_now TEXT NOT NULL
) STRICT;
CREATE INDEX changes_by_time ON changes (wall_ms);

-- Sums a day and subject: seconds of a state, counts of starts and moves.
CREATE TABLE tallies (
	day TEXT NOT NULL, what TEXT NOT NULL, subject TEXT NOT NULL, name TEXT NOT NULL, value INTEGER NOT NULL,
	PRIMARY KEY (day, what, subject)
) STRICT, WITHOUT ROWID;

-- Readings, a row a quarter of an hour: pressures in Pa, currents in A, speeds in m/s.
CREATE TABLE readings (
	quarter_ms INTEGER NOT NULL, what TEXT NOT NULL, subject TEXT NOT NULL,
	n INTEGER NOT NULL, mean REAL NOT NULL, least REAL NOT NULL, most REAL NOT NULL,
	PRIMARY KEY (quarter_ms, what, subject)
) STRICT, WITHOUT ROWID;

-- What a person did: bin emptied, filter cleaned, filter replaced, duct opened.
CREATE TABLE marks (id INTEGER PRIMARY KEY, wall_ms INTEGER NOT NULL, what TEXT NOT NULL, subject TEXT NOT NULL, who TEXT NOT NULL, note TEXT NOT NULL) STRICT;

-- Dated tests to show others; rows are added, never changed.
CREATE TABLE records (
	id INTEGER PRIMARY KEY, test TEXT NOT NULL, wall_ms INTEGER NOT NULL, place TEXT NOT NULL, quantity TEXT NOT NULL,
	value REAL NOT NULL, unit TEXT NOT NULL, instrument TEXT NOT NULL, calibrated TEXT NOT NULL, initials TEXT NOT NULL,
	commissioned REAL, model REAL, next_due TEXT NOT NULL, note TEXT NOT NULL
) STRICT;
CREATE TRIGGER records_stay BEFORE UPDATE ON records BEGIN SELECT RAISE(ABORT, 'records are added, never changed'); END;
CREATE TRIGGER records_remain BEFORE DELETE ON records BEGIN SELECT RAISE(ABORT, 'records are added, never removed'); END;
