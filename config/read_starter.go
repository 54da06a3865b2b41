package config

import (
	"fmt"
	"time"

	"ductwarden/controller"
)

func starter(dst **Starter) func(value) {
	return func(v value) {
		st := &Starter{Pulsed: 20}
		*dst = st
		l := &Line{}
		fields, finish := lineFields(l, output)
		g := v.mapping(append(fields,
			may("pulsed", func(v value) {
				if v.node != nil && (v.node.Value == "no" || v.node.Value == "false") {
					st.Pulsed = 0
					return
				}
				v.quantity(Frequency, &st.Pulsed, 5, 40) // the loop's scan of 25 ms sets the limit
			}),
			may("momentary", func(v value) {
				m := &Momentary{Press: 500 * time.Millisecond}
				st.Momentary = m
				v.mapping(need("start", theLine(&m.Start, output)), need("stop", theLine(&m.Stop, output)),
					may("press", span(&m.Press, 50*time.Millisecond, 5*time.Second)))
			}),
			may("remote", func(v value) {
				m := &RemoteSocket{On: "ON", Off: "OFF"}
				st.Remote = m
				v.mapping(need("topic", topic(&m.Topic)), may("on", text(&m.On, 200)), may("off", text(&m.Off, 200)),
					may("state", remoteState(&m.State)), need("rating", quantity(Power, &m.Rating, 50, 20_000)),
					may("lease", span(&m.Lease, 15*time.Second, 10*time.Minute)))
				v.r.needBroker(v)
			}),
		)...)
		if g == nil {
			return
		}
		ways := 0
		for _, has := range []bool{g.has("line") || g.has("offset"), st.Momentary != nil, st.Remote != nil} {
			if has {
				ways++
			}
		}
		if ways != 1 {
			v.problem("the collector is switched in one way", fmt.Sprintf("%d ways", ways), "{line: GPIO17}, {momentary: {start: ..., stop: ...}} or {remote: {...}}")
			return
		}
		if g.has("line") || g.has("offset") {
			finish(v, g)
			st.Line = l
			return
		}
		for _, key := range []string{"pulsed", "active", "held_off", "chip"} {
			if at, has := g[key]; has {
				at.problem("this key belongs to a starter on a line", key, "")
			}
		}
	}
}

func motorProof(dst **MotorProof) func(value) {
	return func(v value) {
		p := &MotorProof{Tap: -1, StartWithin: of(controller.DefaultProveOn), StopWithin: of(controller.DefaultProveOff)}
		*dst = p
		g := v.mapping(
			may("clamp", clamp(&p.Clamp)),
			may("contact", contact(&p.Contact)),
			may("pressure", func(v value) {
				v.mapping(need("tap", reference(&p.Tap, aTap)), need("turning", quantity(Pressure, &p.Turning, 5, 20_000)))
			}),
			may("remote", remoteMeter(&p.Remote)),
			may("start_within", span(&p.StartWithin, 200*time.Millisecond, 30*time.Second)),
			may("stop_within", span(&p.StopWithin, 200*time.Millisecond, 30*time.Second)),
		)
		if g != nil {
			v.one(g, "clamp", "contact", "pressure", "remote")
		}
	}
}

// one asks for exactly one of the keys.
func (v value) one(g given, among ...string) {
	count := 0
	for _, key := range among {
		if g.has(key) {
			count++
		}
	}
	if count != 1 {
		v.problem("one of these keys is wanted, no more and no less", fmt.Sprintf("%d of them", count), oneOf(among))
	}
}
