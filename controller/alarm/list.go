// Package alarm is the alarm list as data, and the life of each alarm: it appears, is acknowledged, goes, is
// shelved for a while. It is pure and lives on the conditions that the core derives. Acknowledging an alarm never
// changes what the program does. The states are those of public alarm standards (ISA-18.2, IEC 62682, OPC UA
// Part 9, read in secondary copies): unacknowledged, acknowledged, returned, shelved.
package alarm

import "ductwarden/controller"

// Priority says how soon a person must act.
type Priority uint8

// The priorities.
const (
	Low    Priority = iota // in the course of the day
	High                   // within minutes
	Urgent                 // within seconds
)

// String is the priority's word.
func (p Priority) String() string { return [...]string{"low", "high", "urgent"}[min(int(p), 2)] }

// Entry is one row of the alarm list.
type Entry struct {
	Is          controller.Condition
	Text        string // what is wrong; %s is the subject's name
	Cause       string // what it usually is
	Consequence string // what follows if nobody acts
	ToDo        string // what the person does next
	Priority    Priority
	Latch       bool            // the core blocks something until it is acknowledged after it is gone
	Stays       bool            // stays in the list until acknowledged, also when it is gone
	On, Off     controller.Span // delays before it appears and goes
	Horn        bool            // a person with ear protection must know within seconds
}

const second = controller.Second

// List is the whole list, in the order of the conditions.
var List = []Entry{
	{controller.GateNotOpen, "gate %s did not open", "chips in the slide, a servo without power, a loose linkage or switch", "its machine has no air", "stop the machine, slide the gate by hand, clear the slide, then acknowledge", Urgent, true, true, 0, 0, true},
	{controller.GateNotClosed, "gate %s did not close", "chips in the slide, a servo without power, a loose linkage or switch", "it draws air away from the others", "clear the slide when no machine runs, then acknowledge", High, true, true, 0, 0, false},
	{controller.GateSwitches, "both end switches of gate %s show", "a stuck or shorted switch", "its position is not known", "look at the switches and their wires", High, false, true, second, second, false},
	{controller.GateMoved, "gate %s moved without a command", "somebody moved it, or it slips", "its machine may lack air, or another may", "look at the gate, then acknowledge", High, false, true, 0, 0, false},
	{controller.GateChipSilent, "the chip of gate %s does not answer", "its supply, its wiring, or noise on the bus", "the gate stays where it is", "look at the board's supply and the bus, slide the gate by hand meanwhile", High, false, true, 2 * second, 2 * second, false},
	{controller.SensorLost, "no reading of %s", "a clamp unplugged, a broken wire, or a silent converter", "its start is not seen", "open its gate by the button or by hand; look at clamp and wire", High, false, true, 5 * second, 2 * second, false},
	{controller.NoAir, "%s makes dust without its air", "the collector rests or is off, or the gate is not open", "you breathe the dust", "stop the machine until its air is there", Urgent, false, true, 0, 0, true},
	{controller.MustRestart, "%s ran before its start could be seen", "it was running at Ready, or its sensor was lost", "it does not call the collector", "stop it and start it again", High, false, false, 2 * second, 0, false},
	{controller.RunsLong, "%s has been running for a long time", "a long job, or a sensor that sticks", "the collector runs on; later it stops calling", "acknowledge if it really runs; else look at its sensor", High, false, true, 0, 0, false},
	{controller.WhichRuns, "does %s run? It shares its clamp with another machine", "one clamp feeds several machines, and their gates together take too much air", "the air is spread over gates that nobody needs", "press the button of the machine that runs, or call its air on the page", High, false, false, 0, 0, false},
	{controller.DuctNotCarried, "the air in a duct of %s is too slow", "too many gates open, or too few, for this fan", "chips settle and may plug the duct", "stop the machine that the page names, or let it finish alone; the branch is flushed afterwards", High, false, true, 2 * second, 2 * second, false},
	{controller.AirShort, "a machine on %s gets less than 70 %% of its air", "several machines at once", "dust escapes at the hood", "stop one of the machines", High, false, true, 2 * second, 2 * second, false},
	{controller.AirFarShort, "a machine on %s gets less than half of its air", "several machines at once, or a loaded filter", "dust escapes at the hood", "stop one of the machines now", Urgent, false, true, 2 * second, 2 * second, true},
	{controller.StartNotProved, "%s did not start", "breaker, overload, its own switch, the disconnect", "no machine has air", "look at breaker, overload and disconnect, then acknowledge", Urgent, true, true, 0, 0, true},
	{controller.CollectorTripped, "%s stopped by itself", "overload or breaker", "no machine has air", "stop the machines; let the motor cool, find the cause, then acknowledge", Urgent, true, true, 0, 0, true},
	{controller.StopNotProved, "%s does not stop", "a welded contactor, or somebody's own switch", "it runs on and nobody watches", "switch it off at the disconnect; have the contactor looked at; then acknowledge", Urgent, true, true, 0, 0, true},
	{controller.Contactor, "the motor of %s comes and goes", "low control voltage, a loose wire", "contactor and motor overheat", "have the control circuit looked at, then acknowledge", Urgent, true, true, 0, 0, true},
	{controller.PathNotKnown, "%s was stopped: no open way was known", "gates that did not open, a silent servo board", "no machine has air", "open a gate by hand, mend the cause, then acknowledge", Urgent, true, true, 0, 0, true},
	{controller.RunsByHand, "%s runs by its own switch", "a person switched it on there", "the program cannot stop it", "switch it off there when it is no longer wanted", Low, false, false, 2 * second, 0, false},
	{controller.RunsUnattended, "%s has been run by hand for a long time", "somebody switched it on and left", "it runs and nobody watches; it stops by itself a quarter of an hour later", "acknowledge if somebody is there; else put it back to automatic", High, false, true, 0, 0, false},
	{controller.ProofLost, "whether %s runs cannot be read", "its clamp or contact is lost", "no start until it reads again", "look at clamp and wire", High, false, true, 5 * second, 2 * second, false},
	{controller.MustRest, "%s rests before its next start", "it was stopped a moment ago", "the machine has no air until then", "stop the machine until the collector runs", High, false, false, second, 0, false},
	{controller.StartsSpent, "the starts of this hour are spent for %s", "many short runs", "the machine has no air until then", "stop the machine until the collector runs; a longer linger saves starts", High, false, false, second, 0, false},
	{controller.WorkOnCollector, "the disconnect of %s is open", "somebody works on it", "nothing starts and nothing moves", "close the disconnect when the work is done and everybody is clear", Low, false, false, 0, 0, false},
	{controller.BinFull, "the bin of %s is full", "it fills", "chips reach the filter", "switch off and lock the disconnect, wait until the wheel stands, empty the bin", High, false, false, 5 * second, 5 * second, false},
	{controller.FilterLoaded, "the filter of %s is loaded", "fine dust", "less air for every machine", "clean the filter with the disconnect off and locked, wearing a respirator", High, false, false, 60 * second, 60 * second, false},
	{controller.Plugged, "more suction at %s than these gates explain", "a plug in a duct, or a gate that is not open", "no air behind the plug", "stop the machines; look for the plug, see what to do when a duct is plugged", High, false, true, 10 * second, 10 * second, false},
	{controller.SuctionLow, "less suction at %s than these gates explain", "a leak, an open bin, a hose off, or a loaded filter", "less air for every machine", "look at bin, hoses and filter", High, false, true, 10 * second, 10 * second, false},
	{controller.TapUntrue, "a pressure reading at %s cannot be believed", "the transducer's zero has wandered: its hose, water in it, its supply, or age", "plugs and leaks are not seen", "with the fan standing pull its hose off; if the reading stays, correct its zero in the shop file or change it", Low, false, false, 10 * second, 10 * second, false},
	{controller.UncleanEnd, "the program ended in disorder", "a power cut, a crash, a watchdog", "nothing moves until somebody has looked", "look round, then acknowledge and press Ready", High, true, true, 0, 0, false},
}

// Of finds the row of a condition.
func Of(c controller.Condition) (Entry, bool) {
	for _, e := range List {
		if e.Is == c {
			return e, true
		}
	}
	return Entry{}, false
}
