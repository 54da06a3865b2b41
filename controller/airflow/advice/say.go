package advice

import (
	"fmt"
	"strings"
)

// Units writes SI figures as the person counts.
type Units struct {
	Speed, Flow, Pressure, Length, Power func(float64) string
}

// Say is the remedy in a sentence: what to change, and how the demand fares then.
func (r *Remedy) Say(u Units) string { return r.What(u) + ": " + r.then() }

// What is the change alone.
func (r *Remedy) What(u Units) string {
	var what string
	switch r.Kind {
	case Size:
		var parts []string
		for _, s := range r.Sizes {
			narrower := "narrower"
			if s.To > s.From {
				narrower = "wider"
			}
			parts = append(parts, fmt.Sprintf("%s %s, %s (%s inside, now %s)", s.Duct, narrower, s.Pipe, u.Length(s.To), u.Length(s.From)))
		}
		what = list(parts)
	case Relief:
		what = r.Relief.say(u)
	case Fan:
		there := "yours makes " + u.Pressure(r.Fan.Now) + " there"
		if r.Fan.Now <= 0 {
			there = "yours does not move so much"
		}
		what = fmt.Sprintf("a fan that makes %s at %s; %s and moves %s now. Its curve at %.2f times the speed would do, which takes %.1f times the power", u.Pressure(r.Fan.Pressure), u.Flow(r.Fan.Flow), there, u.Flow(r.Fan.NowFlow), r.Fan.Faster, r.Fan.PowerTimes)
		if r.Fan.Power != nil {
			what += fmt.Sprintf(", %s at the motor", u.Power(*r.Fan.Power))
		}
	case Hose:
		what = r.Hose.say(u)
	case Filter:
		what = fmt.Sprintf("clean the filter before it takes %s at %s (your loaded filter takes %s there)", u.Pressure(r.Filter.Loss), u.Flow(r.Filter.Flow), u.Pressure(r.Filter.Loaded))
	}
	return what
}

func (g *ReliefGate) say(u Units) string {
	switch {
	case g.Gate != "" && g.Why == "hand":
		return fmt.Sprintf("open hand gate %s as well, or give it an actuator so that it opens by itself", g.Gate)
	case g.Gate != "":
		return fmt.Sprintf("let gate %s open for its air (it has `relief: never`)", g.Gate)
	}
	return fmt.Sprintf("a new relief gate on an open stub of %s that joins at the upstream end of %s", g.Pipe, g.Into)
}

func (h *HoseChange) say(u Units) string {
	switch h.How {
	case "straight":
		return fmt.Sprintf("cut %s to length and pull it straight", h.Duct)
	case "smooth":
		return fmt.Sprintf("a smooth hose for %s", h.Duct)
	case "shorter":
		return fmt.Sprintf("%s no longer than %s (now %s)", h.Duct, u.Length(h.Length), u.Length(h.From))
	}
	return fmt.Sprintf("rigid pipe in place of %s", h.Duct)
}

// say is how a demand fares: "carries, margin +6 %, air 104 %, gates planer and sweep open".
func (o *Outcome) say() string {
	s := o.Transport
	if o.Margin != nil {
		s += fmt.Sprintf(", margin %+.0f %%", *o.Margin*100)
	}
	if o.Share != nil {
		s += fmt.Sprintf(", air %.0f %%", *o.Share*100)
	}
	if len(o.Open) > 0 {
		gates := "gates"
		if len(o.Open) == 1 {
			gates = "gate"
		}
		s += ", " + gates + " " + list(o.Open) + " open"
	}
	return s
}

// Brief is the change in few words, and how many other demands it spoils and mends.
func (r *Remedy) Brief(u Units) string {
	what := r.What(u)
	if r.Kind == Fan {
		what = fmt.Sprintf("a fan like yours at %.2f times the speed, %.1f times the power", r.Fan.Faster, r.Fan.PowerTimes)
	}
	var costs []string
	if n := len(r.Breaks); n > 0 {
		costs = append(costs, fmt.Sprintf("spoils %d", n))
	}
	if n := len(r.Mends); n > 0 {
		costs = append(costs, fmt.Sprintf("mends %d more", n))
	}
	if len(costs) == 0 {
		return what
	}
	return what + "; " + strings.Join(costs, ", ")
}

// Costs says what a remedy does elsewhere; "" when it does nothing. A few are named, the rest counted.
func (r *Remedy) Costs() string {
	var parts []string
	if len(r.Breaks) > 0 {
		parts = append(parts, "but spoils "+some(r.Breaks, func(e *Effect) string {
			if e.After.Carries {
				return " (short of air)"
			}
			return fmt.Sprintf(" (%s in %s)", e.After.Transport, e.After.Weakest)
		}))
	}
	if len(r.Mends) > 0 {
		parts = append(parts, "mends "+some(r.Mends, func(*Effect) string { return "" })+" too")
	}
	return strings.Join(parts, "; ")
}

func some(effects []Effect, more func(*Effect) string) string {
	const most = 3
	var parts []string
	for i := range effects[:min(len(effects), most)] {
		parts = append(parts, strings.Join(effects[i].Machines, " + ")+more(&effects[i]))
	}
	if left := len(effects) - most; left > 0 {
		parts = append(parts, fmt.Sprintf("%d more", left))
	}
	return list(parts)
}

// None says that nothing mends a demand, and how near the best came.
func (a *Advice) None(u Units) string {
	const none = "nothing that was tried mends it: no standard size of its ducts, no relief gate, no shorter or smoother hose, no cleaner filter, no fan up to three times as fast"
	if a.Nearest == nil {
		return none
	}
	return none + ". Nearest is " + a.Nearest.Say(u)
}

func list(names []string) string {
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
	return strings.Join(names, "")
}

// then is a clause of its own: what comes of it.
func (r *Remedy) then() string { return "then it " + r.After.say() }
