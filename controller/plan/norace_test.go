//go:build !race

package plan

// underRace says that the race detector is on.
const underRace = false
