package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"

	"ductwarden/config"
	"ductwarden/controller/bench"
)

// pipes asks for ducts and fan, where the person wants the air to be judged.
func (a *asker) pipes(ctx context.Context, d *bench.Draft, m measures) error {
	var yes string
	if err := a.pick(ctx, "Shall the air be judged? Then pipes and fan are asked for.", &yes, []string{"yes", "no"},
		"You can say no and add them later; everything else works without."); err != nil || yes == "no" {
		return err
	}
	size, run, hose := "160 mm", "2 m", "1 m"
	branch := "100 mm"
	if m.us {
		size, run, hose, branch = "6 in", "6 ft", "3 ft", "4 in"
	}
	if err := a.ask(ctx, "Inside diameter of the main pipe?", size, "The pipe from the collector along which the machines' pipes branch off.", a.quantity(&d.MainSize, config.Length, m.narrow, 0.04, 0.5, false)); err != nil {
		return err
	}
	if err := a.pick(ctx, "What is it made of?", &d.Wall, []string{"galvanized", "spiral", "pvc"}, "galvanized: smooth sheet metal. spiral: folded spiral pipe. pvc: drain pipe, which does not conduct."); err != nil {
		return err
	}
	away := make([]float64, len(d.Machines)) // m along the main
	for i := range d.Machines {
		k := &d.Machines[i]
		fmt.Fprintf(a.out, "\n%s\n", k.Name)
		usual := run
		if i > 0 {
			usual = config.FormatQuantity(config.Length, away[i-1]+2, units(m.long))
		}
		var text string
		for _, q := range []func() error{
			func() error {
				return a.ask(ctx, "  How far along the main pipe from the collector does its pipe branch off?", usual, "Measured along the main, bends included.", a.quantity(&text, config.Length, m.long, 0.1, 60, false))
			},
			func() error {
				return a.ask(ctx, "  Inside diameter of its pipe?", branch, "Of the pipe and the hose to this machine.", a.quantity(&k.Size, config.Length, m.narrow, 0.02, 0.4, false))
			},
			func() error {
				return a.ask(ctx, "  Length of pipe from the main to its gate?", run, "Without the hose.", a.quantity(&k.Length, config.Length, m.long, 0.05, 40, false))
			},
			func() error {
				return a.ask(ctx, "  Length of hose from there to the machine? 0 for none", hose, "Hose costs two to four times the pressure of pipe: keep it short.", a.quantity(&k.Hose, config.Length, m.long, 0, 15, false))
			},
			func() error {
				return a.ask(ctx, "  How many 90 degree bends are in its pipe?", "1", "Without the branch at the main.", func(s string) (err error) {
					if k.Elbows, err = strconv.Atoi(s); err != nil || k.Elbows < 0 || k.Elbows > 9 {
						return errors.New("give a number from 0 to 9")
					}
					return nil
				})
			},
		} {
			if err := q(); err != nil {
				return err
			}
		}
		away[i] = meters(text)
		if meters(k.Hose) == 0 {
			k.Hose = ""
		}
		k.Airflow = wanted(k.Size, m)
	}
	d.Main = mainOf(d.Machines, away, m)
	fmt.Fprintln(a.out, "\nThe fan")
	return a.fan(ctx, d, m)
}

// fan asks what the fan's label says.
func (a *asker) fan(ctx context.Context, d *bench.Draft, m measures) error {
	f := bench.DraftFan{}
	for _, q := range []func() error{
		func() error {
			return a.ask(ctx, "  Most airflow on the label?", "", "The largest figure, with nothing connected. Enter, where there is none: the air is then not judged.", a.quantity(&f.FreeFlow, config.Flow, m.flow, 0.02, 5, true))
		},
		func() error {
			return a.ask(ctx, "  Most pressure on the label?", "", "Also called static pressure or vacuum, with no flow. Enter, where there is none: the air is then not judged.", a.quantity(&f.Shutoff, config.Pressure, m.press, 200, 30_000, true))
		},
		func() error {
			return a.ask(ctx, "  Inside diameter of its inlet?", d.MainSize, "Where the main pipe goes in.", a.quantity(&f.Inlet, config.Length, m.narrow, 0.02, 1, false))
		},
	} {
		if err := q(); err != nil {
			return err
		}
	}
	if f.FreeFlow != "" && f.Shutoff != "" {
		d.Fan = &f
	}
	return nil
}

func meters(text string) float64 {
	v, _ := config.ParseQuantity(config.Length, text) // it was read once already
	return v
}

// wanted is the air that a pipe carries at transport speed: what its maker laid it out for, mostly.
func wanted(size string, m measures) string {
	d := meters(size)
	q := airflow20 * math.Pi / 4 * d * d
	return config.FormatQuantity(config.Flow, q, units(m.flow))
}

// airflow20 is 20 m/s, the transport speed for dry chips (TRGS 553 (2022) Anhang 2).
const airflow20 = 20.0

// mainOf cuts the main into sections at the branches, the nearest to the collector first, and tells each machine its own.
func mainOf(machines []bench.DraftMachine, away []float64, m measures) (main []bench.DraftSection) {
	ends := slices.Compact(slices.Sorted(slices.Values(away)))
	before := 0.0
	for _, e := range ends {
		main = append(main, bench.DraftSection{Length: config.FormatQuantity(config.Length, e-before, units(m.long))})
		before = e
	}
	for i := range machines {
		machines[i].Section, _ = slices.BinarySearch(ends, away[i])
	}
	return main
}
