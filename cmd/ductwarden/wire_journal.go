package main

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/journal"
	"ductwarden/controller/loop"
	"ductwarden/controller/plan"
)

// scribe keeps the journal of a run: every step with the planner's answers, and what people are shown. Nothing
// waits for it.
type scribe struct {
	journal *journal.Journal
	answers []journal.Answer // of the present step; on the core's lane only
	key     []byte           // of a checkpoint; on the core's lane only
	file    *config.Shop
	due     atomic.Pointer[[]string] // what upkeep is due, in sentences; nil: not known yet
	log     *slog.Logger
	end     context.CancelFunc
	done    sync.WaitGroup
}

// openJournal opens the journal that the shop file names; nil where it names none, or where it cannot be opened,
// which is said: control does not depend on it.
func openJournal(file *config.Shop, log *slog.Logger) *scribe {
	if file.Journal.Path == "" {
		return nil
	}
	j, err := journal.Open(file.Journal.Path, version, file.Text, time.Now)
	if err != nil {
		log.Error("no history is kept: " + err.Error())
		return nil
	}
	if file.Journal.Keep > 0 {
		j.Forget(file.Journal.Keep)
	}
	return &scribe{journal: j, log: log, file: file}
}

// listening wraps a planner so that its answers reach the journal with the step that asked for them.
func (s *scribe) listening(collector int, p plan.Planner) plan.Planner {
	if s == nil {
		return p
	}
	return listening{p, s, uint8(collector)}
}

type listening struct {
	plan.Planner
	scribe    *scribe
	collector uint8
}

// Choose implements plan.Planner.
func (l listening) Choose(q plan.Question) plan.Answer {
	a := l.Planner.Choose(q)
	asked, err := json.Marshal(q)
	answered, err2 := json.Marshal(a)
	if err == nil && err2 == nil {
		l.scribe.answers = append(l.scribe.answers, journal.Answer{Collector: l.collector, Question: asked, Answer: answered})
	}
	return a
}

// checkpointEvery is after how many steps a replay may begin anew: so many at most are lost to it behind a gap.
const checkpointEvery = 100

// stepped takes one step of a shop; the journal copies what it keeps.
func (s *scribe) stepped(shop *controller.Shop, st loop.Stepped) {
	s.journal.Step(journal.Step{Seq: st.Seq, Event: st.Event, Effects: st.Effects, Answers: s.answers})
	s.answers = s.answers[:0]
	if s.journal.WantsCheckpoint() || st.Seq%checkpointEvery == 0 {
		s.key = st.State.Key(shop, s.key[:0])
		s.journal.Checkpoint(journal.Checkpoint{Seq: st.Seq, At: st.State.Now(), State: s.key})
	}
}

// asked takes one request with its answer: what was done by whom, and what was refused.
func (s *scribe) asked(w words, a loop.Asked) {
	if m := a.Mark; m != nil && a.Answer.Accepted {
		s.journal.Mark(journal.Mark{What: markWords[m.What], Subject: w.shop.Collectors[m.Collector].ID, Who: a.Who, Note: m.Note})
		return
	}
	c := journal.Change{AtMS: int64(a.At), What: "request", Was: a.Who, Now: "accepted", Name: w.event(a.Event)}
	if sh := a.Shelve; sh != nil {
		c.Subject, c.Name = sh.Key, fmt.Sprintf("%s put away for %s: %s", sh.Key, sh.For, sh.Reason)
	}
	if m := a.Mark; m != nil {
		c.Name = markWords[m.What]
	}
	if !a.Answer.Accepted {
		c.Now = "refused: " + a.Answer.Sentence()
	}
	s.journal.Change(c)
}

// markWords name marks in the journal and in requests.
var markWords = map[loop.Purpose]string{loop.BinEmptied: "bin_emptied", loop.FilterCleaned: "filter_cleaned", loop.FilterReplaced: "filter_replaced"}

// follow notes what people are shown, and says when the file fails or works again, until ctx ends.
func (s *scribe) follow(ctx context.Context, l *loop.Loop) {
	ctx, s.end = context.WithCancel(ctx)
	s.done.Go(func() {
		watch, note, failing, looked := l.Snapshots().Watch(), s.journal.Watcher(), "", time.Time{}
		defer watch.Close()
		defer note.End()
		for {
			select {
			case <-ctx.Done():
				return
			case <-watch.Changed():
			}
			note.Note(watch.Latest())
			if now := time.Now(); now.Sub(looked) >= upkeepEvery {
				looked = now
				s.lookUpkeep(now)
			}
			if now := s.journal.Failing(); now != failing {
				if now != "" {
					s.log.Error("the journal cannot be written: " + now)
				} else {
					s.log.Info("the journal is written again")
				}
				failing = now
			}
		}
	})
}

// upkeepEvery is how often it is looked up what upkeep is due.
const upkeepEvery = time.Minute

func (s *scribe) lookUpkeep(now time.Time) {
	if s.file.Upkeep == (config.Upkeep{}) {
		return
	}
	b, err := journal.Read(s.file.Journal.Path)
	if err != nil {
		return // the writer says what is wrong with the file
	}
	defer b.Close()
	if due, err := upkeepDue(s.file, b, now); err == nil {
		s.due.Store(&due)
	}
}

// Close writes what is still waiting.
func (s *scribe) Close() error {
	if s.end != nil {
		s.end()
	}
	s.done.Wait()
	return s.journal.Close()
}
