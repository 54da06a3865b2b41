package transcript

import (
	"fmt"

	"ductwarden/controller"
	"ductwarden/controller/plan"
)

// Teller turns what the core does into the lines of a transcript. It remembers what stood before.
type Teller struct {
	shop     *controller.Shop
	standing []controller.Standing
	phases   []controller.Phase
}

// NewTeller makes a teller of a shop in which nothing stands and every collector is off.
func NewTeller(shop *controller.Shop) *Teller {
	return &Teller{shop: shop, phases: make([]controller.Phase, len(shop.Collectors))}
}

// Lines are the effects, then the conditions that were raised and are gone, then the phases that changed.
func (t *Teller) Lines(effects []controller.Effect, standing []controller.Standing, phases []controller.Phase) (out []string) {
	for _, e := range effects {
		if s := t.Effect(e); s != "" {
			out = append(out, "-> "+s)
		}
	}
	for _, s := range standing {
		if !has(t.standing, s) {
			out = append(out, fmt.Sprintf("!! %s raised%s", t.Condition(s), t.detail(s)))
		}
	}
	for _, s := range t.standing {
		if !has(standing, s) {
			out = append(out, fmt.Sprintf("!! %s gone", t.Condition(s)))
		}
	}
	t.standing = append(t.standing[:0], standing...)
	for c, p := range phases {
		if c < len(t.phases) && p != t.phases[c] {
			out = append(out, fmt.Sprintf("== collector%s %s", t.collector(uint8(c)), p))
			t.phases[c] = p
		}
	}
	return out
}

func has(list []controller.Standing, s controller.Standing) bool {
	for _, x := range list {
		if x.Is == s.Is && x.N == s.N {
			return true
		}
	}
	return false
}

// collector is a collector's name behind a space; nothing when there is one.
func (t *Teller) collector(n uint8) string {
	if len(t.shop.Collectors) < 2 || int(n) >= len(t.shop.Collectors) {
		return ""
	}
	return " " + t.shop.Collectors[n].Name
}

func (t *Teller) gate(n uint8) string {
	if int(n) < len(t.shop.Gates) {
		return t.shop.Gates[n].Name
	}
	return fmt.Sprintf("number %d", n)
}

// Effect is an effect in words; "" for an answer that nobody reads.
func (t *Teller) Effect(e controller.Effect) string {
	why := ""
	if w := t.shop.Why(e); w != "" {
		why = ": " + w
	}
	switch e.Kind {
	case controller.OpenGate:
		return "open gate " + t.gate(e.N) + why
	case controller.CloseGate:
		return "close gate " + t.gate(e.N) + why
	case controller.RestGate:
		return "rest gate " + t.gate(e.N) + why
	case controller.StartCollector:
		return "start collector" + t.collector(e.N) + why
	case controller.StopCollector:
		return "stop collector" + t.collector(e.N) + why
	case controller.SaveStart:
		return "save start" + t.collector(e.N)
	case controller.Answered:
		if e.V != 0 {
			return "refused" + why
		}
		return ""
	case controller.Note:
		return "note" + why
	}
	return fmt.Sprintf("effect %d", e.Kind)
}

// Condition is a condition's key with the name of what it concerns.
func (t *Teller) Condition(s controller.Standing) string {
	switch s.Is.Of() {
	case controller.OfGate:
		return s.Is.String() + " " + t.gate(s.N)
	case controller.OfMachine:
		if int(s.N) < len(t.shop.Machines) {
			return s.Is.String() + " " + t.shop.Machines[s.N].Name
		}
	case controller.OfCollector:
		return s.Is.String() + t.collector(s.N)
	}
	return s.Is.String()
}

// detail is what is known in particular of a condition of the air.
func (t *Teller) detail(s controller.Standing) string {
	var out string
	tenths := func(r plan.Ratio) string { return fmt.Sprintf("%d.%d %%", r/100, r/10%10) }
	switch s.Is {
	case controller.DuctNotCarried:
		if int(s.A) < len(t.shop.Ducts) && s.V > -10000 {
			out = fmt.Sprintf(": duct %s at %s of its transport speed", t.shop.Ducts[s.A].Name, tenths(10000+s.V))
		}
	case controller.AirShort, controller.AirFarShort:
		if int(s.A) < len(t.shop.Machines) && s.V >= 0 {
			out = fmt.Sprintf(": %s gets %s of its air", t.shop.Machines[s.A].Name, tenths(s.V))
		}
	default:
		return ""
	}
	if int(s.B) < len(t.shop.Machines) {
		out += "; stop " + t.shop.Machines[s.B].Name
	}
	return out
}
