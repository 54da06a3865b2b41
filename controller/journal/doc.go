// Package journal keeps what happened in one SQLite file: events and their effects, changes in people's words,
// hours, starts and moves, readings, marks and records. Control never waits for it: rows go through a bounded
// queue to one writer; what does not fit, or cannot be written, is counted, written as a gap once writing works
// again, and followed by a checkpoint of the core's state.
//
// The file is in write-ahead mode with full synchronisation: a commit is on the card when it returns. A killed
// program loses what was not committed yet (at most CommitEvery, CommitSoon for alarms and marks); a power cut
// costs the same, as far as the card keeps its promises.
package journal
