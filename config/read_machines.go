package config

import (
	"fmt"
	"strings"
	"time"

	"ductwarden/controller"
)

func (r *reader) machines(s *Shop) func(value) {
	return func(v value) {
		s.Machines = make([]Machine, v.items(controller.MaxMachines))
		v.list(controller.MaxMachines, func(i int, v value) {
			m := &s.Machines[i]
			g := v.mapping(
				need("name", text(&m.Name, longestName)),
				may("id", id(&m.ID)),
				may("ports", references(&m.Ports, aPort, 16)),
				may("gates", references(&m.Gates, aGate, 16)),
				may("run_down", span(&m.RunDown, 0, 10*time.Minute)),
				may("longest_run", span(&m.LongestRun, time.Minute, 24*time.Hour)),
				may("sensors", sensors(&m.Sensors, v.path)),
			)
			r.enter(aMachine, i, v, g, &m.Name, &m.ID)
			if g == nil {
				return
			}
			r.later = append(r.later, func(s *Shop) {
				switch {
				case len(s.Ports) > 0 && (!g.has("ports") || g["ports"].isList() && len(g["ports"].node.Content) == 0):
					v.problem("the machine names no port, so that its air cannot be judged", "", "ports: [names of ports]")
				case len(s.Ports) == 0 && !g.has("gates") && !g.has("ports"):
					v.problem("the machine names neither a port nor a gate", "", "ports: [names of ports], or gates: [names of gates] in a file without ducts")
				}
			})
		})
	}
}

func sensors(dst *[]Sensor, user string) func(value) {
	return func(v value) {
		*dst = make([]Sensor, v.items(8))
		v.list(8, func(i int, v value) {
			s := &(*dst)[i]
			g := v.mapping(
				may("clamp", clamp(&s.Clamp)),
				may("contact", contact(&s.Contact)),
				may("button", button(&s.Button)),
				may("remote", remoteMeter(&s.Remote)),
			)
			if g != nil {
				v.one(g, "clamp", "contact", "button", "remote")
			}
		})
	}
}

func clamp(dst **Clamp) func(value) {
	return func(v value) {
		c := &Clamp{Settle: 300 * time.Millisecond}
		*dst = c
		var turns, burden float64
		fields := append(converterFields(&c.Converter, "ads1115", "mcp3208"),
			may("scale", quantity(CurrentScale, &c.Scale, 1e-5, 2)),
			may("turns", number(&turns, 1, 20_000, "turns")),
			may("burden", quantity(Resistance, &burden, 0.1, 1000)),
			need("running", quantity(Current, &c.Running, 0.02, 400)),
			may("idle", quantity(Current, &c.Idle, 0.01, 400)),
			may("quiet", quantity(Current, &c.Quiet, 0, 100)),
			may("settle", span(&c.Settle, 0, 30*time.Second)),
			may("brake", span(&c.Brake, 0, 30*time.Second)),
			may("shared", yesNo(&c.Shared)),
		)
		g := v.mapping(fields...)
		if g == nil {
			return
		}
		v.checkConverter(&c.Converter, g, c.Shared, v.path)
		if at, has := g["running"]; has {
			v.r.last = append(v.r.last, func(s *Shop) { c.resolution(s, at); c.alike(s, at) })
		}
		switch {
		case g.has("scale") && (g.has("turns") || g.has("burden")):
			g["scale"].problem("the clamp is told by its scale, or by its turns and burden, not by both", "both", "scale: 33.3 mV/A, or turns: 2000 and burden: 22 ohm")
		case !g.has("scale") && !(g.has("turns") && g.has("burden")):
			v.problem("how many volts stand for an ampere is missing", "", "scale: 33.3 mV/A, or turns: 2000 and burden: 22 ohm")
		case !g.has("scale") && turns > 0:
			c.Scale = burden / turns
		}
		if !g.has("idle") {
			c.Idle = 0.6 * c.Running // current switches and meters use 0.5 to 0.7 of the upper level; an assumption
		}
		v.hysteresis(g, c.Running, c.Idle, Current)
		if at, has := g["quiet"]; has && c.Running > 0 && c.Quiet >= c.Idle {
			at.problem("the current of the standing machine is not below idle, so that it would never count as idle", FormatQuantity(Current, c.Quiet, Metric), "below "+FormatQuantity(Current, c.Idle, Metric))
		}
	}
}

// alike refuses two accounts of one shared clamp that differ: there is one clamp, and one current through it.
func (c *Clamp) alike(s *Shop, at value) {
	for i := range s.Machines {
		for _, sensor := range s.Machines[i].Sensors {
			o := sensor.Clamp
			switch {
			case o == nil || o.Converter != c.Converter || !o.Shared || !c.Shared:
				continue
			case o == c:
				return // the first of them
			case o.Scale != c.Scale || o.Running != c.Running || o.Idle != c.Idle || o.Settle != c.Settle || o.Brake != c.Brake:
				at.problem("this clamp is told otherwise than for "+s.Machines[i].Name+", which shares it", FormatQuantity(Current, c.Running, Metric), "the same scale, running, idle, settle and brake at both")
			}
			return
		}
	}
}

// resolution refuses a clamp whose converter could not see its machine run.
func (c *Clamp) resolution(s *Shop, at value) {
	if c.Running <= 0 || c.Scale <= 0 || c.Converter.Chip.Kind == "" {
		return
	}
	setting := s.Setting(c.Converter.Chip)
	step := setting.Reference / 4096 // MCP3208: 12 bit
	if c.Converter.Chip.Kind == "ads1115" {
		step = s.FullScale(c.Converter) / 32768 // 16 bit with sign
	}
	amperes := func(volts float64) string { return FormatQuantity(Current, volts/c.Scale, Metric) }
	if least := 4 * step; float64(c.Running*c.Scale) < least { // fewer steps than four are noise (common practice)
		at.problem("one step of the converter is "+amperes(step)+", too coarse for this; use a finer range, more turns of the conductor through the clamp, or another clamp",
			FormatQuantity(Current, c.Running, Metric), "at least "+amperes(least))
	}
	half := setting.Bias
	if setting.Reference-half < half {
		half = setting.Reference - half
	}
	if c.Converter.Against >= 0 {
		half = s.FullScale(c.Converter)
	}
	if most := half / 1.4142; float64(c.Running*c.Scale) > most {
		at.problem("at this current the clamp's voltage leaves the converter's range, so that it could not be measured; use a clamp with fewer volts for an ampere",
			FormatQuantity(Current, c.Running, Metric), "at most "+amperes(most))
	}
}

// hysteresis refuses an idle level that is not below the running level.
func (v value) hysteresis(g given, running, idle float64, kind Kind) {
	if at, has := g["idle"]; has && running > 0 && idle >= running {
		at.problem("idle is not below running: the hysteresis is the wrong way round", FormatQuantity(kind, idle, Metric)+" idle, "+FormatQuantity(kind, running, Metric)+" running", "idle below running")
	}
}

func contact(dst **Contact) func(value) {
	return func(v value) {
		c := &Contact{}
		*dst = c
		fields, finish := lineFields(&c.Line, input)
		finish(v, v.mapping(append(fields, may("delay", span(&c.Delay, 0, 30*time.Second)))...))
	}
}

func button(dst **Button) func(value) {
	return func(v value) {
		b := &Button{For: time.Minute}
		*dst = b
		fields, finish := lineFields(&b.Line, input)
		finish(v, v.mapping(append(fields, may("for", span(&b.For, time.Second, time.Hour)))...))
	}
}

func remoteMeter(dst **RemoteMeter) func(value) {
	return func(v value) {
		m := &RemoteMeter{Factor: 1}
		*dst = m
		type sort struct {
			power  bool
			factor float64
		}
		unit := sort{true, 1}
		g := v.mapping(
			need("topic", topic(&m.Topic)),
			may("pointer", pointer(&m.Pointer)),
			may("unit", choice(&unit, option[sort]{"W", sort{true, 1}}, option[sort]{"kW", sort{true, 1000}},
				option[sort]{"A", sort{false, 1}}, option[sort]{"mA", sort{false, 1e-3}})),
			need("running", func(v value) {
				m.Power = true
				if s, ok := v.scalar("a power or a current"); ok {
					if _, err := ParseQuantity(Current, s); err == nil {
						m.Power = false
						v.quantity(Current, &m.Running, 0.02, 400)
						return
					}
				}
				v.quantity(Power, &m.Running, 1, 100_000)
			}),
			may("idle", func(v value) {
				s, _ := v.scalar("a power or a current")
				if _, err := ParseQuantity(Current, s); err == nil {
					v.quantity(Current, &m.Idle, 0.01, 400)
					return
				}
				v.quantity(Power, &m.Idle, 0, 100_000)
			}),
			need("max_age", span(&m.MaxAge, time.Second, 15*time.Minute)),
			may("online", remoteState(&m.Online)),
		)
		if g == nil {
			return
		}
		v.r.needBroker(v)
		m.Factor = unit.factor
		if !g.has("unit") {
			unit.power = m.Power
		}
		if unit.power != m.Power && g.has("running") {
			g["running"].problem("the thresholds and the unit of the messages are not of the same kind", "", "watts with watts, amperes with amperes")
			return
		}
		if !g.has("idle") {
			m.Idle = 0.6 * m.Running
			return
		}
		if _, err := ParseQuantity(map[bool]Kind{true: Power, false: Current}[m.Power], g["idle"].node.Value); err != nil {
			g["idle"].problem("idle and running are not of the same kind", g["idle"].found(), "watts with watts, amperes with amperes")
			return
		}
		v.hysteresis(g, m.Running, m.Idle, map[bool]Kind{true: Power, false: Current}[m.Power])
	}
}

func remoteState(dst **RemoteState) func(value) {
	return func(v value) {
		s := &RemoteState{Yes: "ON", No: "OFF"}
		*dst = s
		v.mapping(need("topic", topic(&s.Topic)), may("pointer", pointer(&s.Pointer)),
			may("yes", text(&s.Yes, 200)), may("no", text(&s.No, 200)))
	}
}

// topic reads a topic without wildcards.
func topic(dst *string) func(value) {
	return func(v value) {
		var s string
		if !v.text(&s, 200) {
			return
		}
		if strings.ContainsAny(s, "#+ ") || strings.Trim(s, "/") != s {
			v.problem("a topic here has no wildcard, no space and no / at its ends", quote(s), "for example bench/saw/power")
			return
		}
		*dst = s
	}
}

// pointer reads a JSON pointer (RFC 6901).
func pointer(dst *string) func(value) {
	return func(v value) {
		var s string
		if !v.text(&s, 200) {
			return
		}
		if !strings.HasPrefix(s, "/") || strings.Count(s, "/") > 16 {
			v.problem("a JSON pointer begins with / and has at most 16 steps", quote(s), fmt.Sprintf("for example %q", "/energy/power"))
			return
		}
		*dst = s
	}
}
