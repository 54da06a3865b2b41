//go:build !race

package main

// underRace says that the race detector is on.
const underRace = false
