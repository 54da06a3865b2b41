package bench

import (
	"fmt"
	"time"

	"ductwarden/current"
)

// Levels by which findings are made, in amperes and shares. Own choice, by what the sources beside them say.
const (
	lampLevel   = 0.3  // above a clamp's own noise and pick-up of up to 0.25 A (R. Wall's test report)
	driveRest   = 0.05 // a drive's electronics and fan: 0.1 to 0.4 A (from memory), less behind a filter
	inrushLeast = 1.5  // a motor on the mains draws 5 to 8 times its full load, a fifth of which a slow converter sees
	railShare   = 0.93 // of what an input can show
)

// deadClamp says why an input gives no current.
func deadClamp(machine string, in Input, h current.Health) Finding {
	cause := "it gives no reading yet: look whether the converter's board has power and whether its address is right"
	switch h {
	case current.Lost:
		cause = "its converter on " + in.Bus + " does not answer: look at the board's power, the two bus wires and its address"
	case current.Flat:
		cause = "it gives the same value over and over: the clamp's plug is out, its lead is broken, or the converter is frozen"
	case current.OutOfRange:
		cause = "its voltage at rest is not in the middle: the plug is half in, the lead is shorted, or the bias divider is not wired"
	case current.Late:
		cause = "its readings come too late: too much else is on this bus, or the bus hangs"
	}
	return Finding{"dead_clamp", true, fmt.Sprintf("the clamp of %s on %s cannot be read; %s", machine, in.Name, cause)}
}

// noCurrent says why a machine that runs shows no current.
func noCurrent(machine, input, elsewhere string, rise float64) Finding {
	if elsewhere != "" {
		return Finding{"other_input", true, fmt.Sprintf("the current rose on %s, not on %s: %s's clamp is plugged into another input; change the plug, or channel in the shop file", elsewhere, input, machine)}
	}
	hint := "no current"
	if rise > 0.03 {
		hint = fmt.Sprintf("only %.2f A more", rise)
	}
	return Finding{"whole_cable", true, fmt.Sprintf("%s was seen on %s while %s runs: the clamp is probably round the whole cable, where the currents of its conductors cancel. "+
		"It must go round one conductor only, inside a closed box: that is a licensed electrician's work. Or its jaws are not shut, or it hangs on another machine's cable", hint, input, machine)}
}

// inrushOnly is the longest that what is left of an inrush outside a clamp round the whole cable lasts.
const inrushOnly = 3 * time.Second

// shortRun says that the current ended before enough of it was seen.
func shortRun(machine string, after time.Duration) Finding {
	if after < inrushOnly {
		return Finding{"inrush_only", false, fmt.Sprintf("a current was seen for %.1f s only. Does %s still run? Then say so: its clamp may be round the whole cable. Otherwise start it again and let it run", max(after, 0).Seconds(), machine)}
	}
	return Finding{"short_run", false, fmt.Sprintf("the current ended after %.0f s: start it again and let it run for %.0f s", after.Seconds(), runTime.Seconds())}
}

// judgeIdle looks at the current of the standing machine.
func judgeIdle(machine string, in Input, mid, top float64) []Finding {
	var out []Finding
	switch {
	case in.Running > 0 && mid >= 2*in.Running:
		out = append(out, Finding{"runs_already", false, fmt.Sprintf("%.2f A flow on %s though %s should be off: does it run, or another machine on the same cable?", mid, in.Name, machine)})
	case mid >= lampLevel:
		out = append(out, Finding{"light_on", false, fmt.Sprintf("%.2f A flow though %s is off: a lamp was left on, or a drive, charger or control hangs on the same cable. If it is a lamp, switch it off and begin again; otherwise this is learnt as its current at rest", mid, machine)})
	}
	if top > 2*mid+lampLevel {
		out = append(out, Finding{"restless", false, fmt.Sprintf("the current at rest wanders between %.2f and %.2f A: something on the same cable switches, or the clamp's lead runs beside a drive's cable", mid, top)})
	}
	return out
}

// judgeRun looks at the current of the running machine.
func judgeRun(machine string, in Input, f *Figures) []Finding {
	var out []Finding
	if in.Most > 0 && *f.RunA >= railShare*in.Most {
		out = append(out, Finding{"clipped", false, fmt.Sprintf("%s reaches the end of what %s can show, %.1f A, without any work: readings will be too low when it cuts. It is still detected; for true figures take a clamp with fewer volts for an ampere", machine, in.Name, in.Most)})
	}
	if *f.StartA < inrushLeast**f.RunA && (*f.IdleA >= driveRest || *f.RunUpS > 1) {
		out = append(out, Finding{"drive", false, fmt.Sprintf("%s starts without an inrush and draws %.2f A at rest: it has an electronic drive or a soft start. Learn it also at its slowest speed; the drive's own running contact, where it has one, is the better evidence", machine, *f.IdleA)})
	}
	return out
}
