package advice

import "ductwarden/controller/airflow"

// Effect is what a change does to a demand.
type Effect struct {
	Machines []string `json:"machines"`
	Asked    bool     `json:"asked"`
	Before   Outcome  `json:"before"`
	After    Outcome  `json:"after"`
}

// effects judges every other demand with a remedy.
func (a *Advisor) effects(r *Remedy, mended airflow.Crew) {
	if r.Breaks != nil {
		return
	}
	r.Breaks, r.Mends = []Effect{}, []Effect{}
	t, err := try(&a.shop, r.net)
	if err != nil {
		return
	}
	for i, c := range a.crews {
		if c.Machines == mended.Machines {
			continue
		}
		before, after := a.was[i], t.outcome(c)
		e := Effect{Machines: a.shop.names(c.Machines), Asked: c.Asked, Before: before, After: after}
		switch was, is := before.verdict, after.verdict; {
		case was.Grade == airflow.Carries && is.Grade != airflow.Carries, was.Grade < is.Grade,
			was.Grade == airflow.Carries && c.Asked && !a.short(was) && a.short(is):
			r.Breaks = append(r.Breaks, e)
		case was.Grade != airflow.Carries && is.Grade == airflow.Carries:
			r.Mends = append(r.Mends, e)
		}
	}
}

// harm counts demands that a remedy spoils.
func harm(list []Effect, asked bool) int {
	n := 0
	for _, e := range list {
		if e.Asked == asked {
			n++
		}
	}
	return n
}
