package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"ductwarden/config"
	"ductwarden/controller/bench"
)

// measures are the units in which a person answers.
type measures struct {
	us     bool
	narrow string // of diameters
	long   string // of runs
	flow   string
	press  string
	power  string
}

var (
	metricMeasures = measures{false, "mm", "m", "m3/h", "Pa", "kW"}
	usMeasures     = measures{true, "in", "ft", "cfm", "inH2O", "hp"}
)

// shop asks everything and returns the text of the file.
func (a *asker) shop(ctx context.Context) ([]byte, error) {
	d := &bench.Draft{Shop: "my shop", Units: "metric", Poles: 2, Phases: 1}
	m := metricMeasures
	steps := []func() error{
		func() error {
			return a.ask(ctx, "What is the shop called?", d.Shop, "A name of your own; it stands on the page.", called(&d.Shop))
		},
		func() error {
			var unit string
			err := a.pick(ctx, "Do you measure in mm or in inches?", &unit, []string{"mm", "inches"}, "The file may mix both later.")
			if unit == "inches" {
				m, d.Units = usMeasures, "us"
			}
			return err
		},
		func() error {
			return a.ask(ctx, "Which machines need dust collection? Names with commas between; a floor sweep counts too.", required,
				"For example: table saw, planer, bandsaw, floor sweep. Each gets a gate of its own.", machines(d))
		},
		func() error { return a.mover(ctx, d) },
		func() error { return a.sense(ctx, d) },
		func() error { return a.collector(ctx, d, m) },
		func() error { return a.pipes(ctx, d, m) },
	}
	for _, step := range steps {
		if err := step(); err != nil {
			return nil, err
		}
	}
	return []byte(d.Text()), nil
}

// pick asks for one of several words; the first is the usual one, and beginnings count.
func (a *asker) pick(ctx context.Context, question string, to *string, words []string, help string) error {
	return a.ask(ctx, question+" ("+strings.Join(words, ", ")+")", words[0], help, func(s string) error {
		for _, w := range words {
			if strings.HasPrefix(w, strings.ToLower(s)) {
				*to = w
				return nil
			}
		}
		return fmt.Errorf("that is none of them: answer with %s", strings.Join(words, ", "))
	})
}

func called(to *string) func(string) error {
	return func(s string) error {
		if s == "" || len([]rune(s)) > 40 || strings.ContainsFunc(s, func(r rune) bool { return r < ' ' }) {
			return errors.New("a name has 1 to 40 letters")
		}
		*to = s
		return nil
	}
}

// machines reads the list of machines.
func machines(d *bench.Draft) func(string) error {
	return func(s string) error {
		d.Machines = nil
		for name := range strings.SplitSeq(s, ",") {
			name = strings.TrimSpace(name)
			if name == "" {
				continue
			}
			var checked string
			if err := called(&checked)(name); err != nil {
				return fmt.Errorf("%q: %w", clip(name, 30), err)
			}
			if slices.ContainsFunc(d.Machines, func(m bench.DraftMachine) bool { return strings.EqualFold(m.Name, name) }) {
				return fmt.Errorf("%q is named twice: give each a name of its own", name)
			}
			d.Machines = append(d.Machines, bench.DraftMachine{Name: name, Sweep: strings.Contains(strings.ToLower(name), "sweep")})
		}
		switch n := len(d.Machines); {
		case n == 0:
			return errors.New("name one machine at least, like: table saw")
		case n > bench.MostDrafted:
			return fmt.Errorf("these are %d machines, and a first file takes %d: leave some out and add them in the file later", n, bench.MostDrafted)
		}
		return nil
	}
}

func (a *asker) mover(ctx context.Context, d *bench.Draft) error {
	return a.ask(ctx, "How are the gates moved? (servo, hand, motor)", "servo",
		"servo: hobby servos on a PCA9685 board, one board for 16. motor: a motor or linear actuator behind two relays. hand: you slide them; the program then only tells and switches the collector.",
		func(s string) error {
			var w string
			for _, known := range []string{"servo", "hand", "motor"} {
				if strings.HasPrefix(known, strings.ToLower(s)) {
					w = known
				}
			}
			switch {
			case w == "":
				return errors.New("that is none of them: answer with servo, hand or motor")
			case w == "motor" && 2*len(d.Machines) > bench.MostButtons:
				return fmt.Errorf("%d motors need %d lines, and a first file has %d: take servos, or leave machines out", len(d.Machines), 2*len(d.Machines), bench.MostButtons)
			}
			d.Mover = w
			return nil
		})
}

func (a *asker) sense(ctx context.Context, d *bench.Draft) error {
	free := bench.MostButtons
	if d.Mover == "motor" {
		free -= 2 * len(d.Machines)
	}
	return a.ask(ctx, "How does the program notice that a machine runs? (clamp, contact, button, none)", "clamp",
		"clamp: a current clamp round one conductor, on an ADS1115 converter of four inputs; an electrician fits it. contact: a dry contact of the machine's switch. button: you press it. none: you use the page.",
		func(s string) error {
			for _, known := range []string{"clamp", "contact", "button", "none"} {
				if !strings.HasPrefix(known, strings.ToLower(s)) {
					continue
				}
				if (known == "contact" || known == "button") && len(d.Machines) > free {
					return fmt.Errorf("%d machines need a line each, and %d are left: take clamps", len(d.Machines), free)
				}
				d.Sense = known
				return nil
			}
			return errors.New("that is none of them: answer with clamp, contact, button or none")
		})
}

func (a *asker) collector(ctx context.Context, d *bench.Draft, m measures) error {
	var yes string
	if err := a.pick(ctx, "Shall the program switch the collector?", &yes, []string{"no", "yes"},
		"It needs a relay and a contactor that an electrician wires, and a hand switch at the collector. It can be added later."); err != nil {
		return err
	}
	d.Starter = yes == "yes"
	return a.ask(ctx, "What motor power does the collector's label say?", "", "Like 1.5 kW or 2 hp. Enter, where you do not know: then 8 starts an hour are allowed.", a.quantity(&d.Power, config.Power, m.power, 0.05e3, 15e3, true))
}

// quantity reads a quantity in the person's unit; empty may stand for not known.
func (a *asker) quantity(to *string, kind config.Kind, unit string, least, most float64, optional bool) func(string) error {
	return func(s string) error {
		if s == "" && optional {
			*to = ""
			return nil
		}
		text := strings.ReplaceAll(s, ",", ".")
		if _, err := strconv.ParseFloat(text, 64); err == nil {
			text += " " + unit
		}
		v, err := config.ParseQuantity(kind, text)
		if err != nil {
			return err
		}
		if v < least || v > most {
			return fmt.Errorf("%s is not between %s and %s", text, config.FormatQuantity(kind, least, units(unit)), config.FormatQuantity(kind, most, units(unit)))
		}
		*to = text
		return nil
	}
}

func units(unit string) config.Units {
	switch unit {
	case usMeasures.narrow, usMeasures.long, usMeasures.flow, usMeasures.press, usMeasures.power:
		return config.US
	}
	return config.Metric
}
