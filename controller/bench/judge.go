package bench

import (
	"fmt"
	"math"
	"slices"
)

// Shares by which thresholds are laid between rest and running.
const (
	runShare   = 0.4  // running threshold over the least current without work, where the rest is quiet: with no-load at a third of full load (EASA, C. Yung 2005) 13 % of full load
	idleShare  = 0.6  // idle over running threshold: current switches use 0.5 to 0.7 (an assumption, as in the shop file's default)
	leastGap   = 2.0  // running without work must draw so many times the current at rest
	downFactor = 1.25 // the stopwatch is pressed by a person, and a dull bearing is not the worst day
	quietLeast = 0.02 // A; below this nothing is worth learning
)

// propose lays the thresholds, or says why it cannot.
func propose(machine string, in Input, f *Figures) (*Proposal, []Finding) {
	low, top, mid := *f.RunLow, *f.IdleTop, *f.IdleA
	if low < leastGap*top || low-top < leastRise {
		return nil, []Finding{{"too_close", true, fmt.Sprintf("%s draws %.2f A without work and %.2f A at rest on %s: too close to tell apart. "+
			"Lead the conductor twice through the clamp (an electrician does), which doubles what it reads; take a clamp for smaller currents; or use a contact of the machine's own switch", machine, low, top, in.Name)}}
	}
	running := max(runShare*low, math.Sqrt(low*top))
	idle := idleShare * running
	if idle < 1.3*top {
		idle = math.Sqrt(top * running)
	}
	p := &Proposal{RunningA: rounded(running), IdleA: rounded(idle)}
	if mid >= quietLeast {
		p.QuietA = rounded(mid)
	}
	p.RunMargin = low / p.RunningA
	p.IdleMargin = p.IdleA / max(top, quietLeast)
	p.RunDownS = math.Ceil(*f.RunDown * downFactor)
	if *f.RunDown < 0.5 {
		p.RunDownS = 0
	}
	if f.BrakeS != nil && *f.BrakeS > 0.3 {
		p.BrakeS = math.Ceil(*f.BrakeS * downFactor)
	}
	p.Text = fmt.Sprintf("It runs from %s on: without work it draws at least %s, %.3g times as much. It is idle below %s: at rest it draws at most %s, %.3g times less. Run-down %.0f s: the stopwatch said %.1f s.",
		amperes(p.RunningA), amperes(low), p.RunMargin, amperes(p.IdleA), amperes(top), p.IdleMargin, p.RunDownS, *f.RunDown)
	return p, nil
}

// changes writes the proposal as values of the shop file; a clamp that feeds several machines is written at each.
func (p *Proposal) changes(m Machine) []Change {
	var out []Change
	for _, at := range append([]string{m.Sensor}, m.Also...) {
		out = append(out, Change{at + ".running", amperes(p.RunningA)}, Change{at + ".idle", amperes(p.IdleA)})
		if p.QuietA > 0 && p.QuietA < p.IdleA {
			out = append(out, Change{at + ".quiet", amperes(p.QuietA)})
		}
		if p.BrakeS > 0 {
			out = append(out, Change{at + ".brake", fmt.Sprintf("%.0f s", p.BrakeS)})
		}
	}
	return append(out, Change{m.Path + ".run_down", fmt.Sprintf("%.0f s", p.RunDownS)})
}

// amperes writes a current as a shop file has it.
func amperes(a float64) string {
	if a < 0.9995 {
		return fmt.Sprintf("%.0f mA", a*1000)
	}
	return fmt.Sprintf("%.3g A", a)
}

// rounded keeps two digits: the rest is noise.
func rounded(a float64) float64 {
	if a <= 0 {
		return 0
	}
	unit := math.Pow(10, math.Floor(math.Log10(a))-1)
	return math.Round(a/unit) * unit
}

// quantile is the value below which a share of the values lies; 0 of none.
func quantile(values []float64, share float64) float64 {
	if len(values) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(values))
	return sorted[int(math.Round(share*float64(len(sorted)-1)))]
}
