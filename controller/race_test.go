//go:build race

package controller_test

const underRace = true
