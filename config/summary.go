package config

import (
	"fmt"
	"strings"
)

// Rung is one step of what a shop file may have: a file is of use from the first.
type Rung struct {
	Name string // "gates", "buttons", "sensors", "starters", "ducts", "fans"
	Has  bool
	Adds string // what it would add, for a file that lacks it
}

// Rungs tells which steps the file has climbed.
func (s *Shop) Rungs() []Rung {
	var buttons, sensors, starters, fans bool
	for _, m := range s.Machines {
		for _, sensor := range m.Sensors {
			buttons = buttons || sensor.Button != nil
			sensors = sensors || sensor.Button == nil
		}
	}
	for _, c := range s.Collectors {
		starters = starters || c.Starter != nil
		fans = fans || c.Fan != nil
	}
	return []Rung{
		{"gates", len(s.Gates) > 0, "gates move"},
		{"buttons", buttons, "a button calls a machine's air"},
		{"sensors", sensors, "a machine that starts calls its air by itself"},
		{"starters", starters, "the collector starts and stops with the machines"},
		{"ducts", len(s.Ducts) > 0, "the way of the air is known"},
		{"fans", fans, "the air is judged"},
	}
}

// NotJudged says for each collector whose air cannot be judged why not; in a shop without collectors there is one
// sentence.
func (s *Shop) NotJudged() []string {
	if len(s.Collectors) == 0 {
		return []string{"the air is not judged: the file has no collector with a fan, and no ducts"}
	}
	var out []string
	for i, tree := range s.Trees() {
		if tree.Judged {
			continue
		}
		lacks := "ducts"
		switch {
		case s.Collectors[i].Fan == nil && len(tree.Network.Ducts) == 0:
			lacks = "ducts and a fan"
		case s.Collectors[i].Fan == nil:
			lacks = "a fan"
		}
		out = append(out, fmt.Sprintf("the air of %s is not judged: the file has no %s for it", s.Collectors[i].Name, strings.Replace(lacks, " and a", " and no", 1)))
	}
	for i := range out {
		out[i] = strings.Replace(out[i], "no a fan", "no fan", 1)
	}
	return out
}

// Summary counts what the file has, in one line.
func (s *Shop) Summary() string {
	hand := 0
	for _, g := range s.Gates {
		if g.Actuator.Hand != nil {
			hand++
		}
	}
	gates := count(len(s.Gates), "gate")
	switch {
	case hand == len(s.Gates):
		gates += " (moved by hand)"
	case hand > 0:
		gates += fmt.Sprintf(" (%d of them moved by hand)", hand)
	}
	parts := []string{gates}
	for _, p := range []struct {
		n    int
		noun string
	}{{len(s.Machines), "machine"}, {len(s.Collectors), "collector"}, {len(s.Ducts), "duct"}, {len(s.Ports), "port"}, {len(s.Taps), "pressure tap"}} {
		if p.n > 0 {
			parts = append(parts, count(p.n, p.noun))
		}
	}
	return s.Name + ": " + strings.Join(parts, ", ")
}

func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// Notes are things that are no problems and that a person should know about the file.
func (s *Shop) Notes() []string {
	var notes []string
	note := func(format string, args ...any) { notes = append(notes, fmt.Sprintf(format, args...)) }
	for _, c := range s.Collectors {
		if c.Starter == nil {
			note("%s has no starter: a person switches it", c.Name)
			continue
		}
		if said := c.Motor.Covered(); said != "" {
			note("%s: %s", c.Name, said)
		}
		if c.Starter.Line != nil && c.Starter.Pulsed == 0 {
			note("%s is started by a level line, which stays on when the program dies: install the service's forced-off helper, or a pulsed line", c.Name)
		}
		if c.Proof == nil {
			note("%s has no proof: whether its motor follows is not known", c.Name)
		}
		if c.Fan != nil && c.Fan.Guess {
			note("the fan curve of %s is a guess from its nameplate: verdicts on the air are wide", c.Name)
		}
	}
	var unproved []string
	for _, g := range s.Gates {
		if g.Actuator.Hand == nil && g.Actuator.Remote == nil && g.Proof == nil {
			unproved = append(unproved, g.Name)
		}
	}
	if len(unproved) > 0 {
		note("no end switches, so that an open position is assumed after twice the travel: %s", strings.Join(unproved, ", "))
	}
	for _, m := range s.Machines {
		if len(m.Sensors) == 0 {
			note("%s has no sensor and no button: only the page and requests call its air", m.Name)
		}
	}
	if s.Duty.OnDutyAfterPowerUp {
		note("after a clean power-up the automatic is on duty by itself: who stands at the machine then?")
	}
	return notes
}
