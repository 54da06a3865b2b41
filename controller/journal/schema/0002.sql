-- Sums are kept by the hour, so that any span can be shown; those written before have only their day.
ALTER TABLE tallies RENAME COLUMN day TO hour;

-- What the collector had run in all when a person emptied its bin or cleaned its filter, in seconds.
ALTER TABLE marks ADD COLUMN ran_s INTEGER NOT NULL DEFAULT 0;

-- Old events are removed by their run's beginning.
CREATE INDEX runs_by_time ON runs (began_wall_ms);

-- A checkpoint holds times relative to its own moment.
ALTER TABLE checkpoints ADD COLUMN at_ms INTEGER NOT NULL DEFAULT 0;
