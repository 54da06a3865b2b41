package config

import (
	"fmt"
	"slices"
	"time"

	"ductwarden/controller"
	"ductwarden/controller/airflow"
	"ductwarden/gates"

	"go.yaml.in/yaml/v3"
)

// newShop is a shop with the defaults of all shop-wide values.
func newShop() *Shop {
	return &Shop{
		Version: 1, Name: "shop", LineChip: "gpiochip0",
		Air:       Air{Temperature: 293.15},
		Transport: airflow.Transport{Carries: 20, Settles: 15, Margin: 0.05}, // 20 m/s: TRGS 553 (2022) Anhang 2; 15 m/s and 5 %: common practice
		Duty: Duty{Linger: -1, LongestLinger: of(controller.DefaultLongestLinger), Warning: of(controller.DefaultWarning),
			Spacing: of(controller.DefaultInrushSpacing)},
		Limits: Limits{MovingAtOnce: controller.DefaultMovingAtOnce, MovesPerMinute: controller.DefaultMovesPerMinute,
			LeastClearing: of(controller.DefaultLeastClearing), ClearingFactor: 1.5, LongestRun: of(controller.DefaultLongestRun),
			LongestHold: 4 * time.Hour},
		Page:    Page{Listen: "127.0.0.1:8480", Access: "/var/lib/ductwarden/access.json"},
		Console: Console{Socket: "/run/ductwarden/console.sock"},
		Starts:  "/var/lib/ductwarden/starts",
	}
}

// of turns the core's times into Go's.
func of(s controller.Span) time.Duration { return time.Duration(s) * time.Millisecond }

// shop reads the whole file.
func (r *reader) shop(root *yaml.Node) *Shop {
	s := newShop()
	v := value{r: r}.child(root, "")
	if r.listing == nil && !v.isMapping() {
		v.problem("a shop file is made of keys and values", v.found(), "for example gates: [{name: saw, actuator: hand}]")
		return s
	}
	g := v.mapping(
		may("version", integer(&s.Version, 1, 1, "the version of the file's layout")),
		may("shop", text(&s.Name, longestName)),
		may("units", choice(&s.Units, option[Units]{"metric", Metric}, option[Units]{"us", US})),
		may("together", r.together(s)),
		may("way", choice(&s.Way, option[Way]{"one_each", OneEach}, option[Way]{"everything_open", EverythingOpen})),
		may("air", r.air(s)),
		may("transport", transport(&s.Transport)),
		may("buses", r.buses(s)),
		may("chips", r.chips(s)),
		may("lines", text(&s.LineChip, 40)),
		may("duty", r.duty(s)),
		may("coefficients", r.coefficients(s)),
		may("collectors", r.collectors(s)),
		may("ducts", r.ducts(s)),
		may("ports", r.ports(s)),
		may("gates", r.gates(s)),
		may("limits", r.limits(s)),
		may("pressure", r.taps(s)),
		may("machines", r.machines(s)),
		may("inputs", r.inputs(s)),
		may("signals", r.signals(s)),
		may("alarms", r.alarms(s)),
		may("page", r.page(s)),
		may("console", func(v value) { v.mapping(need("socket", absolute(&s.Console.Socket))) }),
		may("mqtt", r.mqtt(s)),
		may("journal", r.journal(s)),
		may("starts", func(v value) { v.mapping(need("path", absolute(&s.Starts))) }),
		may("upkeep", r.upkeep(s)),
	)
	if r.listing == nil && !r.done() && (!g.has("gates") || g["gates"].isList() && len(s.Gates) == 0) {
		v.problem("the file names no gate; one is enough", "", "gates: [{name: saw, actuator: hand}]")
	}
	return s
}

func (r *reader) together(s *Shop) func(value) {
	return func(v value) {
		s.Together = make([][]int, v.items(50))
		v.list(50, func(i int, v value) {
			references(&s.Together[i], aMachine, controller.MaxMachines)(v)
			if v.isList() && len(v.node.Content) < 2 {
				v.problem("one machine alone is always judged; name those that run together", v.found(), "[lathe, bandsaw]")
			}
		})
	}
}

func (r *reader) air(s *Shop) func(value) {
	return func(v value) {
		a := &s.Air
		g := v.mapping(
			may("altitude", quantity(Length, &a.Altitude, -430, 5000)),
			may("temperature", quantity(Temperature, &a.Temperature, 243.15, 333.15)),
			may("density", quantity(Density, &a.Density, 0.6, 1.6)),
			may("viscosity", quantity(Viscosity, &a.Viscosity, 14e-6, 24e-6)),
		)
		a.Given = g.has("density")
		for _, key := range []string{"altitude", "temperature"} {
			if at, has := g[key]; has && a.Given {
				at.problem("the air is told by altitude and temperature, or by density and viscosity, not by both", key, "altitude and temperature, or density and viscosity")
			}
		}
		if at, has := g["viscosity"]; has && !a.Given {
			at.problem("viscosity is given without density", "viscosity alone", "density and viscosity")
		}
	}
}

func transport(t *airflow.Transport) func(value) {
	return func(v value) {
		v.mapping(
			may("carries", quantity(Speed, &t.Carries, 5, 35)),
			may("settles", quantity(Speed, &t.Settles, 2, 30)),
			may("margin", quantity(Fraction, &t.Margin, 0, 0.5)),
		)
		if v.r.listing == nil && t.Settles > t.Carries {
			v.problem("settles is above carries: a duct would settle and carry at once", FormatQuantity(Speed, t.Settles, Metric)+" above "+FormatQuantity(Speed, t.Carries, Metric), "settles below carries")
		}
	}
}

// coefficients reads the person's own figures in place of the model's defaults.
func (r *reader) coefficients(s *Shop) func(value) {
	list := func(dst *map[string]float64, known []string, what string, read func(dst *float64) func(value)) func(value) {
		return func(v value) {
			*dst = map[string]float64{}
			v.free(60, "a figure", func(kind string, at, v value) {
				if v.r.listing == nil && !slices.Contains(known, kind) {
					at.word(new(string), known, what)
					return
				}
				n := -1.0
				read(&n)(v)
				if n >= 0 {
					(*dst)[kind] = n
				}
			})
		}
	}
	loss := func(dst *float64) func(value) { return number(dst, 0, 50, "a coefficient") }
	rough := func(dst *float64) func(value) { return quantity(Length, dst, 0, 0.02) }
	return func(v value) {
		v.mapping(
			may("fittings", list(&s.Own.Fittings, airflow.FittingKinds(), "fitting", loss)),
			may("hoods", list(&s.Own.Hoods, airflow.HoodKinds(), "hood", loss)),
			may("walls", list(&s.Own.Walls, airflow.WallKinds(), "wall", rough)),
		)
	}
}

func (r *reader) duty(s *Shop) func(value) {
	return func(v value) {
		d := &s.Duty
		g := v.mapping(
			may("after_power_up", choice(&d.OnDutyAfterPowerUp, option[bool]{"wait", false}, option[bool]{"on_duty", true})),
			may("linger", span(&d.Linger, 0, time.Hour)),
			may("longest_linger", span(&d.LongestLinger, 0, 4*time.Hour)),
			may("resting", choice(&d.StartWhileResting, option[bool]{"wait", false}, option[bool]{"start", true})),
			may("warning", span(&d.Warning, 0, 10*time.Second)),
			may("spacing", span(&d.Spacing, 0, 30*time.Second)),
		)
		if g.has("linger") && d.LongestLinger < d.Linger {
			at := g["linger"]
			if g.has("longest_linger") {
				at = g["longest_linger"]
			}
			at.problem("longest_linger is shorter than linger", FormatQuantity(Time, d.LongestLinger.Seconds(), Metric), "at least "+FormatQuantity(Time, d.Linger.Seconds(), Metric))
		}
	}
}

func (r *reader) limits(s *Shop) func(value) {
	return func(v value) {
		l := &s.Limits
		supply, stall := 0.0, 2.5 // A: a servo of the 10 kg cm class draws 2.5 A at 6 V when it stalls (makers' pages)
		g := v.mapping(
			may("supply", quantity(Current, &supply, 0.1, 100)),
			may("stall", quantity(Current, &stall, 0.05, 20)),
			may("moving_at_once", integer(&l.MovingAtOnce, 1, 16, "the number of gates that move at once")),
			may("moves_per_minute", integer(&l.MovesPerMinute, gates.LeastMovesPerMinute, gates.MostMovesPerMinute, "the number of moves a minute")),
			may("least_clearing", span(&l.LeastClearing, 0, 10*time.Minute)),
			may("clearing_factor", number(&l.ClearingFactor, 1, 10, "clearing_factor")),
			may("longest_run", span(&l.LongestRun, time.Minute, 24*time.Hour)),
			may("longest_hold", span(&l.LongestHold, time.Minute, 24*time.Hour)),
		)
		v.supply(g, l, supply, stall)
	}
}

// supply lets as many gates move at once as their supply feeds when all of them stall.
func (v value) supply(g given, l *Limits, supply, stall float64) {
	at, has := g["supply"]
	fed := int(supply / stall)
	switch {
	case !has && g.has("stall"):
		g["stall"].problem("the current of a stalled servo says nothing without the supply's", "stall alone", "supply: 10 A beside it")
	case !has || supply == 0:
	case supply < stall:
		at.problem("the supply cannot feed one servo that stalls", FormatQuantity(Current, supply, Metric)+" for "+FormatQuantity(Current, stall, Metric), "at least the current of one stalled servo, or its own figure as stall")
	case g.has("moving_at_once") && l.MovingAtOnce > fed:
		g["moving_at_once"].problem("the supply does not feed so many gates when all of them stall", fmt.Sprintf("%d for %s at %s each", l.MovingAtOnce, FormatQuantity(Current, supply, Metric), FormatQuantity(Current, stall, Metric)), fmt.Sprintf("at most %d", fed))
	case !g.has("moving_at_once"):
		l.MovingAtOnce = min(fed, 16)
	}
}

func (r *reader) upkeep(s *Shop) func(value) {
	return func(v value) {
		u := &s.Upkeep
		v.mapping(
			may("bin", span(&u.Bin, time.Hour, 2000*time.Hour)),
			may("filter", span(&u.Filter, time.Hour, 4000*time.Hour)),
			may("record", span(&u.Record, 24*time.Hour, 3700*24*time.Hour)),
		)
	}
}
