// Package fit brings the airflow model to what was measured: air speeds, flows or static pressures at some places
// with some gates open. It moves the uncertain numbers (fan, filter, hoses, hoods, leaks) by factors, each held to
// its default by how uncertain it is, says which of them the readings determine, and is not thrown by one bad
// reading. The algebra is gonum's.
package fit
