package main

import (
	"fmt"
	"io"
	"time"
)

// progress says on a terminal what a long verb is at; elsewhere it says nothing. The line is overwritten and in the
// end wiped away.
type progress struct {
	w     io.Writer // nil: nothing is said
	last  time.Time
	start time.Time
	wide  int
}

// Patience and pace of progress: quick answers show none.
const (
	progressAfter = 700 * time.Millisecond
	progressEvery = 100 * time.Millisecond
)

// progressOn looks whether w is a terminal.
func progressOn(w io.Writer) *progress {
	p := &progress{start: time.Now()}
	if isTerminal(w) {
		p.w = w
	}
	return p
}

func (p *progress) say(format string, args ...any) {
	now := time.Now()
	if p == nil || p.w == nil || now.Sub(p.start) < progressAfter || now.Sub(p.last) < progressEvery {
		return
	}
	p.last = now
	line := fmt.Sprintf(format, args...)
	if r := []rune(line); len(r) > 78 {
		line = string(r[:78])
	}
	fmt.Fprintf(p.w, "\r%-*s", p.wide, line)
	p.wide = len([]rune(line))
}

// done wipes the line.
func (p *progress) done() {
	if p == nil || p.w == nil || p.wide == 0 {
		return
	}
	fmt.Fprintf(p.w, "\r%*s\r", p.wide, "")
	p.wide = 0
}
