package bus

import (
	"errors"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
)

// What keeps a device file from opening is told with its likely cause and the next step.
func TestOpenSentence(t *testing.T) {
	say := func(pattern string, err error) string {
		return openSentence("I2C bus", "/dev/i2c-1", "i2c", pattern, "switch I2C on in the board's boot configuration", err).Error()
	}
	for _, err := range []error{syscall.EACCES, syscall.EPERM} {
		s := say("/nowhere/*", err)
		assert.Contains(t, s, "no permission for the I2C bus /dev/i2c-1")
		assert.Contains(t, s, "add this user to the group i2c")
		assert.NotContains(t, s, "\n")
	}
	assert.Contains(t, say("/nowhere/*", syscall.ENOENT), "nor any other here: switch I2C on")
	assert.Contains(t, say("/dev/nul*", syscall.ENOENT), "this computer has /dev/null: name one of these")
	assert.Contains(t, say("/nowhere/*", syscall.EBUSY), "in use by another program")
	assert.Contains(t, say("/nowhere/*", errors.New("odd")), "check that the name is right")
}
