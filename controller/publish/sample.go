package publish

import (
	"ductwarden/controller"
)

// Kind is how a scraper reads a figure.
type Kind uint8

// The kinds of figures.
const (
	Gauge     Kind = iota
	Counter        // only grows while the program runs
	Histogram      // kept by its owner; listed here for its name
)

// Family is one named figure. Labels take their values from the shop file and from fixed words only, so that
// their number is bounded.
type Family struct {
	Name   string
	Help   string
	Kind   Kind
	Labels []string
}

// Sample is one value of a family; Labels are in the family's order.
type Sample struct {
	Name   string
	Labels []string
	Value  float64
}

// ShopFamilies are the figures that Samples gives.
func ShopFamilies() []Family {
	return []Family{
		{"ductwarden_mode", "1 for the mode that the automatic is in", Gauge, []string{"mode"}},
		{"ductwarden_alarms", "alarms that stand or wait for a person", Gauge, []string{"priority"}},
		{"ductwarden_machine_running", "1 while the machine runs, 0 while it does not, absent while unknown", Gauge, []string{"machine"}},
		{"ductwarden_machine_unserved", "1 while the machine makes dust without its air", Gauge, []string{"machine"}},
		{"ductwarden_machine_current_amperes", "true RMS current", Gauge, []string{"machine"}},
		{"ductwarden_machine_share_ratio", "air at the machine's ports over the air it wants, by the model", Gauge, []string{"machine"}},
		{"ductwarden_machine_sensor_good", "1 while the machine's sensor is fresh and plausible", Gauge, []string{"machine"}},
		{"ductwarden_machine_run_seconds_total", "time the machine has run", Counter, []string{"machine"}},
		{"ductwarden_machine_starts_total", "starts of the machine", Counter, []string{"machine"}},
		{"ductwarden_gate_open", "1 while the gate is open, 0 while it is not", Gauge, []string{"gate"}},
		{"ductwarden_gate_failed", "1 while the gate did not prove its position", Gauge, []string{"gate"}},
		{"ductwarden_gate_last_stroke_seconds", "time of the gate's latest move that a switch has proved: it grows with wear", Gauge, []string{"gate"}},
		{"ductwarden_gate_moves_total", "arrivals of the gate at an end, and moves that failed", Counter, []string{"gate", "result"}},
		{"ductwarden_collector_running", "1 while the collector's motor is under power", Gauge, []string{"collector"}},
		{"ductwarden_collector_phase", "1 for the phase that the collector is in", Gauge, []string{"collector", "phase"}},
		{"ductwarden_collector_starts_left", "starts that the motor may still make this hour", Gauge, []string{"collector"}},
		{"ductwarden_collector_starts_total", "starts of the collector", Counter, []string{"collector"}},
		{"ductwarden_collector_run_seconds_total", "time the collector's motor was under power", Counter, []string{"collector"}},
		{"ductwarden_air_carries", "1 while the carrying ducts carry, 0 while one creeps or settles, absent while not judged", Gauge, []string{"collector"}},
		{"ductwarden_air_margin_ratio", "least of air speed over transport speed in the carrying ducts, less 1", Gauge, []string{"collector"}},
		{"ductwarden_air_flow_cubic_meters_per_second", "air through the collector, by the model", Gauge, []string{"collector"}},
		{"ductwarden_air_suction_pascals", "suction measured at the collector's inlet", Gauge, []string{"collector"}},
		{"ductwarden_air_velocity_meters_per_second", "air speed in the duct, by the model", Gauge, []string{"duct"}},
		{"ductwarden_air_not_carried_total", "times that carrying ducts fell to this verdict", Counter, []string{"verdict"}},
	}
}

// Samples are the figures of a snapshot and of the totals.
func Samples(snap *controller.Snapshot, t *Totals) []Sample {
	var out []Sample
	if snap == nil {
		return nil
	}
	put := func(name string, v float64, labels ...string) { out = append(out, Sample{name, labels, v}) }
	maybe := func(name string, v *float64, labels ...string) {
		if v != nil {
			put(name, *v, labels...)
		}
	}
	for _, mode := range []string{"standing_by", "on_duty", "halted"} {
		put("ductwarden_mode", one(snap.Mode == mode), mode)
	}
	for _, priority := range []string{"urgent", "high", "low"} {
		n := 0.0
		for _, a := range snap.Alarms {
			n += one(a.Priority == priority)
		}
		put("ductwarden_alarms", n, priority)
	}
	for _, m := range snap.Machines {
		if m.State != "unknown" {
			put("ductwarden_machine_running", one(m.State == "running"), m.ID)
		}
		put("ductwarden_machine_unserved", one(m.Unserved), m.ID)
		maybe("ductwarden_machine_current_amperes", m.CurrentA, m.ID)
		maybe("ductwarden_machine_share_ratio", m.Share, m.ID)
		put("ductwarden_machine_sensor_good", one(m.Health == "good"), m.ID)
		put("ductwarden_machine_run_seconds_total", float64(t.machine(m.ID).RunMS)/1000, m.ID)
		put("ductwarden_machine_starts_total", float64(t.machine(m.ID).Starts), m.ID)
	}
	for _, g := range snap.Gates {
		put("ductwarden_gate_open", one(g.State == "open"), g.ID)
		put("ductwarden_gate_failed", one(g.State == "failed"), g.ID)
		if g.StrokeMS > 0 {
			put("ductwarden_gate_last_stroke_seconds", float64(g.StrokeMS)/1000, g.ID)
		}
		put("ductwarden_gate_moves_total", float64(t.gate(g.ID).Moves), g.ID, "arrived")
		put("ductwarden_gate_moves_total", float64(t.gate(g.ID).Failed), g.ID, "failed")
	}
	for _, c := range snap.Collectors {
		put("ductwarden_collector_running", one(underPower(c.Phase)), c.ID)
		for _, phase := range []string{"off", "starting", "running", "clearing", "lingering", "coasting", "start_failed", "will_not_stop", "by_hand"} {
			put("ductwarden_collector_phase", one(c.Phase == phase), c.ID, phase)
		}
		put("ductwarden_collector_starts_left", float64(c.StartsLeft), c.ID)
		put("ductwarden_collector_starts_total", float64(t.collector(c.ID).Starts), c.ID)
		put("ductwarden_collector_run_seconds_total", float64(t.collector(c.ID).RunMS)/1000, c.ID)
		if c.Transport != "" && c.Transport != "not_judged" {
			put("ductwarden_air_carries", one(c.Transport == "carries"), c.ID)
		}
		maybe("ductwarden_air_margin_ratio", c.Margin, c.ID)
		maybe("ductwarden_air_flow_cubic_meters_per_second", c.FlowM3S, c.ID)
		maybe("ductwarden_air_suction_pascals", c.SuctionPa, c.ID)
	}
	for _, d := range snap.Ducts {
		if d.Verdict != "" && d.Verdict != "not_judged" {
			put("ductwarden_air_velocity_meters_per_second", d.VelocityMS, d.ID)
		}
	}
	for _, verdict := range []string{"creeps", "settles"} {
		put("ductwarden_air_not_carried_total", float64(t.NotCarried[verdict]), verdict)
	}
	return out
}

func one(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
