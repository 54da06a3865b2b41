package main

import (
	"fmt"
	"strings"
	"time"

	"ductwarden/controller"
	"ductwarden/controller/loop"
)

// words turns events and effects into what a person reads, with the names of one shop.
type words struct{ shop *controller.Shop }

func (w words) machine(n uint8) string {
	if int(n) < len(w.shop.Machines) {
		return w.shop.Machines[n].Name
	}
	return fmt.Sprintf("machine %d", n)
}

func (w words) gate(n uint8) string {
	if int(n) < len(w.shop.Gates) {
		return w.shop.Gates[n].Name
	}
	return fmt.Sprintf("gate %d", n)
}

// collector is a collector's name; with only one it goes without saying which.
func (w words) collector(n uint8) string {
	if len(w.shop.Collectors) > 1 && int(n) < len(w.shop.Collectors) {
		return w.shop.Collectors[n].Name
	}
	return "the collector"
}

// event is one line about what happened; "" for what is only time passing.
func (w words) event(ev controller.Event) string {
	by := map[controller.Source]string{controller.FromButton: " (button)", controller.FromConsole: " (console)", controller.FromPage: " (page)", controller.FromNetwork: " (network)"}[ev.By]
	held := func() string {
		if ev.V <= 0 {
			return "until told otherwise"
		}
		return "for " + spell(time.Duration(ev.V)*time.Millisecond)
	}
	pick := func(of []string) string {
		if ev.V >= 0 && int(ev.V) < len(of) {
			return of[ev.V]
		}
		return "?"
	}
	switch ev.Kind {
	case controller.MachineSeen:
		return w.machine(ev.N) + " " + pick([]string{"gives no reading", "is idle", "runs"})
	case controller.GateSeen:
		return "gate " + w.gate(ev.N) + " " + pick([]string{"has no switches", "is seen at neither end", "is seen open", "is seen closed", "shows both switches"})
	case controller.GateChip:
		return "the chip of gate " + w.gate(ev.N) + " " + pick([]string{"answers", "is silent", "was reset", "is back from the bench"})
	case controller.CollectorSeen:
		return w.collector(ev.N) + " " + pick([]string{"has no proof", "stands", "turns", "cannot be read"})
	case controller.DisconnectSeen:
		return "the disconnect is " + pick([]string{"closed", "open"})
	case controller.FilterSeen:
		return "the filter is " + pick([]string{"clean", "loaded"})
	case controller.BinSeen:
		return "the bin " + pick([]string{"has room", "is full"})
	case controller.AirSeen:
		return "the suction is " + pick([]string{"as the model says", "above the model: a plug?", "below the model: a leak, an open bin or a loaded filter?"})
	case controller.MachinePressed:
		return "button of " + w.machine(ev.N)
	case controller.ReadyPressed:
		return "Ready" + by
	case controller.HaltPressed:
		return "Halt" + by
	case controller.FinishPressed:
		return "Finish" + by
	case controller.Acknowledged:
		if ev.N == controller.Everything {
			return "everything acknowledged" + by
		}
		return strings.ReplaceAll(controller.Condition(ev.N).String(), "_", " ") + " acknowledged" + by
	case controller.HoldGate:
		return "hold gate " + w.gate(ev.N) + " open " + held() + by
	case controller.SelectGate:
		return "gate " + w.gate(ev.N) + " " + pick([]string{"to automatic", "held open", "off"}) + by
	case controller.SelectCollector:
		return w.collector(ev.N) + " " + pick([]string{"to automatic", "run by hand", "off"}) + by
	case controller.CallAir:
		return "air called for " + w.machine(ev.N) + " " + held() + by
	case controller.Restarted:
		return "the program started after " + pick([]string{"an orderly end", "an end in disorder"})
	case controller.ShopChanged:
		return "the shop file changed"
	}
	return ""
}

// effect is what was done; "" for what only the program needs to know.
func (w words) effect(e controller.Effect) string {
	switch e.Kind {
	case controller.OpenGate:
		return "open " + w.gate(e.N)
	case controller.CloseGate:
		return "close " + w.gate(e.N)
	case controller.StartCollector:
		return "start " + w.collector(e.N)
	case controller.StopCollector:
		return "stop " + w.collector(e.N)
	}
	return ""
}

// record is one line of what happened and what it caused; ok is false where there is nothing to tell.
func (w words) record(r loop.Record) (what string, then []string, ok bool) {
	what = w.event(r.Event)
	for _, e := range r.Effects {
		if s := w.effect(e); s != "" {
			then = append(then, s)
		}
	}
	switch r.Mark {
	case loop.BinEmptied:
		what = "the bin was emptied"
	case loop.FilterCleaned:
		what = "the filter was cleaned"
	case loop.FilterReplaced:
		what = "the filter was replaced"
	}
	if what == "" && len(then) > 0 { // only time has passed: what is done is the news
		return strings.Join(then, ", "), nil, true
	}
	return what, then, what != ""
}

// spell writes a time as people say it: 40 s, 3 min, 1 h 20 min.
func spell(d time.Duration) string {
	switch {
	case d < 90*time.Second:
		return fmt.Sprintf("%d s", int((d+time.Second-1)/time.Second))
	case d < 90*time.Minute:
		return fmt.Sprintf("%d min", int((d+30*time.Second)/time.Minute))
	}
	return fmt.Sprintf("%d h %d min", int(d/time.Hour), int(d%time.Hour/time.Minute))
}
