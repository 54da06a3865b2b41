// Package takeoff counts what a duct system needs: pipe cut from stock lengths, fittings, gates, supports,
// bonding, servos, converter channels, supply and cable. It is pure. Lengths are whole millimetres.
package takeoff
