package remote_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"ductwarden/current"
)

// post is a broker that hands messages on at once.
type post map[string]func(topic string, payload []byte, retained bool)

func (p post) Watch(filter string, handle func(topic string, payload []byte, retained bool)) {
	p[filter] = handle
}

func TestAttach(t *testing.T) {
	p, now := post{}, time.Second
	m := saw(t, nil)
	m.Attach(p, "plug/power", "plug/online", func() time.Duration { return now })
	p["plug/power"]("plug/power", []byte("800"), true)
	assert.Equal(t, current.Unknown, m.Belief(), "retained is not fresh")
	p["plug/power"]("plug/power", []byte("800"), false)
	assert.Equal(t, current.Running, m.Belief())
	p["plug/online"]("plug/online", []byte("offline"), true)
	assert.Equal(t, current.Unknown, m.Belief(), "gone is not off, whoever kept the word")
	assert.Equal(t, current.Lost, m.Health())
	now = 2 * time.Second
	p["plug/power"]("plug/power", []byte("3"), false)
	assert.Equal(t, current.Idle, m.Belief())
	now = time.Minute
	_, _ = m.Poll(now)
	assert.Equal(t, current.Unknown, m.Belief(), "old is not zero")
}
