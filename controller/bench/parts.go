package bench

import (
	"time"

	"ductwarden/controller"
	"ductwarden/controller/loop"
)

// Loop is the running shop as the bench needs it; *loop.Loop is one.
type Loop interface {
	Reserve() error
	Free()
	Sight(out []loop.Seen) []loop.Seen
	Lend(gate int, to loop.Borrower) bool
	Nudge(gate int)
	Return(gate int)
	Unheard(gate int) bool
	Snapshots() *loop.Hub[controller.Snapshot]
}

// File is the person's shop file.
type File interface {
	// Preview gives the text as it stands now and with the changes in it. What comes out has been checked; the
	// error is one sentence.
	Preview(changes []Change) (before, after []byte, err error)
	// Keep writes the changes.
	Keep(changes []Change) error
}

// Props are the hands of a rehearsal: they switch what a person would. They are used on the core's lane.
type Props interface {
	Switch(machine int, on bool)
	Blade(gate int) float64 // 0 closed to 1 open
}

// Parts are what a bench is made of. Places in Machines and Gates are those of the shop file.
type Parts struct {
	Loop     Loop
	Machines []Machine
	Gates    []Gate
	Inputs   []Input
	File     File  // nil: what is found cannot be written here
	Props    Props // nil: metal
}

// Machine is a machine of the shop file.
type Machine struct {
	Name, ID string
	Path     string   // machines[0]
	Sensor   string   // path of its clamp, machines[0].sensors[1].clamp; "": it has none
	Also     []string // paths of other machines' clamps that are this same one
	Input    string   // name of the clamp's input
}

// Input is a converter's input with a clamp.
type Input struct {
	Name          string
	Bus           string // the device of its bus
	Watches       []string
	Running, Idle float64 // A, as the file says
	Most          float64 // A, the largest true RMS of a sine that it can show
}

// Gate is a gate of the shop file. Exactly one of Servo and Motor is set where the bench can move it.
type Gate struct {
	Name, ID string
	Path     string // gates[0]
	Actuator string // chip and channel, or lines
	Bus      string // the device of its chip's bus; "" for lines
	Servo    *Servo
	Motor    *Motor
}

// Servo is what the file says of a gate's servo. Ends that are not known yet are zero.
type Servo struct{ Open, Closed, Least, Most time.Duration }

// Motor is what the file says of a gate's motor.
type Motor struct{ Travel time.Duration }
