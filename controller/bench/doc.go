// Package bench holds the procedures of commissioning that the command line and the page share: learning what a
// machine's current looks like, jogging a gate to its ends, listening to a converter, and drafting a first shop file.
// Each is a machine that is fed with time and readings and says what the person is to do next; what it finds is a list
// of changes to the person's own shop file, shown before it is written.
//
// Reading order: desk.go (what verbs and page see), bench.go (one person at a time), learn.go, judge.go and finding.go
// (a machine's current), jog.go (a gate's ends), plot.go, change.go (the file), caution.go, first.go and draft.go (a
// first file).
package bench
