package transcript

import (
	"fmt"
	"slices"
	"strings"

	"ductwarden/controller"
	"ductwarden/current"
	"ductwarden/gates"
)

// Load makes the cast of a shop file that a script names.
type Load func(file string) (*Cast, error)

// Run runs a script against the bare core and returns it anew: its own lines, and below each what it brought. Lines
// that told so before are left out, comments and empty lines are kept.
func Run(text string, load Load) (string, error) {
	s, err := Parse(text)
	if err != nil {
		return "", err
	}
	done, err := play(s, load)
	if err != nil {
		return "", err
	}
	var out strings.Builder
	for _, l := range s.Lines {
		if l.kind == wake || l.kind == told || l.kind == any {
			continue
		}
		out.WriteString(l.Text + "\n")
		for _, b := range done[l.Number] {
			out.WriteString(b + "\n")
		}
	}
	return out.String(), nil
}

// Mismatch is where a person's script and the shop differ.
type Mismatch struct {
	Line      int      // of the command
	Want, Got []string // what the script says below it, and what it brought
}

// Check runs a script in which the lines below each command are what must happen, and returns where they do not. A
// line ... stands for any of them. A command without lines below it must bring nothing.
func Check(text string, load Load) ([]Mismatch, error) {
	s, err := Parse(text)
	if err != nil {
		return nil, err
	}
	done, err := play(s, load)
	if err != nil {
		return nil, err
	}
	var bad []Mismatch
	for i, l := range s.Lines {
		if l.kind != shop && l.kind != event && l.kind != until {
			continue
		}
		var want []string
		for _, w := range s.Lines[i+1:] {
			if w.kind == shop || w.kind == event || w.kind == until {
				break
			}
			if w.kind != remark {
				want = append(want, w.Text)
			}
		}
		if got := done[l.Number]; !matches(want, got) {
			bad = append(bad, Mismatch{l.Number, want, got})
		}
	}
	return bad, nil
}

// matches compares lines; ... stands for any number of them.
func matches(want, got []string) bool {
	var parts [][]string
	from := 0
	for i, w := range want {
		if w == "..." {
			parts = append(parts, want[from:i])
			from = i + 1
		}
	}
	last := want[from:]
	if len(parts) == 0 {
		return slices.Equal(last, got)
	}
	first := parts[0]
	if len(first)+len(last) > len(got) || !slices.Equal(first, got[:len(first)]) || !slices.Equal(last, got[len(got)-len(last):]) {
		return false
	}
	got = got[len(first) : len(got)-len(last)]
	for _, part := range parts[1:] { // the first place that fits leaves the most for the rest
		i := 0
		for i+len(part) <= len(got) && !slices.Equal(part, got[i:i+len(part)]) {
			i++
		}
		if i+len(part) > len(got) {
			return false
		}
		got = got[i+len(part):]
	}
	return true
}

// play runs a script and returns what each command brought, by its line. What time alone brings stands with the
// command before it.
func play(s *Script, load Load) (map[int][]string, error) {
	r := runner{load: load, done: map[int][]string{}}
	for i := range s.Lines {
		l := &s.Lines[i]
		if l.kind == wake || l.kind == told || l.kind == any || l.kind == remark {
			continue
		}
		if err := r.line(l); err != nil {
			return nil, err
		}
	}
	return r.done, nil
}

// mostWakes bounds how often the core may ask to be called at one moment.
const mostWakes = 64

type runner struct {
	load   Load
	cast   *Cast
	teller *Teller
	state  controller.State
	now    controller.Instant
	ref    uint32
	number int // line of the command that what happens now belongs to
	done   map[int][]string
}

func (r *runner) line(l *Line) error {
	if l.kind == event || l.kind == until {
		if err := r.pass(l.At, l.kind == until); err != nil {
			return err
		}
	}
	r.number = l.Number
	switch l.kind {
	case shop:
		return r.begin(l)
	case event:
		return r.happen(l)
	}
	return nil
}

func (r *runner) write(line string) {
	r.done[r.number] = append(r.done[r.number], line)
}

// begin opens the shop: the program has started in order, everything is quiet and seen.
func (r *runner) begin(l *Line) error {
	b, err := r.load(l.What)
	if err != nil {
		return fmt.Errorf("line %d: %w", l.Number, err)
	}
	r.cast, r.teller = b, NewTeller(b.Shop)
	effects := r.step(controller.Event{Kind: controller.Restarted})
	for _, ev := range b.Quiet() {
		effects = append(effects, r.step(ev)...)
	}
	r.tell(effects)
	return nil
}

// Quiet is what a program sees at its start in a quiet shop.
func (b *Cast) Quiet() (out []controller.Event) {
	for n := range b.Shop.Machines {
		if b.Shop.Machines[n].Sensed {
			out = append(out, controller.Event{Kind: controller.MachineSeen, By: controller.FromSensor, N: uint8(n), V: int32(current.Idle)})
		}
	}
	for n := range b.Shop.Gates {
		switch l := &b.Shop.Gates[n].Motion; {
		case l.ClosedSwitch:
			out = append(out, controller.Event{Kind: controller.GateSeen, By: controller.FromSensor, N: uint8(n), V: int32(gates.SeenClosed)})
		case l.OpenSwitch:
			out = append(out, controller.Event{Kind: controller.GateSeen, By: controller.FromSensor, N: uint8(n), V: int32(gates.SeenNeither)})
		}
	}
	for c := range b.Shop.Collectors {
		if b.Shop.Collectors[c].Proof {
			out = append(out, controller.Event{Kind: controller.CollectorSeen, By: controller.FromSensor, N: uint8(c), V: int32(controller.Still)})
		}
	}
	return out
}

func (r *runner) happen(l *Line) error {
	if file, ok := l.Changed(); ok {
		b, err := r.load(file)
		if err != nil {
			return fmt.Errorf("line %d: %w", l.Number, err)
		}
		r.cast = b
		r.teller.shop = b.Shop
		for len(r.teller.phases) < len(b.Shop.Collectors) {
			r.teller.phases = append(r.teller.phases, controller.CollectorOff)
		}
	}
	evs, err := r.cast.Events(l)
	if err != nil {
		return err
	}
	var all []controller.Effect
	for _, ev := range evs {
		if ev.By != controller.FromSensor && ev.By != controller.FromProgram {
			r.ref++
			ev.Ref = r.ref
		}
		all = append(all, r.step(ev)...)
	}
	r.tell(all)
	return nil
}

func (r *runner) step(ev controller.Event) []controller.Effect {
	ev.At = max(r.now, 1)
	return controller.Step(r.cast.Shop, &r.state, ev, nil)
}

// tell writes what was brought.
func (r *runner) tell(effects []controller.Effect) {
	for _, s := range r.lines(effects) {
		r.write(s)
	}
}

func (r *runner) lines(effects []controller.Effect) []string {
	phases := make([]controller.Phase, len(r.cast.Shop.Collectors))
	for c := range phases {
		phases[c] = r.state.Phase(c)
	}
	return r.teller.Lines(effects, r.state.Standing(r.cast.Shop, nil), phases)
}

// pass lets time go by up to a moment, or up to its end.
func (r *runner) pass(to controller.Instant, whole bool) error {
	wakes := 0
	for r.cast != nil {
		at, ok := r.state.Wake(r.cast.Shop)
		if !ok || at > to || at == to && !whole {
			break
		}
		if at > r.now {
			wakes = 0
		}
		if wakes++; wakes > mostWakes {
			return fmt.Errorf("the core does not come to rest at %s", Time(r.now))
		}
		r.now = max(r.now, at)
		if lines := r.lines(r.step(controller.Event{Kind: controller.Wake})); len(lines) > 0 {
			r.write("at " + Time(r.now) + " wake")
			for _, s := range lines {
				r.write(s)
			}
		}
	}
	r.now = max(r.now, to)
	return nil
}
