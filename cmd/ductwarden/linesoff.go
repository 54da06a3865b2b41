package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/spf13/cobra"

	"ductwarden/config"
	"ductwarden/controller/bus"
	"ductwarden/controller/loop"
	"ductwarden/controller/starter"
)

// linesOffVerb drives every output of a shop off, for the service manager after the program's end: a line keeps its
// level when a program dies, and some kernels keep it for good.
func linesOffVerb() *cobra.Command {
	var path string
	c := &cobra.Command{
		Use:   "lines-off",
		Short: "Drive every output line of the shop off, after the program has died",
		Long: "Drives every output line of a shop file off: start lines, relays of gates, enable lines, lamps and horns. Where the\n" +
			"collector hangs on the buttons of a starter, its stop button is pressed, unless the service manager says that the\n" +
			"program ended in order. The service manager calls it after every end (ExecStopPost). The lines are those of the shop\n" +
			"file that was in force when the program died, whatever has been written into the file since; what hangs on a broker\n" +
			"it cannot reach. A pulsed start line does not need it and drops out sooner.",
		Example: "  ductwarden lines-off --config /etc/ductwarden/shop.yaml",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			held, err := lockBuses()
			if err != nil {
				return err
			}
			defer held.Close()
			s, err := inForce(held)
			by := "the shop file in force"
			if err != nil {
				by = path
				if s, err = config.Load(path); err != nil {
					return err
				}
			}
			off, err := linesOff(c.Context(), s, os.Getenv("SERVICE_RESULT") != "success")
			if off > 0 {
				fmt.Fprintf(c.OutOrStdout(), "driven off: %d lines of %s\n", off, by)
			}
			if err != nil {
				return err
			}
			return forgetInForce(held)
		},
	}
	c.Flags().StringVar(&path, "config", usualConfig, "the shop file")
	return c
}

// linesOff drives off what it can, and says of each line that it could not.
func linesOff(ctx context.Context, s *config.Shop, press bool) (off int, err error) {
	seen := &listing{noting: &noting{}}
	var errs []error
	if _, err := wire(s, settings{scheduler: loop.NewVirtual(loop.AsFastAsMayBe), wires: seen, epoch: "look", look: true}); err != nil {
		errs = append(errs, err) // the lines that were asked for until then are driven off all the same
	}
	chips := map[string]*bus.LineChip{}
	taken := map[string]*bus.Output{}
	for _, l := range seen.outputs {
		chip := chips[l.line.Chip]
		if chip == nil {
			if chip, err = bus.OpenLines(l.line.Chip); err != nil {
				errs = append(errs, err)
				continue
			}
			defer chip.Close()
			chips[l.line.Chip] = chip
		}
		// taking a line drives it off in the same act
		o, err := chip.Output(bus.OutputLine{Offset: l.line.Offset, Name: l.name, ActiveLow: l.line.ActiveLow})
		if err != nil {
			errs = append(errs, fmt.Errorf("%s: %w", l.name, err))
			continue
		}
		defer o.Close()
		taken[l.line.String()] = o
		off++
	}
	for _, c := range s.Collectors {
		if !press || c.Starter == nil || c.Starter.Momentary == nil {
			continue
		}
		if stop := taken[c.Starter.Momentary.Stop.String()]; stop != nil {
			errs = append(errs, pressStop(ctx, stop, orElse(c.Starter.Momentary.Press, starter.UsualPress)))
		}
	}
	return off, errors.Join(errs...)
}

// pressStop presses a button and lets it go, also when it is called away meanwhile.
func pressStop(ctx context.Context, button loop.Setter, span time.Duration) error {
	err := button.Set(true)
	select {
	case <-ctx.Done():
	case <-time.After(span):
	}
	return errors.Join(err, button.Set(false))
}
