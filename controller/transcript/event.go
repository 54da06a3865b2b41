package transcript

import (
	"errors"
	"fmt"
	"strings"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

// Cast is a shop as a transcript needs it: the core's, and the chips that only the shop file knows, by their names.
type Cast struct {
	Shop   *controller.Shop
	Chips  map[string]controller.Set // the gates that a chip drives
	Meters map[string]controller.Set // the machines that are watched through a chip
	Motors map[string]controller.Set // the collectors that are watched through a chip
}

// Changed is the file of an event `shop FILE`; ok is false for any other event.
func (l *Line) Changed() (file string, ok bool) {
	if l.kind != event {
		return "", false
	}
	return strings.CutPrefix(l.What, "shop ")
}

// IsEvent reports whether the line is something that happens.
func (l *Line) IsEvent() bool { return l.kind == event }

// Shop is the file of a line `shop FILE`.
func (l *Line) Shop() (file string, ok bool) { return l.What, l.kind == shop }

// Events are the events that a line stands for, without times. A chip's line may stand for several.
func (c *Cast) Events(l *Line) ([]controller.Event, error) {
	evs, err := c.events(l.What)
	if err != nil {
		return nil, fmt.Errorf("line %d: %w", l.Number, err)
	}
	return evs, nil
}

func (c *Cast) events(what string) ([]controller.Event, error) {
	one := func(ev controller.Event, err error) ([]controller.Event, error) {
		return []controller.Event{ev}, err
	}
	verb, rest, _ := strings.Cut(what, " ")
	switch verb {
	case "machine":
		return one(c.machine(rest))
	case "gate":
		return one(c.gate(rest))
	case "collector":
		return one(c.collector(rest))
	case "disconnect":
		v, err := pick(rest, "closed", "open")
		return one(controller.Event{Kind: controller.DisconnectSeen, By: controller.FromSensor, N: controller.Everything, V: v}, err)
	case "chip":
		return c.chip(rest)
	case "press":
		return one(c.press(rest))
	case "restart":
		v, err := pick(rest, "clean", "unclean")
		return one(controller.Event{Kind: controller.Restarted, V: v}, err)
	case "shop":
		return one(controller.Event{Kind: controller.ShopChanged}, nil)
	case "network":
		ev, err := c.request(rest)
		ev.By = controller.FromNetwork
		return one(ev, err)
	case "acknowledge", "hold", "off", "automatic":
		ev, err := c.request(what)
		ev.By = controller.FromPage
		return one(ev, err)
	}
	return nil, fmt.Errorf("%q is no event: take machine, gate, collector, disconnect, chip, press, acknowledge, hold, off, automatic, network, restart or shop", verb)
}

// pick is the place of a word among others.
func pick(word string, of ...string) (int32, error) {
	for i, w := range of {
		if w == word {
			return int32(i), nil
		}
	}
	return 0, fmt.Errorf("%q is not one of %s", word, strings.Join(of, ", "))
}

// named splits a name from the word behind it and finds the name.
func named(rest, what string, names []string) (n uint8, last string, err error) {
	i := strings.LastIndexByte(rest, ' ')
	if i < 0 {
		return 0, "", fmt.Errorf("a %s's name and its state are wanted", what)
	}
	n, err = find(rest[:i], what, names)
	return n, rest[i+1:], err
}

func find(name, what string, names []string) (uint8, error) {
	for i, n := range names {
		if n == name {
			return uint8(i), nil
		}
	}
	return 0, fmt.Errorf("no %s %q; there is %s", what, name, strings.Join(names, ", "))
}

func (c *Cast) machineNames() (names []string) {
	for i := range c.Shop.Machines {
		names = append(names, c.Shop.Machines[i].Name)
	}
	return names
}

func (c *Cast) gateNames() (names []string) {
	for i := range c.Shop.Gates {
		names = append(names, c.Shop.Gates[i].Name)
	}
	return names
}

func (c *Cast) collectorNames() (names []string) {
	for i := range c.Shop.Collectors {
		names = append(names, c.Shop.Collectors[i].Name)
	}
	return names
}

func (c *Cast) machine(rest string) (controller.Event, error) {
	n, state, err := named(rest, "machine", c.machineNames())
	if err != nil {
		return controller.Event{}, err
	}
	v, err := pick(state, "unknown", "idle", "running")
	return controller.Event{Kind: controller.MachineSeen, By: controller.FromSensor, N: n, V: v}, err
}

func (c *Cast) gate(rest string) (controller.Event, error) {
	name, state, ok := strings.Cut(rest, " seen ")
	if !ok {
		return controller.Event{}, errors.New("write: gate NAME seen open, closed, neither or both")
	}
	n, err := find(name, "gate", c.gateNames())
	if err != nil {
		return controller.Event{}, err
	}
	v, err := pick(state, "nothing", "neither", "open", "closed", "both")
	return controller.Event{Kind: controller.GateSeen, By: controller.FromSensor, N: n, V: v}, err
}

func (c *Cast) collector(rest string) (controller.Event, error) {
	ev := controller.Event{Kind: controller.CollectorSeen, By: controller.FromSensor}
	state := rest
	if strings.Contains(rest, " ") {
		n, last, err := named(rest, "collector", c.collectorNames())
		if err != nil {
			return ev, err
		}
		ev.N, state = n, last
	} else if len(c.Shop.Collectors) > 1 {
		return ev, fmt.Errorf("which collector? There is %s", strings.Join(c.collectorNames(), ", "))
	}
	v, err := pick(state, "still", "turning", "unreadable")
	ev.V = v + int32(controller.Still)
	return ev, err
}

func (c *Cast) chip(rest string) (out []controller.Event, err error) {
	name, state, _ := strings.Cut(rest, " ")
	v, err := pick(state, "answers", "silent")
	if err != nil {
		return nil, err
	}
	driven, watched, motors := c.Chips[name], c.Meters[name], c.Motors[name]
	if driven|watched|motors == 0 {
		return nil, fmt.Errorf("the shop file has no chip %q", name)
	}
	for g := range driven.All() {
		out = append(out, controller.Event{Kind: controller.GateChip, By: controller.FromSensor, N: uint8(g), V: v})
	}
	if v == 0 {
		return out, nil // what its meters see is told by lines of their own
	}
	for m := range watched.All() {
		out = append(out, controller.Event{Kind: controller.MachineSeen, By: controller.FromSensor, N: uint8(m), V: int32(current.Unknown)})
	}
	for c := range motors.All() {
		out = append(out, controller.Event{Kind: controller.CollectorSeen, By: controller.FromSensor, N: uint8(c), V: int32(controller.Unreadable)})
	}
	return out, nil
}

// presses are the keys of `inputs` that a person presses.
var presses = map[string]controller.Event{
	"ready":       {Kind: controller.ReadyPressed, By: controller.FromButton},
	"finish":      {Kind: controller.FinishPressed, By: controller.FromButton},
	"halt":        {Kind: controller.HaltPressed, By: controller.FromButton},
	"smoke":       {Kind: controller.HaltPressed, By: controller.FromSensor},
	"acknowledge": {Kind: controller.Acknowledged, By: controller.FromButton, N: controller.Everything},
}

func (c *Cast) press(input string) (controller.Event, error) {
	if ev, ok := presses[input]; ok {
		return ev, nil
	}
	n, err := find(input, "machine", c.machineNames())
	if err != nil {
		return controller.Event{}, fmt.Errorf("%q is neither ready, finish, halt, smoke or acknowledge nor a machine's button", input)
	}
	return controller.Event{Kind: controller.MachinePressed, By: controller.FromButton, N: n}, nil
}

// request reads what a person or another program asks for.
func (c *Cast) request(what string) (controller.Event, error) {
	verb, rest, _ := strings.Cut(what, " ")
	switch verb {
	case "finish", "halt", "ready", "acknowledge":
		if rest != "" {
			return controller.Event{}, fmt.Errorf("%s stands alone", verb)
		}
		return presses[verb], nil
	case "call":
		name, lasts, err := lasting(rest, "call MACHINE for TIME")
		if err != nil {
			return controller.Event{}, err
		}
		n, err := find(name, "machine", c.machineNames())
		return controller.Event{Kind: controller.CallAir, N: n, V: lasts}, err
	case "hold":
		const form = "hold gate NAME open for TIME"
		name, lasts, err := lasting(rest, form)
		name, gate := strings.CutPrefix(name, "gate ")
		name, open := strings.CutSuffix(name, " open")
		if err == nil && !(gate && open) {
			err = errors.New("write: " + form)
		}
		if err != nil {
			return controller.Event{}, err
		}
		n, err := find(name, "gate", c.gateNames())
		return controller.Event{Kind: controller.HoldGate, N: n, V: lasts}, err
	case "off", "automatic":
		to := gates.Automatic
		if verb == "off" {
			to = gates.Off
		}
		what, name, _ := strings.Cut(rest, " ")
		switch what {
		case "gate":
			n, err := find(name, "gate", c.gateNames())
			return controller.Event{Kind: controller.SelectGate, N: n, V: int32(to)}, err
		case "collector":
			if name == "" && len(c.Shop.Collectors) == 1 {
				name = c.Shop.Collectors[0].Name
			}
			n, err := find(name, "collector", c.collectorNames())
			return controller.Event{Kind: controller.SelectCollector, N: n, V: int32(to)}, err
		}
		return controller.Event{}, fmt.Errorf("write: %s gate NAME, or %s collector NAME", verb, verb)
	}
	return controller.Event{}, fmt.Errorf("%q is no request: take finish, halt, ready, acknowledge, call, hold, off or automatic", verb)
}

// lasting splits "X for TIME".
func lasting(rest, form string) (string, int32, error) {
	i := strings.LastIndex(rest, " for ")
	if i < 0 {
		return "", 0, errors.New("write: " + form)
	}
	d, err := ParseTime(rest[i+len(" for "):])
	if err == nil && (d == 0 || d > controller.Instant(24*controller.Hour)) {
		err = fmt.Errorf("a time of %s is not possible; take 1ms to 24h", Time(d))
	}
	return rest[:i], int32(min(d, controller.Instant(24*controller.Hour))), err
}
