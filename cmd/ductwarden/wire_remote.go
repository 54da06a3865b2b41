package main

import (
	"strings"
	"time"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/loop"
	"ductwarden/controller/publish"
	"ductwarden/controller/starter"
	"ductwarden/current"
	"ductwarden/current/remote"
	"ductwarden/gates"
	gateremote "ductwarden/gates/remote"
)

// partsBroker carries the messages of remote parts. Neither method waits.
type partsBroker interface {
	Watch(filter string, handle func(topic string, payload []byte, retained bool))
	Send(topic string, payload []byte) error
}

// partsLane is the goroutine of everything remote.
const partsLane loop.Lane = "broker"

// remotePoll is how often a remote meter is looked at: its readings come by themselves, seconds apart.
const remotePoll = 200 * time.Millisecond

// topics are those of the shop's site.
func topics(file *config.Shop) publish.Topics {
	t := publish.Topics{Site: "rehearsal"}
	if m := file.MQTT; m != nil {
		t.Prefix, t.Site = m.Prefix, m.Site
	}
	return t
}

// remoteGate makes the actuator of a gate at a node, and its report as the gate's end switches.
func (b *builder) remoteGate(g *config.Gate, i int) (gates.Actuator, error) {
	broker, err := b.wires.Broker()
	if err != nil {
		return nil, err
	}
	r := g.Actuator.Remote
	made, err := gateremote.New(broker, gateremote.Settings{
		Node: r.Node, Base: strings.TrimSuffix(topics(b.file).Node(r.Node, ""), "/"), Epoch: b.epoch, Travel: r.Travel, Lease: r.Lease, Answer: r.Answer,
	}, nil)
	if err != nil {
		return nil, err
	}
	b.parts.Lines = append(b.parts.Lines, loop.LineSet{Name: made.String(), Holds: true, Levels: made, Uses: []loop.LineUse{
		{Name: g.Name + " open", For: loop.EndOpen, N: i}, {Name: g.Name + " closed", For: loop.EndClosed, N: i},
	}})
	b.parts.Chips = append(b.parts.Chips, loop.Chip{
		Lane: partsLane, Name: "link of " + made.String(), Gates: controller.Set(0).With(i),
		Poll: func(now time.Duration) (time.Duration, error) { return now + remotePoll, nil },
		State: func() loop.ChipState {
			s := made.State()
			return loop.ChipState{Silent: s.Silent(), Resets: s.Resets}
		},
	})
	return made, nil
}

// remoteMeters makes every reading on the broker.
func (b *builder) remoteMeters() error {
	for i := range b.file.Machines {
		for _, s := range b.file.Machines[i].Sensors {
			if s.Remote != nil {
				if err := b.remoteMeter(s.Remote, controller.Set(0).With(i), -1); err != nil {
					return named("machine", b.file.Machines[i].Name, err)
				}
			}
		}
	}
	for i := range b.file.Collectors {
		if p := b.file.Collectors[i].Proof; p != nil && p.Remote != nil {
			if err := b.remoteMeter(p.Remote, 0, i); err != nil {
				return named("collector", b.file.Collectors[i].Name, err)
			}
		}
	}
	return nil
}

func (b *builder) remoteMeter(r *config.RemoteMeter, machines controller.Set, collector int) error {
	broker, err := b.wires.Broker()
	if err != nil {
		return err
	}
	s := remote.Settings{
		Name: r.Topic, Pointer: r.Pointer, Factor: r.Factor, Power: r.Power, MaxAge: r.MaxAge,
		Running: int64(r.Running*1000 + 0.5), Idle: int64(r.Idle*1000 + 0.5),
	}
	online := ""
	if o := r.Online; o != nil {
		online, s.OnlinePointer, s.Yes, s.No = o.Topic, o.Pointer, o.Yes, o.No
	}
	m, err := remote.New(s)
	if err != nil {
		return err
	}
	m.Attach(broker, r.Topic, online, b.parts.Scheduler.Now)
	b.parts.Chips = append(b.parts.Chips, loop.Chip{
		Lane: partsLane, Name: m.String(), Meters: []loop.Meter{{Meter: m, Machines: machines, Collector: collector}},
		Poll: func(now time.Duration) (time.Duration, error) {
			_, err := m.Poll(now)
			return now + remotePoll, err
		},
	})
	return nil
}

var _ current.Meter = (*remote.Meter)(nil)

// socket makes the starter of a collector on a remote socket.
func (b *builder) socket(r *config.RemoteSocket) (starter.Starter, error) {
	broker, err := b.wires.Broker()
	if err != nil {
		return nil, err
	}
	word := map[bool][]byte{true: []byte(r.On), false: []byte(r.Off)}
	s, err := starter.NewSocket(starter.SocketSettings{
		Name: "socket@" + r.Topic, Lease: r.Lease, Answers: r.State != nil,
		Send: func(on bool) error { return broker.Send(r.Topic, word[on]) },
	})
	if err != nil || r.State == nil {
		return s, err
	}
	state, err := remote.NewState(r.State.Pointer, r.State.Yes, r.State.No)
	if err != nil {
		return nil, err
	}
	broker.Watch(r.State.Topic, func(_ string, payload []byte, retained bool) {
		if on, err := state.Read(payload); err == nil && !retained { // a kept answer is of anyone knows when
			s.Report(on)
		}
	})
	return s, nil
}
