package controller

import "fmt"

// Reason numbers a cause that is told to a person: why something was done, refused or is waited for. Sentence says
// it, Say says it of an effect with its names.
type Reason uint8

// The reasons. Those of effects name what V of the effect numbers, where it numbers something.
const (
	NoReason Reason = iota

	// Why a gate opens, in the order in which several open at once.
	BecausePath           // a turning fan has no known way
	BecauseRuns           // machine V runs
	BecauseCalled         // machine V's button was pressed, or its air was called
	BecauseRunsDown       // machine V runs down
	BecauseMovedBack      // it was moved by hand
	BecauseTriesAgain     // it did not prove at the first try
	BecauseHeld           // a person holds it
	BecauseRelief         // its air brings a duct up to speed
	BecauseFlush          // machine V's branch had too little air
	BecauseEverythingOpen // the shop is designed with all gates open

	// Why a gate closes or rests.
	BecauseNotNeeded
	BecauseArrived // its switch shows the end
	BecauseAssumed // twice its travel time is over
	BecauseGaveUp  // it did not prove at the second try either
	BecauseYields  // a running machine's gate goes first
	BecauseChipSilent
	BecauseChipReset
	BecauseGateOff

	// Why a collector starts or stops.
	BecauseLingered
	BecauseLongestLinger
	BecauseFinish
	BecauseHalted
	BecauseStartNotProved
	BecauseTripped
	BecauseContactor
	BecauseNoPath
	BecauseRestarted
	BecauseShopChanged

	// Why a collector waits, or is in its phase.
	BecauseRests
	BecauseStartsSpent
	BecauseOtherStarts
	BecauseNoWay
	BecauseProofUnreadable
	BecauseWheelTurns
	BecauseDemand
	BecauseRunDown
	BecauseClearing
	BecauseLinger
	BecauseBudget
	BecauseLeastRun
	BecauseOwnSwitch
	BecauseStopNotProved
	BecauseStartProof
	BecauseNobody

	// Why a request is refused.
	BecauseStandingBy
	BecauseOnDuty
	BecauseUnclean
	BecauseNoSuchThing
	BecauseBadValue
	BecauseHandGate
	BecauseGateFailed
	BecauseOnlyPath
	BecauseNetworkMayNot
	BecauseDisconnectOpen
	BecauseLatched
	BecauseNoStarter
	BecauseCollectorOff

	// What is noted.
	BecauseStillStanding // acknowledged, and stays until its cause is gone
	BecauseFlushed       // machine N's branch
	BecauseNotFlushed    // machine N's branch carries too little even alone

	// Why a request is refused, besides those above.
	BecauseBench // a gate is jogged or a machine is learnt

	reasons
)

var sentences = [reasons]string{
	BecausePath:           "the fan has no other way known to be open",
	BecauseRuns:           "a machine runs",
	BecauseCalled:         "a machine's air is called",
	BecauseRunsDown:       "a machine runs down",
	BecauseMovedBack:      "it was moved without a command",
	BecauseTriesAgain:     "it has not proved its end; it is tried once more",
	BecauseHeld:           "a person wants it on",
	BecauseRelief:         "its air brings a duct up to speed",
	BecauseFlush:          "a branch had too little air and is cleared",
	BecauseEverythingOpen: "the shop works with all gates open",

	BecauseNotNeeded:  "no machine needs it",
	BecauseArrived:    "it is there",
	BecauseAssumed:    "it has had twice its travel time",
	BecauseGaveUp:     "it did not prove its end",
	BecauseYields:     "another gate is needed first",
	BecauseChipSilent: "its chip does not answer: look at its supply and its wiring",
	BecauseChipReset:  "its chip has forgotten everything",
	BecauseGateOff:    "a person has taken it out of the automatic",

	BecauseLingered:       "the shop is quiet",
	BecauseLongestLinger:  "the shop has been quiet for as long as it may run on",
	BecauseFinish:         "a person said finish",
	BecauseHalted:         "the shop is halted: press Ready when all is well",
	BecauseStartNotProved: "its motor drew no current",
	BecauseTripped:        "its current ended by itself",
	BecauseContactor:      "its current comes and goes",
	BecauseNoPath:         "no way to the fan was known to be open",
	BecauseRestarted:      "the program has started",
	BecauseShopChanged:    "the shop file has changed",

	BecauseRests:           "the motor rests before its next start",
	BecauseStartsSpent:     "the starts of this hour are spent",
	BecauseOtherStarts:     "another collector is just starting",
	BecauseNoWay:           "no way to the fan is known to be open yet",
	BecauseProofUnreadable: "the proof of its motor cannot be read: mend the sensor first",
	BecauseWheelTurns:      "the wheel still turns",
	BecauseDemand:          "a machine makes dust",
	BecauseRunDown:         "a cutter still turns",
	BecauseClearing:        "the last chips are on their way",
	BecauseLinger:          "it stays on for the next cut",
	BecauseBudget:          "it stays on because the next start could not be afforded yet",
	BecauseLeastRun:        "it stays on for its least run",
	BecauseOwnSwitch:       "it runs by its own switch",
	BecauseStopNotProved:   "it still runs: switch it off at its disconnect",
	BecauseStartProof:      "the start line is on and its motor is to show current",
	BecauseNobody:          "nobody needs it",

	BecauseStandingBy:     "the shop is standing by: press Ready first",
	BecauseOnDuty:         "the shop is on duty already",
	BecauseUnclean:        "the program ended in disorder: look round and acknowledge that first",
	BecauseNoSuchThing:    "the shop has nothing by that number",
	BecauseBadValue:       "that value is not possible here",
	BecauseHandGate:       "this gate is moved by hand: slide it",
	BecauseGateFailed:     "this gate did not prove its end: look at it and acknowledge first",
	BecauseOnlyPath:       "this gate is the only way known to be open while the fan turns: wait until it stands",
	BecauseNetworkMayNot:  "the shop file does not let the network ask for this: see commands under mqtt",
	BecauseDisconnectOpen: "the disconnect is open: close it when the work is done",
	BecauseLatched:        "a fault of the collector waits: look at it and acknowledge first",
	BecauseNoStarter:      "the program cannot switch this collector",
	BecauseCollectorOff:   "a person has taken the collector out of the automatic",
	BecauseBench:          "somebody jogs a gate or learns a machine: wait until that is done",

	BecauseStillStanding: "acknowledged; it stays until its cause is gone",
	BecauseFlushed:       "the branch has been cleared",
	BecauseNotFlushed:    "the branch cannot be cleared by air: look into it",
}

// Sentence says the reason to a person, without names.
func (r Reason) Sentence() string {
	if r < reasons {
		return sentences[r]
	}
	return "for a reason that this program does not know"
}

// String is the reason's sentence.
func (r Reason) String() string { return r.Sentence() }

// reasonRanks is how many ranks gates of one kind of effect are told in.
const reasonRanks = int(BecauseEverythingOpen) + 2

// rank orders gates that open in the same step by why they do; all other reasons come last.
func (r Reason) rank() int {
	if r >= BecausePath && r <= BecauseEverythingOpen {
		return int(r)
	}
	return reasonRanks - 1
}

// Why says why an effect is asked for, with the names of the shop.
func (p *Shop) Why(e Effect) string {
	name := func(n int32) string {
		if n >= 0 && int(n) < len(p.Machines) {
			return p.Machines[n].Name
		}
		return "a machine"
	}
	switch e.Why {
	case NoReason:
		return ""
	case BecauseRuns:
		return name(e.V) + " runs"
	case BecauseRunsDown:
		return name(e.V) + " runs down"
	case BecauseCalled:
		return "the air of " + name(e.V) + " is called"
	case BecauseFlush:
		return fmt.Sprintf("the branch of %s is cleared", name(e.V))
	case BecauseFlushed:
		return fmt.Sprintf("the branch of %s has been cleared", name(int32(e.N)))
	case BecauseNotFlushed:
		return fmt.Sprintf("the branch of %s cannot be cleared by air: look into it", name(int32(e.N)))
	}
	return e.Why.Sentence()
}
