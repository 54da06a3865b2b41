package alarm

import (
	"cmp"
	"fmt"
	"slices"

	"ductwarden/controller"
)

// LongestShelf is how long an alarm may be shelved.
const LongestShelf = 8 * controller.Hour

// id is what makes an alarm the same one.
type id struct {
	is controller.Condition
	n  uint8
}

// life is one alarm's.
type life struct {
	id
	detail   controller.Standing
	standing bool               // the condition holds now
	turned   controller.Instant // since it holds, or does not
	active   bool               // after the delay
	since    controller.Instant // it appeared
	order    int                // of appearing: the first of several is the one to look at
	acked    bool
	shelved  controller.Instant // until; 0 = not shelved
	reason   string
}

// Alarms is the list as it lives. It is for one goroutine.
type Alarms struct {
	shop  *controller.Shop
	own   []Delay
	lives []life // those that are not at rest, by condition and number
	count int
}

// Delay is a shop's own delay of one alarm, in place of the list's. A negative one leaves the list's.
type Delay struct {
	Is      controller.Condition
	On, Off controller.Span
}

// New makes the list of a shop, with its own delays.
func New(shop *controller.Shop, own ...Delay) *Alarms { return &Alarms{shop: shop, own: own} }

// delay is how long a condition must stand before its alarm appears, or be gone before it goes.
func (a *Alarms) delay(e Entry, stands bool) controller.Span {
	on, off := e.On, e.Off
	for _, d := range a.own {
		if d.Is != e.Is {
			continue
		}
		if d.On >= 0 {
			on = d.On
		}
		if d.Off >= 0 {
			off = d.Off
		}
	}
	if stands {
		return on
	}
	return off
}

// Update takes what stands now. It returns when it wants to be called again although nothing changes, 0 if not.
func (a *Alarms) Update(at controller.Instant, standing []controller.Standing) (next controller.Instant) {
	for i := range a.lives {
		l := &a.lives[i]
		now := slices.IndexFunc(standing, func(s controller.Standing) bool { return s.Is == l.is && s.N == l.n })
		if holds := now >= 0; holds != l.standing {
			l.standing, l.turned = holds, at
		}
		if now >= 0 {
			l.detail = standing[now]
		}
	}
	for _, s := range standing {
		if _, listed := Of(s.Is); !listed || a.find(s.Is, s.N) != nil {
			continue
		}
		a.lives = append(a.lives, life{id: id{s.Is, s.N}, detail: s, standing: true, turned: at})
	}
	slices.SortFunc(a.lives, func(x, y life) int { return cmp.Or(cmp.Compare(x.is, y.is), cmp.Compare(x.n, y.n)) })
	consider := func(t controller.Instant) {
		if next == 0 || t < next {
			next = t
		}
	}
	keep := a.lives[:0]
	for _, l := range a.lives {
		e, _ := Of(l.is)
		if l.standing != l.active {
			if due := l.turned + controller.Instant(a.delay(e, l.standing)); at >= due {
				l.active = l.standing
				if l.active {
					a.count++
					l.since, l.order, l.acked = at, a.count, false
				}
			} else {
				consider(due)
			}
		}
		if l.shelved != 0 {
			if at >= l.shelved {
				l.shelved, l.reason = 0, ""
			} else {
				consider(l.shelved)
			}
		}
		gone := !l.standing && !l.active && (l.acked || !e.Stays || l.since == 0)
		if gone && l.shelved == 0 {
			continue
		}
		keep = append(keep, l)
	}
	a.lives = keep
	return next
}

func (a *Alarms) find(is controller.Condition, n uint8) *life {
	for i := range a.lives {
		if a.lives[i].is == is && a.lives[i].n == n {
			return &a.lives[i]
		}
	}
	return nil
}

// Acknowledge takes a person's acknowledgement of a condition, or of everything. An alarm that is gone leaves.
func (a *Alarms) Acknowledge(at controller.Instant, what uint8) {
	for i := range a.lives {
		if l := &a.lives[i]; what == controller.Everything || uint8(l.is) == what {
			l.acked = true
		}
	}
	a.lives = slices.DeleteFunc(a.lives, func(l life) bool { return !l.standing && !l.active && l.acked && l.shelved == 0 })
}

// Shelve puts an alarm away for a while, with a reason; it is counted meanwhile and comes back by itself. Until
// now takes it back at once.
func (a *Alarms) Shelve(key string, until controller.Instant, at controller.Instant, reason string) error {
	switch {
	case reason == "" && until != at:
		return fmt.Errorf("say why the alarm is put away")
	case until < at || until-at > controller.Instant(LongestShelf):
		return fmt.Errorf("an alarm can be put away for up to 8 h")
	}
	for i := range a.lives {
		if a.key(&a.lives[i]) == key {
			a.lives[i].shelved, a.lives[i].reason = until, reason
			return nil
		}
	}
	return fmt.Errorf("there is no alarm %q", key)
}

// Sounds reports whether one waits for a person: active, not acknowledged, not shelved.
func (a *Alarms) Sounds() bool {
	return slices.ContainsFunc(a.lives, func(l life) bool { return l.active && !l.acked && l.shelved == 0 })
}

// Shelved counts the alarms that are put away.
func (a *Alarms) Shelved() int {
	n := 0
	for _, l := range a.lives {
		if l.shelved != 0 {
			n++
		}
	}
	return n
}

// First is the key of the alarm that appeared first among those that are still in the list, "" if none is: usually
// the cause of the others, even when it is gone itself and waits for its acknowledgement.
func (a *Alarms) First() string {
	var first *life
	for i := range a.lives {
		if l := &a.lives[i]; l.since != 0 && (first == nil || l.order < first.order) {
			first = l
		}
	}
	if first == nil {
		return ""
	}
	return a.key(first)
}

// Fill appends the list as people are shown it: most urgent first, then in the order of appearing.
func (a *Alarms) Fill(_ controller.Instant, out []controller.AlarmSnapshot) []controller.AlarmSnapshot {
	show := make([]*life, 0, len(a.lives))
	for i := range a.lives {
		if l := &a.lives[i]; l.since != 0 && l.shelved == 0 {
			show = append(show, l)
		}
	}
	slices.SortFunc(show, func(x, y *life) int {
		ex, _ := Of(x.is)
		ey, _ := Of(y.is)
		return cmp.Or(cmp.Compare(ey.Priority, ex.Priority), cmp.Compare(x.order, y.order))
	})
	first := a.First()
	for _, l := range show {
		s := a.snapshot(l)
		s.First = s.Key == first && len(show) > 1
		out = append(out, s)
	}
	return out
}

// Away appends the alarms that are put away, in the order of their conditions.
func (a *Alarms) Away(at controller.Instant, out []controller.AlarmSnapshot) []controller.AlarmSnapshot {
	for i := range a.lives {
		if l := &a.lives[i]; l.shelved != 0 {
			s := a.snapshot(l)
			s.LeftMS, s.Reason = int64(max(0, l.shelved-at)), l.reason
			out = append(out, s)
		}
	}
	return out
}

func (a *Alarms) snapshot(l *life) controller.AlarmSnapshot {
	e, _ := Of(l.is)
	return controller.AlarmSnapshot{Key: a.key(l), Text: a.text(l, e), ToDo: a.toDo(l, e), Cause: e.Cause, Consequence: e.Consequence, Priority: e.Priority.String(),
		Acknowledged: l.acked, Active: l.active, SinceMS: int64(l.since), State: l.state()}
}

// state is the alarm's state in the words of the standards.
func (l *life) state() string {
	switch {
	case l.shelved != 0:
		return "shelved"
	case l.acked:
		return "acknowledged"
	case l.active:
		return "unacknowledged"
	}
	return "returned"
}

// key names condition and subject, "gate_not_open/planer".
func (a *Alarms) key(l *life) string {
	if s := a.subject(l.is, l.n, true); s != "" {
		return l.is.String() + "/" + s
	}
	return l.is.String()
}

func (a *Alarms) subject(is controller.Condition, n uint8, byID bool) string {
	i := int(n)
	pick := func(id, name string) string {
		if byID {
			return id
		}
		return name
	}
	switch is.Of() {
	case controller.OfGate:
		if i < len(a.shop.Gates) {
			return pick(a.shop.Gates[i].ID, a.shop.Gates[i].Name)
		}
	case controller.OfMachine:
		if i < len(a.shop.Machines) {
			return pick(a.shop.Machines[i].ID, a.shop.Machines[i].Name)
		}
	case controller.OfCollector:
		if i < len(a.shop.Collectors) {
			return pick(a.shop.Collectors[i].ID, a.shop.Collectors[i].Name)
		}
	}
	return ""
}

// text is the row's text with its subject, and what is known in particular: the duct, its margin, the share.
func (a *Alarms) text(l *life, e Entry) string {
	subject := a.subject(l.is, l.n, false)
	percent := func(r int32) string { return fmt.Sprintf("%d %%", (r+50)/100) }
	d := l.detail
	switch l.is {
	case controller.DuctNotCarried:
		if int(d.A) < len(a.shop.Ducts) {
			duct := a.shop.Ducts[d.A]
			return fmt.Sprintf("%s is too slow: %s of its transport speed", duct.Name, percent(10000+int32(d.V)))
		}
	case controller.AirShort, controller.AirFarShort:
		if int(d.A) < len(a.shop.Machines) {
			return fmt.Sprintf("%s gets %s of its air", a.shop.Machines[d.A].Name, percent(int32(d.V)))
		}
	}
	if e.Is.Of() == controller.OfShop {
		return e.Text
	}
	return fmt.Sprintf(e.Text, subject)
}

// toDo is the row's next step; where the model knows which machine's stop would mend it, it is named.
func (a *Alarms) toDo(l *life, e Entry) string {
	switch l.is {
	case controller.DuctNotCarried, controller.AirShort, controller.AirFarShort:
		if int(l.detail.B) < len(a.shop.Machines) {
			return "stop " + a.shop.Machines[l.detail.B].Name + ", or let it finish alone"
		}
	}
	return e.ToDo
}
