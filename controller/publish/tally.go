package publish

import "ductwarden/controller"

// Totals are what wear and upkeep are counted by: time under load, starts, moves. They only grow. Seed them
// from the journal at the program's start to make them the shop's whole life; counted from snapshots after
// that.
type Totals struct {
	Machines   map[string]MachineTotals
	Gates      map[string]GateTotals
	Collectors map[string]CollectorTotals
	// NotCarried counts, by verdict (creeps, settles), how often a collector's carrying ducts fell to it.
	NotCarried map[string]int64
}

// MachineTotals are one machine's.
type MachineTotals struct {
	RunMS  int64
	Starts int64
}

// GateTotals are one gate's: arrivals at an end, and moves that failed.
type GateTotals struct {
	Moves  int64
	Failed int64
}

// CollectorTotals are one collector's: time under power, and starts.
type CollectorTotals struct {
	RunMS  int64
	Starts int64
}

func (t *Totals) machine(id string) MachineTotals     { return t.Machines[id] }
func (t *Totals) gate(id string) GateTotals           { return t.Gates[id] }
func (t *Totals) collector(id string) CollectorTotals { return t.Collectors[id] }

// Clone is a copy that later counting does not touch.
func (t *Totals) Clone() *Totals {
	c := &Totals{}
	c.ready()
	for k, v := range t.Machines {
		c.Machines[k] = v
	}
	for k, v := range t.Gates {
		c.Gates[k] = v
	}
	for k, v := range t.Collectors {
		c.Collectors[k] = v
	}
	for k, v := range t.NotCarried {
		c.NotCarried[k] = v
	}
	return c
}

func (t *Totals) ready() {
	if t.Machines == nil {
		t.Machines = map[string]MachineTotals{}
	}
	if t.Gates == nil {
		t.Gates = map[string]GateTotals{}
	}
	if t.Collectors == nil {
		t.Collectors = map[string]CollectorTotals{}
	}
	if t.NotCarried == nil {
		t.NotCarried = map[string]int64{}
	}
}

// Count adds what lies between two snapshots. was is nil before the first. Time is given to the state that
// held at its beginning.
func (t *Totals) Count(was, now *controller.Snapshot) {
	t.ready()
	if was == nil || now.AtMS < was.AtMS {
		return
	}
	passed := now.AtMS - was.AtMS
	for i, m := range now.Machines {
		if i >= len(was.Machines) || was.Machines[i].ID != m.ID {
			continue
		}
		n := t.Machines[m.ID]
		if was.Machines[i].State == "running" {
			n.RunMS += passed
		} else if m.State == "running" {
			n.Starts++
		}
		t.Machines[m.ID] = n
	}
	for i, g := range now.Gates {
		if i >= len(was.Gates) || was.Gates[i].ID != g.ID || was.Gates[i].State == g.State {
			continue
		}
		n := t.Gates[g.ID]
		switch g.State {
		case "open", "closed":
			n.Moves++
		case "failed":
			n.Failed++
		}
		t.Gates[g.ID] = n
	}
	for i, c := range now.Collectors {
		if i >= len(was.Collectors) || was.Collectors[i].ID != c.ID {
			continue
		}
		n, before := t.Collectors[c.ID], was.Collectors[i]
		if underPower(before.Phase) || before.Phase == "starting" {
			n.RunMS += passed
		} else if underPower(c.Phase) || c.Phase == "starting" {
			n.Starts++
		}
		t.Collectors[c.ID] = n
		if c.Transport != before.Transport && (c.Transport == "creeps" || c.Transport == "settles") {
			t.NotCarried[c.Transport]++
		}
	}
}
