//go:build !race

package fit

// shops is how many synthetic shops the proof goes through.
const shops = 200
