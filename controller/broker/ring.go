package broker

import (
	"time"

	"ductwarden/controller/publish"
)

// ring is how many events are kept while the broker is away; the oldest go first.
const ring = 256

type event struct {
	m  publish.Message
	at time.Time // when it was told
}

// events is that ring: a fixed piece of memory, so that keeping up to date costs the same however long the
// broker is away.
type events struct {
	kept  [ring]event
	first int
	n     int
}

// push adds the newest, and reports whether the oldest had to go.
func (e *events) push(v event) (dropped bool) {
	if e.n == ring {
		e.pop()
		dropped = true
	}
	e.kept[(e.first+e.n)%ring] = v
	e.n++
	return dropped
}

// back puts one before all others, unless there is no room: then it is the oldest, and goes.
func (e *events) back(v event) (dropped bool) {
	if e.n == ring {
		return true
	}
	e.first = (e.first + ring - 1) % ring
	e.kept[e.first] = v
	e.n++
	return false
}

// pop takes the oldest.
func (e *events) pop() (event, bool) {
	if e.n == 0 {
		return event{}, false
	}
	v := e.kept[e.first]
	e.kept[e.first] = event{} // lets go of the payload
	e.first = (e.first + 1) % ring
	e.n--
	return v, true
}
