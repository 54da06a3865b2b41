package controller

// Defaults of control. Each may be changed in the shop file; its source stands beside it.
const (
	DefaultLeastClearing  = 15 * Second // common practice: longer than the way of a chip through 30 m at 20 m/s times a slip of 0.5 (3 s)
	DefaultLinger         = 4 * Minute  // own choice: longer than the rest of every listed motor
	DefaultLongestLinger  = 15 * Minute // own choice: limits unattended running, when dust fires start (HSE WIS 23)
	DefaultMovingAtOnce   = 2           // own choice: two servos at stall on a 5 V supply of 5 A
	DefaultMovesPerMinute = 6           // own choice: wear of a hobby servo
	DefaultLongestRun     = 4 * Hour    // own choice: longer than a working session
	DefaultLongRunGrace   = 15 * Minute // own choice: a person can reach the button
	DefaultInrushSpacing  = 3 * Second  // a start takes 1 to 3 s (start capacitor sheet: about 1 s, rarely over 3 s)
	DefaultWarning        = 5 * Second  // own choice: time to take a hand away
	DefaultPathLost       = 3 * Second  // as long as a gate may take to prove
	DefaultRest           = 83 * Second // NEMA MG 10-2001 Table 2-3, 5 hp 2-pole
	DefaultStartsPerHour  = 8           // NEMA MG 10-2001 Table 2-3, 5 hp 2-pole: 8.1, rounded down
	DefaultLeastRun       = 60 * Second // own choice: a start's heat leaves by the motor's own fan
	DefaultSpinUp         = 3 * Second  // a start takes 1 to 3 s
	DefaultCoast          = 75 * Second // nine time constants of an assumed 5 hp wheel (8 s), computed: 10 % of the speed is left
	DefaultProveOn        = 2 * Second  // own choice: a motor that draws nothing for 2 s does not start
	DefaultProveOff       = 3 * Second  // own choice: a current follows its contactor within one cycle
)

// Budget is what a motor's starts may cost it.
type Budget struct {
	StartsPerHour uint8
	Rest          Span
}

// BudgetNotice goes with every default budget that is shown to a person.
const BudgetNotice = "NEMA MG 10 Table 2-3 covers polyphase design A and B motors; single-phase motors and heavy wheels are not covered, and the maker's figure wins"

// starts are the single values of NEMA MG 10-2001 Table 2-3 that are used: the table's starts per hour,
// rounded down, and its least rest. Rising power for each number of poles.
var starts = [...]struct {
	poles      int
	milliwatts int64 // 1 hp = 745.7 W
	budget     Budget
}{
	{2, 1_118_550, Budget{12, 76 * Second}}, // 1.5 hp: 12.9/h, 76 s
	{2, 2_237_100, Budget{9, 80 * Second}},  // 3 hp: 9.9/h, 80 s
	{2, 3_728_500, Budget{8, 83 * Second}},  // 5 hp: 8.1/h, 83 s
	{4, 3_728_500, Budget{16, 42 * Second}}, // 5 hp: 16.3/h, 42 s
}

// DefaultBudget is the starts budget of a motor of the given shaft power in watts and number of poles by NEMA
// MG 10-2001 Table 2-3: the values of the next larger motor that is listed, rounded down. Without power or
// poles, or for a motor that the list does not reach, it is 8 starts an hour with 83 s of rest, and covered is
// false: then the maker's figure is needed. See BudgetNotice.
func DefaultBudget(watts float64, poles int) (b Budget, covered bool) {
	for _, s := range starts {
		if s.poles == poles && watts > 0 && int64(watts*1000) <= s.milliwatts {
			return s.budget, true
		}
	}
	return Budget{DefaultStartsPerHour, DefaultRest}, false
}
