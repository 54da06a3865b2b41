// Package plan chooses which gates to open for a demand, and says why. It is pure: the same question gives
// the same answer. One planner serves one collector's tree.
//
// Reading order: plan.go (what is asked and answered), tree.go (what is known of the shop), question.go (a
// question laid out on the tree), judge.go (a pattern's verdict), index.go (finding it again), rank.go (the order
// of choice), carry.go (the fewest gates that carry), widest.go (the largest least ratio where nothing carries),
// choose.go (ranks of demand, what stays undone), explain.go (the sentence), survey.go (all demands).
package plan

import (
	"ductwarden/controller/airflow"
	"ductwarden/gates"
)

// Ratio is a fraction in 1/10000 (500 = 5 %), rounded once where airflow hands a verdict over. Only ratios are
// compared, never floats.
type Ratio = airflow.Ratio

// NoRatio marks a ratio that is undefined (an empty pattern, a port without a wanted airflow, air not judged).
const NoRatio = airflow.NoRatio

// Transport is the verdict on the carrying ducts.
type Transport = airflow.Grade

// The verdicts, best first.
const (
	Carries   = airflow.Carries
	Creeps    = airflow.Creeps
	Settles   = airflow.Settles
	NotJudged = airflow.NotJudged // no ducts or no fan in the shop file, or nothing is demanded
)

// Question is everything a choice depends on besides the shop itself. Machines and gates of other collectors
// may stand in the sets; they are passed over.
type Question struct {
	Running   gates.Set // machines whose motor runs
	Down      gates.Set // machines still running down, or whose last chips are on their way
	Open      gates.Set // gates open now
	Usable    gates.Set // gates that the program may open (not failed shut, not Off, not a hand gate)
	StuckOpen gates.Set // gates that cannot be closed (failed open, held open, a hand gate seen open): open whatever is chosen
	Loaded    bool      // a filter sensor says clean (false) or loaded (true); without a sensor ask loaded
}

// NoMachine stands for "no machine" in an answer.
const NoMachine = 255

// NoDuct stands for "no duct" in an answer.
const NoDuct = 255

// Answer is a pattern and what the model says of it.
//
// Hand gates that nobody needs are the person's: they should be shut, and may be open. Verdict, Margin, Share,
// Weakest, Short and Clear are of exactly the pattern Open, with all others shut; Worst and WorstMargin are
// with the hand gates as bad as they can stand. A pattern that carries either way is chosen where there is one
// (and where that costs no port its full air); else hand gates count as shut.
type Answer struct {
	Open     gates.Set // all gates to be open: needed, stuck and relief. A hand gate in it is for the person to open
	Needed   gates.Set // gates on the way of a demanded port
	Relief   gates.Set // opened only for their air
	Left     gates.Set // machines running down whose ways do not carry beside the running ones: flush later
	Unserved gates.Set // demanded machines with a gate on their way that can not be opened

	Verdict Transport // of the carrying ducts of all demanded machines that can have air
	Worst   Transport // the same, hand gates as bad as they can stand; Verdict when that changes nothing
	Weakest uint8     // duct of the margin, by its place in the collector's network; NoDuct
	Short   uint8     // machine with the least share; NoMachine
	Mend    uint8     // machine whose stop would let the rest carry; NoMachine
	Bounded bool      // the search ended at its count of solves: a better pattern may exist

	Margin      Ratio // least speed over transport speed, less 1; NoRatio when not judged
	WorstMargin Ratio // the same, hand gates as bad as they can stand
	Share       Ratio // least flow over wanted at the demanded ports; NoRatio when none states a wish

	Clear gates.Span // way of the last chip over its air speed, times the factor: least time under power after the demand
}

// Planner answers questions for one collector. Choose is total and bounded by counted solves, never by time.
type Planner interface {
	Choose(Question) Answer
}
