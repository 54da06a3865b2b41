package main

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"ductwarden/controller"
	"ductwarden/controller/loop"
)

// lineKind says what a told line is.
type lineKind uint8

const (
	lineStory lineKind = iota // what people do
	lineEvent                 // what the daemon saw, and did
	linePhase                 // what the collector does
	lineAlarm                 // an alarm raised or gone
)

// toldLine is one line of a rehearsal.
type toldLine struct {
	at   time.Duration // on the scheduler's clock
	kind lineKind
	text string
}

// told is what was last said of a collector.
type told struct{ phase, air string }

// narrator turns what happens into lines. It is a task on the scheduler's goroutine, so that no line is lost at any
// speed; a live view reads the newest from another.
type narrator struct {
	t       *theatre
	words   words
	records *loop.Reader[loop.Record]
	phases  map[string]told   // by collector
	alarms  map[string]string // key -> text
	out     func(toldLine)    // plain lines as they come; nil: none

	mu    sync.Mutex
	lines []toldLine
}

const (
	tellEvery = 100 * time.Millisecond
	keptLines = 200
)

func newNarrator(t *theatre) *narrator {
	return &narrator{t: t, words: words{t.shop}, records: t.loop.Records(4096), phases: map[string]told{}, alarms: map[string]string{}}
}

// Poll implements loop.Task.
func (n *narrator) Poll(now time.Duration) time.Duration {
	for more := true; more; {
		select {
		case r := <-n.records.C():
			if what, then, ok := n.words.record(r); ok && now > n.t.begin && !isBetween(r, then) {
				n.add(toldLine{time.Duration(r.Event.At) * time.Millisecond, lineEvent, cause(r, what, then)})
			}
		default:
			more = false
		}
	}
	if s := n.t.loop.Snapshots().Latest(); s != nil && now > n.t.begin {
		n.look(now, s)
	}
	return now + tellEvery
}

// cause puts what happened and what it caused in one line.
func cause(r loop.Record, what string, then []string) string {
	if len(then) == 0 {
		return what
	}
	if r.Event.Kind == controller.Wake && r.Mark == 0 {
		return strings.Join(then, ", ")
	}
	return what + ": " + strings.Join(then, ", ")
}

// isBetween reports a switch of a gate's end that caused nothing: the phases tell of it.
func isBetween(r loop.Record, then []string) bool {
	return r.Event.Kind == controller.GateSeen && len(then) == 0
}

// say adds a line of the story.
func (n *narrator) say(text string) { n.add(toldLine{n.t.clock.Now(), lineStory, text}) }

func (n *narrator) add(l toldLine) {
	if n.out != nil {
		n.out(l)
	}
	n.mu.Lock()
	n.lines = append(n.lines, l)
	if len(n.lines) > 2*keptLines {
		n.lines = append(n.lines[:0], n.lines[keptLines:]...)
	}
	n.mu.Unlock()
}

// newest returns up to k lines, oldest first.
func (n *narrator) newest(k int) []toldLine {
	n.mu.Lock()
	defer n.mu.Unlock()
	return append([]toldLine(nil), n.lines[max(0, len(n.lines)-k):]...)
}

// look tells of phases and alarms that are new.
func (n *narrator) look(now time.Duration, s *controller.Snapshot) {
	for i := range s.Collectors {
		c := &s.Collectors[i]
		was, known := n.phases[c.ID]
		is := told{c.Phase, was.air}
		if moving := gatesMove(s); !moving || c.Margin == nil {
			is.air = ""
			if c.Margin != nil {
				is.air = c.Transport + "/" + c.Weakest
			}
		}
		n.phases[c.ID] = is
		if !known || is == was || is.phase == was.phase && is.air == "" {
			continue
		}
		text := c.Name + ": " + plainWord(c.Phase)
		switch {
		case is.air != "" && is.air != was.air && c.Margin != nil:
			text += fmt.Sprintf("; %s, margin %s in the %s", c.Transport, percent(c.Margin), ductName(s, c.Weakest))
		case c.Why != "":
			text += " (" + c.Why + ")"
		}
		n.add(toldLine{now, linePhase, text})
	}
	standing := map[string]string{}
	for i := range s.Alarms {
		a := &s.Alarms[i]
		if !a.Active {
			continue
		}
		standing[a.Key] = a.Text
		if _, known := n.alarms[a.Key]; !known {
			n.add(toldLine{now, lineAlarm, "ALARM: " + alarmText(a)})
		}
	}
	for _, key := range slices.Sorted(maps.Keys(n.alarms)) {
		if _, still := standing[key]; !still {
			n.add(toldLine{now, lineAlarm, "gone: " + n.alarms[key]})
		}
	}
	n.alarms = standing
}
