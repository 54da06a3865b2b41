// Package simshop is a whole shop made of numbers: motors with inrush, hum and noise, cutters that run down,
// servos that follow their pulses, relay gates with end switches, a fan wheel that spins up and coasts, a charge
// pump on the start line, and the air in the ducts by the model. It is built from any shop file. Drivers meet it
// through the same registers and lines as they meet metal, so what is rehearsed here is what runs there.
//
// Everything happens in the scheduler's time and on its one goroutine (the virtual front end); the same seed
// gives the same shop, to the last bit of noise.
package simshop
