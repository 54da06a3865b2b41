package controller_test

import (
	"fmt"
	"strings"

	"ductwarden/controller"
	"ductwarden/controller/transcript"
)

// told is one step in the words of the transcripts, as far as they have words for it.
func told(shop *controller.Shop, p pastStep) string {
	var b strings.Builder
	fmt.Fprintf(&b, "at %dms %s\n", p.ev.At, eventLine(shop, p.ev))
	for _, l := range transcript.NewTeller(shop).Lines(p.out, nil, nil) {
		b.WriteString(l + "\n")
	}
	return b.String()
}

func nameOf(n uint8, names ...string) string {
	if int(n) < len(names) {
		return names[n]
	}
	return fmt.Sprintf("%d", n)
}

func eventLine(shop *controller.Shop, ev controller.Event) string {
	var machines, gateNames, collectors []string
	for i := range shop.Machines {
		machines = append(machines, shop.Machines[i].Name)
	}
	for i := range shop.Gates {
		gateNames = append(gateNames, shop.Gates[i].Name)
	}
	for i := range shop.Collectors {
		collectors = append(collectors, shop.Collectors[i].Name)
	}
	pick := func(v int32, of ...string) string {
		if v >= 0 && int(v) < len(of) {
			return of[v]
		}
		return fmt.Sprintf("%d", v)
	}
	machine, gate, collector := nameOf(ev.N, machines...), nameOf(ev.N, gateNames...), nameOf(ev.N, collectors...)
	switch ev.Kind {
	case controller.Wake:
		return "wake"
	case controller.MachineSeen:
		return "machine " + machine + " " + pick(ev.V, "unknown", "idle", "running")
	case controller.GateSeen:
		return "gate " + gate + " seen " + pick(ev.V, "nothing", "neither", "open", "closed", "both")
	case controller.GateChip:
		return "chip of " + gate + " " + pick(ev.V, "answers", "silent", "was reset")
	case controller.CollectorSeen:
		return "collector " + collector + " " + pick(ev.V, "unreadable", "still", "turning", "unreadable")
	case controller.DisconnectSeen:
		return "disconnect " + pick(ev.V, "closed", "open")
	case controller.MachinePressed, controller.CallAir:
		return "press " + machine
	case controller.ReadyPressed:
		return "press ready"
	case controller.HaltPressed:
		return "press halt"
	case controller.FinishPressed:
		return "press finish"
	case controller.Acknowledged:
		return "acknowledge"
	case controller.HoldGate:
		return fmt.Sprintf("hold gate %s open for %dms", gate, ev.V)
	case controller.SelectGate:
		return pick(ev.V, "automatic gate ", "hold gate ", "off gate ") + gate
	case controller.SelectCollector:
		return pick(ev.V, "automatic collector ", "run by hand collector ", "off collector ") + collector
	case controller.Restarted:
		return "restart " + pick(ev.V, "clean", "unclean")
	case controller.ShopChanged:
		return "shop changed"
	}
	return fmt.Sprintf("event %d of %d: %d", ev.Kind, ev.N, ev.V)
}
