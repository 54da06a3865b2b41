package bench

import (
	"fmt"
	"math"
	"strings"
	"time"
)

const (
	plotPoints   = 240  // in a view
	mostRecorded = 4096 // beyond it every other reading is dropped, again and again
)

// recording keeps the readings of a session, thinner the longer it lasts. Of neighbours the higher is kept: an inrush
// must not vanish.
type recording struct {
	from  time.Duration
	all   []recorded
	every int // readings in one entry
	held  int
}

type recorded struct {
	at   time.Duration
	amps float64
	step string
}

func (r *recording) add(at time.Duration, amps float64, step string) {
	if r.every == 0 {
		r.from, r.every = at, 1
	}
	last := len(r.all) - 1
	if last >= 0 && r.held < r.every && r.all[last].step == step {
		r.held++
		r.all[last].amps = max(r.all[last].amps, amps)
		return
	}
	r.held = 1
	if len(r.all) == mostRecorded {
		r.all = thinned(r.all, mostRecorded/2)
		r.every *= 2
	}
	r.all = append(r.all, recorded{at, amps, step})
}

func (r *recording) span() time.Duration {
	if len(r.all) == 0 {
		return 0
	}
	return r.all[len(r.all)-1].at - r.from
}

// thinned keeps at most n entries, of each group the highest with the group's first time and step.
func thinned(all []recorded, n int) []recorded {
	if len(all) <= n {
		return all
	}
	out := make([]recorded, 0, n)
	for i := range n {
		from, to := i*len(all)/n, (i+1)*len(all)/n
		k := all[from]
		for _, other := range all[from:to] {
			k.amps = max(k.amps, other.amps)
		}
		out = append(out, k)
	}
	return out
}

// points is the recording for a plot, at most n of them.
func (r *recording) points(n int) []PlotPoint {
	out := []PlotPoint{}
	for _, k := range thinned(r.all, n) {
		out = append(out, PlotPoint{AtS: math.Round((k.at-r.from).Seconds()*1000) / 1000, CurrentA: k.amps, Step: k.step})
	}
	return out
}

// Plot draws a recording as lines of text: true RMS over time, with marks at the thresholds (0: none). With blocks it
// uses block characters, else plain ASCII. The scale of the current is that of its square root, so that standby and
// inrush both show.
func Plot(points []PlotPoint, running, idle float64, width, height int, blocks bool) string {
	const margin = 12
	columns := width - margin
	if len(points) < 2 || columns < 10 || height < 3 {
		return ""
	}
	most, last := max(running, idle, 0.1), points[len(points)-1].AtS
	column := make([]float64, columns)
	for i := range column {
		column[i] = -1
	}
	for _, p := range points {
		most = max(most, p.CurrentA)
		c := min(int(p.AtS/max(last, 1e-9)*float64(columns)), columns-1)
		column[c] = max(column[c], p.CurrentA)
	}
	for c := 1; c < columns; c++ {
		if column[c] < 0 {
			column[c] = column[c-1]
		}
	}
	row := func(a float64) int {
		return min(height-1, int(math.Sqrt(max(a, 0)/most)*float64(height-1)+0.5))
	}
	bar, dot := '#', '-'
	if blocks {
		bar, dot = '█', '┄'
	}
	var b strings.Builder
	for r := height - 1; r >= 0; r-- {
		label := ""
		switch {
		case running > 0 && r == row(running):
			label = "run " + short(running)
		case idle > 0 && r == row(idle):
			label = "idle " + short(idle)
		case r == height-1:
			label = short(most)
		case r == 0:
			label = "0 A"
		}
		fmt.Fprintf(&b, "%*s ", margin-1, label)
		marked := running > 0 && r == row(running) || idle > 0 && r == row(idle)
		for _, a := range column {
			switch {
			case a >= 0 && row(a) >= r && (r > 0 || a > 0):
				b.WriteRune(bar)
			case marked:
				b.WriteRune(dot)
			default:
				b.WriteByte(' ')
			}
		}
		b.WriteByte('\n')
	}
	fmt.Fprintf(&b, "%*s 0 s%*.0f s\n", margin-1, "", columns-5, last)
	return b.String()
}

// short writes a current in few letters.
func short(a float64) string { return fmt.Sprintf("%.2gA", a) }
