package airflow

import "ductwarden/gates"

// Limits that are noted, never alarmed. Source: DGUV Information 209-044 (Feb 2019), foreword: up to 28 m/s,
// more only makes noise and wear; at most 1500 Pa of static suction at a port.
const (
	FastSpeed  = 28.0   // m/s
	PortLimit  = 1500.0 // Pa
	dguvSource = "DGUV Information 209-044, foreword"
)

// NoteKind says what a note is about.
type NoteKind uint8

// The notes.
const (
	TooFast    NoteKind = iota // a duct's air is faster than FastSpeed: noise, wear
	TooStrong                  // a port's static suction is above PortLimit
	Overloaded                 // the motor takes more than its rating
	TooLittle                  // the fan flows less than its stated least
	OffSheet                   // the operating point lies beyond the last point of the fan's sheet
)

// Note is something worth knowing about a pattern that decides nothing.
type Note struct {
	Kind  NoteKind
	Place int     // duct or port; -1 for the fan
	Value float64 // m/s, Pa, W or m3/s
	Limit float64
}

// Notes looks at a pattern in one filter state: its carrying ducts for speed, its demanded ports for suction,
// the fan for its motor and its flow. Speed and motor power are highest with a clean filter.
func (s *Solver) Notes(open, demand gates.Set, state State) []Note {
	m := s.m
	if !m.judged {
		return nil
	}
	r := s.Solve(open, state)
	var out []Note
	for i, v := range r.Velocity {
		if m.portsAbove[i]&demand != 0 && RatioOf(v/FastSpeed) > 1e4 {
			out = append(out, Note{TooFast, i, v, FastSpeed})
		}
	}
	for i, p := range r.PortSuction {
		if demand.Has(i) && RatioOf(p/PortLimit) > 1e4 {
			out = append(out, Note{TooStrong, i, p, PortLimit})
		}
	}
	f := &m.net.Fan
	if f.Motor > 0 && RatioOf(r.MotorPower/f.Motor) > 1e4 {
		out = append(out, Note{Overloaded, -1, r.MotorPower, f.Motor})
	}
	if f.Least > 0 && RatioOf(r.FanFlow/f.Least) < 1e4 {
		out = append(out, Note{TooLittle, -1, r.FanFlow, f.Least})
	}
	if last := f.Curve[len(f.Curve)-1].Flow; RatioOf(r.FanFlow/last) > 1e4 {
		out = append(out, Note{OffSheet, -1, r.FanFlow, last})
	}
	return out
}
