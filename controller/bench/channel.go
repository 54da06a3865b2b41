package bench

import (
	"fmt"
	"slices"
	"strings"

	"ductwarden/current"
)

// channels shows every input live.
func (b *Bench) channels() []Channel {
	out := []Channel{}
	for _, s := range b.parts.Loop.Sight(nil) {
		in := b.input(s.Name)
		c := Channel{Name: s.Name, Watches: append([]string{}, in.Watches...), Health: s.Health.String(), State: stateOf(s.Belief),
			RunningA: in.Running, IdleA: in.Idle, MostA: in.Most}
		if s.Measured && !s.Health.Blind() {
			a := float64(s.Milliamperes) / 1000
			c.CurrentA = &a
		}
		switch s.Health {
		case current.Good, current.HealthUntried:
		case current.Clipped:
			c.Words = fmt.Sprintf("it reaches the end of what it can show, %.1f A: figures above are too low", in.Most)
		case current.Noisy:
			c.Words = "its current at rest is above half of its running threshold: learn the machine, or look for a drive's cable beside the clamp's lead"
		default:
			c.Words, c.Suspects = deadClamp(listed(in.Watches), in, s.Health).Text, true
		}
		out = append(out, c)
	}
	slices.SortFunc(out, func(a, b Channel) int { return strings.Compare(a.Name, b.Name) })
	return out
}

func stateOf(b current.Belief) string {
	switch b {
	case current.Running:
		return "running"
	case current.Idle:
		return "idle"
	}
	return "unknown"
}
