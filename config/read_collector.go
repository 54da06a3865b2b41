package config

import (
	"time"

	"ductwarden/controller"
)

func (r *reader) collectors(s *Shop) func(value) {
	return func(v value) {
		s.Collectors = make([]Collector, v.items(controller.MaxCollectors))
		v.list(controller.MaxCollectors, func(i int, v value) {
			c := &s.Collectors[i]
			c.Motor = Motor{LeastRun: of(controller.DefaultLeastRun), SpinUp: of(controller.DefaultSpinUp), Coast: of(controller.DefaultCoast)}
			g := v.mapping(
				need("name", text(&c.Name, longestName)),
				may("id", id(&c.ID)),
				may("fan", fan(&c.Fan)),
				may("filter", filter(&c.Filter)),
				may("separator", lossOf(&c.Separator)),
				may("exhaust", lossOf(&c.Exhaust)),
				may("discharge", choice(&c.Outdoors, option[bool]{"room", false}, option[bool]{"outdoors", true})),
				may("motor", motor(&c.Motor)),
				may("starter", starter(&c.Starter)),
				may("proof", motorProof(&c.Proof)),
				may("bin", bin(&c.Bin)),
				may("disconnect_open", line(&c.DisconnectOpen, input)),
			)
			r.enter(aCollector, i, v, g, &c.Name, &c.ID)
			if r.listing == nil {
				r.checkCollector(c, v, g)
			}
		})
	}
}

func (r *reader) checkCollector(c *Collector, v value, g given) {
	at := v
	if g.has("motor") {
		at = g["motor"]
	}
	c.Motor.settle(at)
	if c.Starter != nil && c.Starter.Remote != nil && c.Motor.Power > c.Starter.Remote.Rating {
		g["starter"].problem("the remote socket is rated below the collector's motor; use a contactor fitted by an electrician",
			FormatQuantity(Power, c.Motor.Power, Metric)+" on a socket for "+FormatQuantity(Power, c.Starter.Remote.Rating, Metric), "a socket whose motor rating is at least the motor's power")
	}
	if c.Starter != nil && c.Starter.Remote != nil && c.Motor.Power == 0 {
		g["starter"].problem("whether the remote socket may switch this motor is not known", "no motor power", "motor: {power: 1.1 kW}, from the nameplate")
	}
	if c.Fan == nil {
		return
	}
	for _, part := range []struct {
		included bool
		key      string
	}{{c.Fan.Includes.Filter, "filter"}, {c.Fan.Includes.Separator, "separator"}, {c.Fan.Includes.Exhaust, "exhaust"}} {
		if part.included && part.key != "filter" && g.has(part.key) {
			g[part.key].problem("the fan's curve already includes this loss (fan.includes); it would count twice", "", "remove it here, or from includes")
		}
	}
}

func lossOf(dst **Loss) func(value) {
	return func(v value) {
		*dst = &Loss{}
		loss(*dst)(v)
	}
}

func loss(l *Loss) func(value) {
	return func(v value) {
		v.mapping(
			need("flow", quantity(Flow, &l.Flow, 0.005, 20)),
			need("pressure", quantity(Pressure, &l.Pressure, 0, 20_000)),
			may("linear", quantity(Fraction, &l.Linear, 0, 1)),
		)
	}
}

func filter(dst **Filter) func(value) {
	return func(v value) {
		f := &Filter{}
		*dst = f
		g := v.mapping(
			need("clean", loss(&f.Clean)),
			may("loaded", loss(&f.Loaded)),
			may("sensor", filterSensor(&f.Sensor)),
		)
		if g == nil {
			return
		}
		if !g.has("loaded") {
			f.Loaded = f.Clean
		}
		at := func(l Loss) float64 { // both at the clean state's flow
			if l.Flow == 0 {
				return 0
			}
			q := f.Clean.Flow / l.Flow
			return l.Pressure * (l.Linear*q + (1-l.Linear)*q*q)
		}
		if g.has("loaded") && f.Loaded.Flow > 0 && f.Clean.Flow > 0 && at(f.Loaded) < at(f.Clean) {
			g["loaded"].problem("the loaded filter loses less than the clean one", FormatQuantity(Pressure, f.Loaded.Pressure, Metric), "more than when clean, at the same flow")
		}
	}
}

func filterSensor(dst **FilterSensor) func(value) {
	return func(v value) {
		f := &FilterSensor{Delay: 30 * time.Second}
		*dst = f
		g := v.mapping(
			may("loaded", line(&f.Line, input)),
			may("tap", reference(&f.Tap, aTap)),
			may("delay", span(&f.Delay, 0, time.Hour)),
		)
		if g != nil && g.has("loaded") == g.has("tap") {
			v.problem("the filter is told by a switch or by a pressure tap across it; give one of them", "", "loaded: GPIO7, or tap: the name of a pressure tap")
		}
		if at, has := g["tap"]; has {
			v.r.later = append(v.r.later, func(s *Shop) {
				if f.Tap >= 0 && s.Taps[f.Tap].At != AcrossFilter {
					at.problem("this pressure tap is not across a filter", s.Taps[f.Tap].Name, "a tap with across: filter")
				}
			})
		}
	}
}

func bin(dst **Bin) func(value) {
	return func(v value) {
		b := &Bin{Delay: 10 * time.Second}
		*dst = b
		v.mapping(need("full", line(&b.Full, input)), may("delay", span(&b.Delay, 0, time.Hour)))
	}
}
