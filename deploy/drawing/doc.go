// Package drawing makes the wiring drawings that stand beside it as SVG, from one source each: what is drawn and what is
// computed cannot part. Only extra-low voltage is drawn; the mains side is a closed box with its functions and ratings.
// A test writes the files with -update and compares them otherwise.
package drawing
