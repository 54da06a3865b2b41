package publish

import (
	"ductwarden/controller"
)

// thing is one retained document: where it lies below the site's state tree, and what it says. Every key is
// always there; null is "not known", because a missing key and an unknown value must not look alike.
type thing struct {
	kind, id string
	fields   []field
}

// things are all documents of a snapshot, in the order of the shop file.
func things(s Settings, shop Shop, snap *controller.Snapshot, totals *Totals) []thing {
	out := make([]thing, 0, 1+len(snap.Machines)+len(snap.Gates)+2*len(snap.Collectors)+len(snap.Ducts))
	out = append(out, thing{kind: "shop", fields: shopFields(s, snap)})
	for _, m := range snap.Machines {
		out = append(out, thing{"machine", m.ID, machineFields(snap.AtMS, m, totals.machine(m.ID))})
	}
	for _, g := range snap.Gates {
		out = append(out, thing{"gate", g.ID, gateFields(snap.AtMS, g, totals.gate(g.ID))})
	}
	for _, c := range snap.Collectors {
		out = append(out,
			thing{"collector", c.ID, collectorFields(snap.AtMS, c, totals.collector(c.ID))},
			thing{"air", c.ID, airFields(c)})
	}
	for _, d := range snap.Ducts {
		if find(shop.Ducts, func(k Duct) bool { return k.ID == d.ID }) >= 0 {
			out = append(out, thing{"duct", d.ID, ductFields(d)})
		}
	}
	return out
}

func shopFields(s Settings, snap *controller.Snapshot) []field {
	var active, waiting, urgent, running int64
	text, toDo := any(nil), any(nil)
	for _, a := range snap.Alarms {
		if a.Active {
			active++
		}
		if !a.Acknowledged {
			waiting++
		}
		if a.Priority == "urgent" {
			urgent++
		}
	}
	if len(snap.Alarms) > 0 { // the alarm list comes with the most pressing one first
		text, toDo = brief(snap.Alarms[0].Text), brief(snap.Alarms[0].ToDo)
	}
	for _, m := range snap.Machines {
		if m.State == "running" {
			running++
		}
	}
	return []field{
		fact("name", snap.Shop), fact("mode", snap.Mode), fact("why", brief(snap.Why)),
		fact("machines_running", running),
		fact("alarm", len(snap.Alarms) > 0), fact("alarms", int64(len(snap.Alarms))), fact("alarms_active", active),
		fact("alarms_waiting", waiting), fact("alarms_urgent", urgent), fact("alarm_text", text), fact("alarm_to_do", toDo),
		fact("commands", s.Commands.String()),
	}
}

func machineFields(at int64, m controller.MachineSnapshot, t MachineTotals) []field {
	running := any(nil)
	switch m.State {
	case "running":
		running = true
	case "idle", "running_down":
		running = false
	}
	return []field{
		fact("name", m.Name), fact("state", m.State), fact("running", running), fact("air_ready", m.AirReady),
		fact("unserved", m.Unserved), fact("health", m.Health), end("until", at, m.LeftMS),
		figure("current_a", m.CurrentA, 0.1, 2), figure("share_percent", percent(m.Share), 1, 0),
		hours("run_h", t.RunMS), fact("starts", t.Starts),
	}
}

func gateFields(at int64, g controller.GateSnapshot, t GateTotals) []field {
	open, damper := any(nil), any(nil)
	switch g.State {
	case "open":
		open, damper = true, g.State
	case "closed":
		open, damper = false, g.State
	case "opening", "closing":
		damper = g.State
	}
	return []field{
		fact("name", g.Name), fact("state", g.State), fact("open", open), fact("damper", damper), fact("proved", g.Proved),
		fact("failed", g.State == "failed"), fact("hand", g.Hand), fact("selector", g.Selector), fact("role", g.Role),
		end("held_until", at, g.LeftMS), fact("moves", t.Moves),
	}
}

// underPower are the phases in which the motor runs.
func underPower(phase string) bool {
	switch phase {
	case "running", "clearing", "lingering", "by_hand", "will_not_stop":
		return true
	}
	return false
}

func collectorFields(at int64, c controller.CollectorSnapshot, t CollectorTotals) []field {
	return []field{
		fact("name", c.Name), fact("phase", c.Phase), fact("running", underPower(c.Phase)), fact("why", brief(c.Why)),
		fact("selector", c.Selector), fact("feedback", c.Feedback), end("until", at, c.LeftMS), end("rest_until", at, c.RestMS),
		fact("starts_left", int64(c.StartsLeft)), fact("starts_per_hour", int64(c.StartsHour)),
		hours("run_h", t.RunMS), fact("starts", t.Starts),
	}
}

func airFields(c controller.CollectorSnapshot) []field {
	weakest := any(nil)
	if c.Weakest != "" {
		weakest = c.Weakest
	}
	return []field{
		fact("name", c.Name), fact("transport", c.Transport), fact("weakest_duct", weakest),
		figure("margin_percent", percent(c.Margin), 0.5, 1), figure("flow_m3_h", scaled(c.FlowM3S, 3600), 10, 0),
		figure("suction_pa", c.SuctionPa, 10, 0),
	}
}

func ductFields(d controller.DuctSnapshot) []field {
	return []field{
		fact("name", d.Name), fact("collector", d.Collector), fact("carrying", d.Carrying), fact("verdict", d.Verdict),
		figure("velocity_m_s", &d.VelocityMS, 0.1, 1), figure("transport_m_s", &d.TransportMS, 0.01, 2),
	}
}

func percent(v *float64) *float64 { return scaled(v, 100) }

func scaled(v *float64, by float64) *float64 {
	if v == nil {
		return nil
	}
	x := float64(*v * by)
	return &x
}
