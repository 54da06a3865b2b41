//go:build race

package fit

// Under the race detector a tenth of the shops will do: nothing here is shared between goroutines.
const shops = 20
