package hand_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"ductwarden/gates"
	"ductwarden/gates/gatestest"
	"ductwarden/gates/hand"
)

func TestConformance(t *testing.T) {
	gatestest.Run(t, func(*testing.T) gatestest.Rig {
		return gatestest.Rig{Actuator: hand.Gate{}, Pushing: func(time.Duration) gates.Drive { return gates.DriveNone }}
	})
	assert.Equal(t, "hand", hand.Gate{}.String())
}
