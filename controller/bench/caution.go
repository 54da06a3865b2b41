package bench

import "ductwarden/controller/cautions"

// Cautions of the procedures themselves, beside those that the one source gives for each verb. They are facts to be
// read before something moves, not promises of the program.
var (
	jogOwn   = []string{"The first pulse moves the gate at full speed from wherever it stands. Look that no hand is at it before you press a key."}
	learnOwn = []string{
		"You will start the machine: take the workpiece and every tool off it, leave the guards on, and stand where you stand when you cut.",
		"Keep away from the cutter until you have seen it stand. Its sound is not enough.",
	}
)

// JogCautions are to be read before a gate is jogged, LearnCautions before a machine is learnt, ListenCautions beside
// live currents, DraftCautions beside a first shop file.
func JogCautions() []string { return append(met("jog"), jogOwn...) }

// LearnCautions are to be read before a machine is learnt.
func LearnCautions() []string { return append(met("learn"), learnOwn...) }

// ListenCautions belong to live currents.
func ListenCautions() []string { return met("listen") }

// DraftCautions belong to a first shop file.
func DraftCautions() []string { return met("new") }

// met are the cautions that a person meets at a verb.
func met(verb string) []string {
	var out []string
	for _, c := range cautions.At(cautions.Verb(verb)) {
		out = append(out, c.Title+" "+c.Text)
	}
	return out
}
