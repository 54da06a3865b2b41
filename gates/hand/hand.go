// Package hand is the gate that a person slides: there is nothing to drive. Its position is known only where
// contacts at its ends show it.
package hand

import (
	"time"

	"ductwarden/gates"
)

// Gate is a gate without an actuator.
type Gate struct{}

var _ gates.Actuator = Gate{}

// Drive does nothing: the person is told what to slide by other means.
func (Gate) Drive(time.Duration, gates.Drive) error { return nil }

// Poll never has anything to do.
func (Gate) Poll(time.Duration) (time.Duration, error) { return 0, nil }

// Halt does nothing.
func (Gate) Halt() error { return nil }

// String is "hand".
func (Gate) String() string { return "hand" }
