package config

import (
	"fmt"
	"time"

	"ductwarden/controller"
	"ductwarden/controller/airflow"
)

// Hard limits of a servo's pulse: 500 to 2500 us are the ends of 180 degree types (common practice); a servo
// pushed against its stop burns out.
const (
	shortestPulse = 500 * time.Microsecond
	longestPulse  = 2500 * time.Microsecond
	pulsePeriod   = 20 * time.Millisecond
	leastStroke   = 50 * time.Microsecond
)

func (r *reader) gates(s *Shop) func(value) {
	return func(v value) {
		s.Gates = make([]Gate, v.items(controller.MaxGates))
		for i := range s.Gates {
			s.Gates[i].Duct, s.Gates[i].Collector, s.Gates[i].Leak = -1, -1, -1
		}
		v.list(controller.MaxGates, func(i int, v value) {
			gate := &s.Gates[i]
			g := v.mapping(
				need("name", text(&gate.Name, longestName)),
				may("id", id(&gate.ID)),
				may("duct", reference(&gate.Duct, aDuct)),
				may("collector", reference(&gate.Collector, aCollector)),
				may("leak", leak(s, gate)),
				may("relief", choice(&gate.Relief, option[airflow.Relief]{"allowed", airflow.ReliefAllowed},
					option[airflow.Relief]{"preferred", airflow.ReliefPreferred}, option[airflow.Relief]{"never", airflow.ReliefNever})),
				need("actuator", actuator(&gate.Actuator)),
				may("proof", func(v value) {
					p := &GateProof{}
					gate.Proof = p
					g := v.mapping(may("open", line(&p.Open, input)), may("closed", line(&p.Closed, input)))
					if g != nil && len(g) == 0 {
						v.problem("the proof names no switch", "nothing", "open: GPIO23, closed: GPIO24, or one of them")
					}
				}),
			)
			r.enter(aGate, i, v, g, &gate.Name, &gate.ID)
			if g == nil {
				return
			}
			if gate.Actuator.Hand != nil {
				if at, has := g["proof"]; has {
					at.problem("the contacts of a gate moved by hand stand in its actuator", "proof", "actuator: {hand: {open: GPIO23, closed: GPIO24}}")
				}
				if at, has := g["relief"]; has && gate.Relief != airflow.ReliefNever {
					at.problem("a gate moved by hand cannot open by itself for its air", "relief", "relief: never, or no such key")
				}
				gate.Relief = airflow.ReliefNever
			}
			r.later = append(r.later, func(s *Shop) { gate.place(s, v, g) })
		})
	}
}

// place settles where the gate sits once ducts and collectors are known.
func (gate *Gate) place(s *Shop, v value, g given) {
	if len(s.Ducts) > 0 {
		if !g.has("duct") {
			v.problem("the file has ducts, and this gate sits in none; say whose upstream end it shuts", "", "duct: the name of a duct")
		}
		if at, has := g["collector"]; has {
			at.problem("the gate's duct tells its collector; remove this key", "collector", "")
		}
		return
	}
	if g.has("duct") || g.has("collector") {
		return
	}
	switch len(s.Collectors) {
	case 0:
	case 1:
		gate.Collector = 0
	default:
		v.problem("there are several collectors and no ducts; say whose air this gate opens", "", "collector: its name")
	}
}

// leak reads an open area, or the gap around the blade.
func leak(s *Shop, gate *Gate) func(value) {
	return func(v value) {
		if v.r.listing == nil && !v.isMapping() {
			v.quantity(Area, &gate.Leak, 0, 0.05)
			return
		}
		gap := -1.0
		g := v.mapping(need("gap", quantity(Length, &gap, 0, 0.02)))
		if g != nil && gap >= 0 {
			v.r.later = append(v.r.later, func(s *Shop) { gate.Leak = s.slit(gate, gap) })
		}
	}
}

// slit is the open area of a gap around the blade. Without a duct there is nothing to judge.
func (s *Shop) slit(gate *Gate, gap float64) float64 {
	if gate.Duct < 0 {
		return 0
	}
	return airflow.GapLeak(s.Ducts[gate.Duct].Diameter, gap)
}

func actuator(a *Actuator) func(value) {
	return func(v value) {
		if v.r.listing == nil && !v.isMapping() {
			var hand bool
			choice(&hand, option[bool]{"hand", true})(v)
			if hand {
				a.Hand = &Hand{}
			}
			return
		}
		g := v.mapping(
			may("servo", servo(&a.Servo)),
			may("relay", relay(&a.Relay)),
			may("remote", remoteGate(&a.Remote)),
			may("hand", func(v value) {
				h := &Hand{}
				a.Hand = h
				v.mapping(may("open", line(&h.Open, input)), may("closed", line(&h.Closed, input)))
			}),
		)
		if g != nil {
			v.one(g, "servo", "relay", "remote", "hand")
		}
	}
}

func servo(dst **Servo) func(value) {
	return func(v value) {
		s := &Servo{Least: shortestPulse, Most: longestPulse, Travel: time.Second}
		*dst = s
		g := v.mapping(
			need("chip", chip(&s.Chip, "pca9685")),
			need("channel", integer(&s.Channel, 0, 15, "the channel of a servo board")),
			need("open", span(&s.Open, shortestPulse, longestPulse)),
			need("closed", span(&s.Closed, shortestPulse, longestPulse)),
			may("least", span(&s.Least, shortestPulse, longestPulse)),
			may("most", span(&s.Most, shortestPulse, longestPulse)),
			may("travel", span(&s.Travel, 50*time.Millisecond, 30*time.Second)),
			may("step", span(&s.Step, time.Microsecond, longestPulse)),
			may("after", choice(&s.Hold, option[bool]{"release", false}, option[bool]{"hold", true})),
		)
		if g == nil {
			return
		}
		us := func(d time.Duration) string { return fmt.Sprintf("%d us", d.Microseconds()) }
		for _, end := range []struct {
			key string
			at  time.Duration
		}{{"open", s.Open}, {"closed", s.Closed}} {
			if at, has := g[end.key]; has && end.at > 0 && (end.at < s.Least || end.at > s.Most) {
				at.problem("this end lies beyond the pulses that the servo may be given (least, most)", us(end.at), us(s.Least)+" to "+us(s.Most))
			}
		}
		if d := (s.Open - s.Closed).Abs(); s.Open > 0 && s.Closed > 0 && d < leastStroke {
			g["closed"].problem("open and closed are nearly the same pulse, so that the gate would not move", us(s.Closed)+" and "+us(s.Open), "ends at least "+us(leastStroke)+" apart")
		}
		if at, has := g["step"]; has && s.Step > 0 {
			if least := (s.Open - s.Closed).Abs() / s.Step * pulsePeriod; least > s.Travel {
				at.problem("in steps so small the gate takes longer than its travel", fmt.Sprintf("%v for %s", least, us((s.Open-s.Closed).Abs())), "larger steps, or a longer travel, by stopwatch")
			}
		}
		if at, has := g["channel"]; has {
			v.r.later = append(v.r.later, func(*Shop) {
				if s.Chip.Kind != "" && s.Chip.Bus >= 0 {
					v.r.uses.pulse(at, s.Chip, s.Channel)
				}
			})
		}
	}
}

func relay(dst **Relay) func(value) {
	return func(v value) {
		m := &Relay{Travel: 3 * time.Second, DeadTime: 200 * time.Millisecond}
		*dst = m
		g := v.mapping(
			need("open", theLine(&m.Open, output)),
			need("close", theLine(&m.Close, output)),
			may("travel", span(&m.Travel, 50*time.Millisecond, time.Minute)),
			may("dead_time", span(&m.DeadTime, 50*time.Millisecond, 5*time.Second)),
			may("longest_run", span(&m.LongestRun, 100*time.Millisecond, 5*time.Minute)),
		)
		if g == nil {
			return
		}
		if g.has("longest_run") && m.LongestRun < m.Travel {
			g["longest_run"].problem("longest_run is shorter than the travel, so that the gate would never arrive",
				FormatQuantity(Time, m.LongestRun.Seconds(), Metric), "at least "+FormatQuantity(Time, m.Travel.Seconds(), Metric))
		}
	}
}

func remoteGate(dst **RemoteGate) func(value) {
	return func(v value) {
		m := &RemoteGate{Travel: 3 * time.Second, Lease: 10 * time.Second, Answer: 300 * time.Millisecond}
		*dst = m
		g := v.mapping(
			need("node", id(&m.Node)),
			may("travel", span(&m.Travel, 50*time.Millisecond, time.Minute)),
			may("lease", span(&m.Lease, 4*time.Second, 2*time.Minute)),
			may("answer", span(&m.Answer, 50*time.Millisecond, 5*time.Second)),
		)
		if g != nil {
			v.r.needBroker(v)
		}
	}
}

// needBroker asks for the section mqtt where a part is reached over the broker.
func (r *reader) needBroker(v value) {
	r.later = append(r.later, func(s *Shop) {
		if s.MQTT == nil {
			v.problem("this part is reached over a broker, and the file names none", "", "mqtt: {broker: ..., site: ...}")
		}
	})
}
