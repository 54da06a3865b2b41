package controller

import "ductwarden/gates"

// Outputs is what must be on now: the level form of the effects. The loop asserts it again on every scan, so
// that a lost effect heals.
type Outputs struct {
	Lines        Set                   // collectors whose start line is on
	Drive        [MaxGates]gates.Drive // what each actuator is asked to push
	StandingBy   bool                  // nothing moves until a person presses Ready
	NoAir        bool                  // a machine makes dust without its air
	Alarm        bool                  // a condition stands that a person must know; the loop adds the alarms not yet acknowledged
	StartingSoon bool                  // a collector is about to start
	AirReady     Set                   // machines whose gates are open and whose collector runs up to speed
}
