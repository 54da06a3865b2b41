package controller

import "ductwarden/controller/plan"

// Condition is one thing that can be wrong: a row of the alarm list.
type Condition uint8

// The conditions. N of a Standing is what its comment names.
const (
	NoCondition      Condition = iota
	GateNotOpen                // gate: did not prove open after one more try
	GateNotClosed              // gate: did not prove closed after one more try
	GateSwitches               // gate: both end switches made, or none while it should rest at an end
	GateMoved                  // gate: left its end without a command
	GateChipSilent             // gate: its chip does not answer
	SensorLost                 // machine: no plausible evidence of its motor
	NoAir                      // machine: makes dust without its air
	MustRestart                // machine: ran before the automatic could see its start; start it again to call the air
	RunsLong                   // machine: reported running longer than longest_run
	WhichRuns                  // machine: shares its clamp, and all on it together do not carry; the loop's own question
	DuctNotCarried             // collector: A weakest duct, B machine whose stop would mend it, V margin
	AirShort                   // collector: A machine with the least share (under 70 %), V share
	AirFarShort                // collector: A machine with the least share (under 50 %), V share
	StartNotProved             // collector: commanded on, no current
	CollectorTripped           // collector: its current ended under command
	StopNotProved              // collector: commanded off, still runs
	Contactor                  // collector: its current comes and goes
	PathNotKnown               // collector: no way to the fan was known to be open, so it was stopped
	RunsByHand                 // collector: runs by its own switch
	RunsUnattended             // collector: run by hand through the program for longer than longest_run
	ProofLost                  // collector: the evidence of its motor is unreadable
	MustRest                   // collector: a demand waits for the motor's rest
	StartsSpent                // collector: a demand waits for the hour's starts budget
	WorkOnCollector            // collector: its disconnect is open
	BinFull                    // collector
	FilterLoaded               // collector: its sensor says so
	Plugged                    // collector: suction above what the model says
	SuctionLow                 // collector: suction below what the model says
	TapUntrue                  // collector: a pressure reading that cannot be believed
	UncleanEnd                 // shop: the program ended in disorder
	conditions                 // how many there are
)

// Conditions lists all conditions in order.
func Conditions() []Condition {
	out := make([]Condition, 0, conditions-1)
	for c := NoCondition + 1; c < conditions; c++ {
		out = append(out, c)
	}
	return out
}

var conditionKeys = [conditions]string{
	"", "gate_not_open", "gate_not_closed", "gate_switches", "gate_moved", "gate_chip_silent", "sensor_lost",
	"no_air", "must_restart", "runs_long", "which_runs", "duct_not_carried", "air_short", "air_far_short", "start_not_proved",
	"collector_tripped", "stop_not_proved", "contactor", "path_not_known", "runs_by_hand", "runs_unattended", "proof_lost", "must_rest",
	"starts_spent", "work_on_collector", "bin_full", "filter_loaded", "plugged", "suction_low", "tap_untrue", "unclean_end",
}

// String is the condition's key in messages, topics and transcripts.
func (c Condition) String() string {
	if c >= conditions {
		return "unknown"
	}
	return conditionKeys[c]
}

// Subject is what the N of a Standing numbers.
type Subject uint8

// The subjects.
const (
	OfShop Subject = iota
	OfGate
	OfMachine
	OfCollector
)

// Of tells what kind of thing the condition concerns.
func (c Condition) Of() Subject {
	switch {
	case c >= GateNotOpen && c <= GateChipSilent:
		return OfGate
	case c >= SensorLost && c <= WhichRuns:
		return OfMachine
	case c >= DuctNotCarried && c <= TapUntrue:
		return OfCollector
	}
	return OfShop
}

// Standing is a condition that holds now. Is and N are its identity; A, B and V are details that may change
// while it stands.
type Standing struct {
	Is   Condition
	N    uint8      // gate, machine or collector; Everything for the shop
	A, B uint8      // as the condition says; plan.NoDuct, plan.NoMachine where there is none
	V    plan.Ratio // as the condition says
}
