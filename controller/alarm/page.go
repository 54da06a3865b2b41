package alarm

import (
	"fmt"
	"strings"

	"ductwarden/controller"
)

// Page is the list as a document, in Markdown: every alarm, urgent ones first.
func Page() string {
	var b strings.Builder
	b.WriteString("# Alarms\n\n" +
		"Made from the program's own list by `go test ./controller/alarm -update`; do not edit it here.\n\n" +
		"Urgent: act within seconds. High: within minutes. Low: in the course of the day. An alarm is *unacknowledged* until somebody has acknowledged it, then *acknowledged*; " +
		"one that is gone before that is *returned* and waits in the list where its row says so; one that a person has put away for up to 8 h, with a reason, is *shelved* and comes back by itself. " +
		"The one that appeared before the others is marked: it is usually their cause. Acknowledging or shelving changes nothing of what the program does, except that a latched fault, once its cause is gone, lets go. " +
		"The lamp that shows `alarm` lights while one waits for a person; the horn that shows `no_air` sounds while a machine makes dust without its air. " +
		"`alarms` in the shop file gives single alarms other delays, by their key.\n")
	for _, p := range []Priority{Urgent, High, Low} {
		fmt.Fprintf(&b, "\n## %s\n", strings.ToUpper(p.String()[:1])+p.String()[1:])
		for _, e := range List {
			if e.Priority == p {
				b.WriteString(e.page())
			}
		}
	}
	return b.String()
}

// page is one alarm's part of the document.
func (e Entry) page() string {
	var b strings.Builder
	what := map[controller.Subject]string{controller.OfGate: "*gate*", controller.OfMachine: "*machine*", controller.OfCollector: "*collector*"}[e.Is.Of()]
	text := e.Text
	if what != "" {
		text = fmt.Sprintf(e.Text, what)
	}
	fmt.Fprintf(&b, "\n### `%s`\n\n%s.\n\n", e.Is, text)
	fmt.Fprintf(&b, "* Usual cause: %s.\n* If nobody acts: %s.\n* To do: %s.\n", e.Cause, e.Consequence, e.ToDo)
	fmt.Fprintf(&b, "* Appears after %s, goes after %s%s%s.\n", seconds(e.On), seconds(e.Off), map[bool]string{true: "; stays in the list until acknowledged"}[e.Stays],
		map[bool]string{true: "; blocks until acknowledged after its cause is gone"}[e.Latch])
	if e.Horn {
		b.WriteString("* A person with ear protection must know at once: give a lamp or a horn a place in the shop file that shows `alarm`.\n")
	}
	return b.String()
}

func seconds(s controller.Span) string {
	if s == 0 {
		return "no delay"
	}
	return fmt.Sprintf("%d s", s/second)
}
