// Package transcript reads and runs shop days written as text: what happens line by line, and below each line what
// the shop does about it. They are tests of the core, and a person's own tests of their shop. It is pure.
//
// Lines, in rising time; # begins a comment:
//
//	shop FILE                         the shop file, first of all; later: the changed configuration
//	at TIME machine NAME running|idle|unknown
//	at TIME gate NAME seen open|closed|neither|both
//	at TIME collector [NAME] turning|still|unreadable
//	at TIME disconnect open|closed
//	at TIME chip NAME silent|answers
//	at TIME press INPUT               a key of `inputs`, or a machine's name for its button
//	at TIME acknowledge
//	at TIME hold gate NAME open for TIME
//	at TIME off gate|collector NAME
//	at TIME automatic gate|collector NAME
//	at TIME network REQUEST           any of the requests above, finish, halt, ready, or call MACHINE for TIME
//	at TIME restart clean|unclean
//	at TIME shop FILE                 a changed configuration takes effect
//	until TIME                        time passes
//
// TIME is 0s, 700ms, 1m20s. Below each line stands what it brought, in this order:
//
//	-> EFFECT
//	!! CONDITION raised|gone
//	== collector [NAME] PHASE         NAME is left out when there is one
//
// What only time has brought stands below a line `at TIME wake`. In a person's script these lines are what must
// happen, and a line `...` stands for any of them. The time 0s is the program's start: every machine is idle, every
// gate with a switch is seen closed, every motor still, and the shop is standing by.
package transcript

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"ductwarden/controller"
)

// kind of a line.
type kind uint8

const (
	remark kind = iota // a comment or an empty line
	shop               // shop FILE
	event              // at TIME EVENT
	until              // until TIME
	wake               // at TIME wake
	told               // -> !! ==
	any                // ...
)

// Line is one line of a script.
type Line struct {
	Number int
	Text   string             // without the spaces around it
	At     controller.Instant // of an event, an until or a wake; ms since the program started
	What   string             // the event without its time; the file of a shop
	kind   kind
}

// Script is a transcript that was read.
type Script struct {
	Lines []Line
}

// Parse reads a script. It reports every line that it does not understand, joined into one error.
func Parse(text string) (*Script, error) {
	var s Script
	var errs []error
	last, seen := controller.Instant(0), false
	for i, raw := range strings.Split(strings.TrimSuffix(strings.ReplaceAll(text, "\r\n", "\n"), "\n"), "\n") {
		l := Line{Number: i + 1, Text: strings.TrimSpace(raw)}
		err := l.read()
		if err == nil && (l.kind == event || l.kind == until || l.kind == wake) {
			if l.At < last {
				err = fmt.Errorf("time goes backwards: %s comes after %s", Time(l.At), Time(last))
			}
			last = l.At
		}
		switch {
		case err != nil:
		case l.kind == shop:
			if seen {
				err = errors.New("a second shop; write `at TIME shop FILE` for a changed configuration")
			}
			seen = true
		case l.kind != remark && !seen:
			err = errors.New("begin with a line `shop FILE`")
			seen = true // said once
		}
		if err != nil {
			errs = append(errs, fmt.Errorf("line %d: %w", l.Number, err))
		}
		s.Lines = append(s.Lines, l)
	}
	return &s, errors.Join(errs...)
}

func (l *Line) read() error {
	first, rest, _ := strings.Cut(l.Text, " ")
	rest = strings.TrimSpace(rest)
	switch first {
	case "", "->", "!!", "==":
		if first != "" {
			l.kind = told
		}
	case "...":
		l.kind = any
	case "shop":
		l.kind, l.What = shop, rest
		if rest == "" {
			return errors.New("shop wants a file")
		}
	case "until":
		at, err := ParseTime(rest)
		l.kind, l.At = until, at
		return err
	case "at":
		when, what, _ := strings.Cut(rest, " ")
		at, err := ParseTime(when)
		l.kind, l.At, l.What = event, at, strings.Join(strings.Fields(what), " ")
		if l.What == "wake" {
			l.kind = wake
		}
		if err == nil && l.What == "" {
			err = errors.New("at TIME wants an event")
		}
		return err
	default:
		if !strings.HasPrefix(first, "#") {
			return fmt.Errorf("%q begins no line; a line begins with shop, at, until, ->, !!, ==, ... or #", first)
		}
	}
	return nil
}

// longestTime is the longest script.
const longestTime = 1000 * time.Hour

// ParseTime reads a time as 0s, 700ms or 1m20s, in whole milliseconds.
func ParseTime(s string) (controller.Instant, error) {
	d, err := time.ParseDuration(s)
	switch {
	case err != nil:
		return 0, fmt.Errorf("%q is no time; write it as 0s, 700ms or 1m20s", s)
	case d < 0 || d > longestTime:
		return 0, fmt.Errorf("time %s lies outside 0s to %s", s, Time(controller.Instant(longestTime/time.Millisecond)))
	case d%time.Millisecond != 0:
		return 0, fmt.Errorf("time %s is finer than a millisecond", s)
	}
	return controller.Instant(d / time.Millisecond), nil
}

// Time writes a time as ParseTime reads it: 0s, 700ms, 1m20s, 2h.
func Time(at controller.Instant) string {
	if at == 0 {
		return "0s"
	}
	s := (time.Duration(at) * time.Millisecond).String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	if strings.HasSuffix(s, "h0m") {
		s = strings.TrimSuffix(s, "0m")
	}
	return s
}
