package main

import (
	"context"
	"crypto/rand"
	"fmt"
	"log/slog"
	"strings"
	"time"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/broker"
	"ductwarden/controller/loop"
	"ductwarden/controller/publish"
)

// published is the broker's connection of a run; nil in a shop that names no broker.
type published struct {
	service *broker.Service
	desk    *networkDesk
	done    chan struct{}
	end     context.CancelFunc
}

// networkDesk puts requests from the network before the loop, once there is one.
type networkDesk struct{ loop *loop.Loop }

// Ask implements broker.Desk.
func (d *networkDesk) Ask(ctx context.Context, e controller.Event) broker.Answer {
	if d.loop == nil {
		return broker.Answer{Text: "the program has just started; ask again in a moment"}
	}
	e.By = controller.FromNetwork
	a, err := d.loop.Do(ctx, loop.Request{Event: e})
	switch {
	case err != nil:
		return broker.Answer{Text: err.Error()}
	case !a.Accepted:
		return broker.Answer{Text: a.Why.Sentence()}
	}
	return broker.Answer{Accepted: true}
}

// openBroker makes the connection that the shop file names; nothing is sent before follow. Totals begin at seed.
func openBroker(file *config.Shop, seed *publish.Totals, now func() time.Duration, boot string, log *slog.Logger) (*published, error) {
	m := file.MQTT
	if m == nil {
		return nil, nil
	}
	p := &published{desk: &networkDesk{}, done: make(chan struct{})}
	var err error
	p.service, err = broker.NewService(broker.Config{
		Link: broker.Options{
			Broker: m.Broker, User: m.User, Password: broker.Secret{File: m.PasswordFile},
			CA: m.CA, Cert: m.Cert, Key: m.Key, ServerName: m.ServerName,
		},
		Publish: publishSettings(file), Shop: publishedShop(file), Totals: seed, Desk: p.desk,
		Memory: broker.FileMemory(publishedMemory(file)), Boot: boot, Now: now, Log: log,
	})
	if err != nil {
		return nil, err
	}
	return p, nil
}

// publishSettings is what the shop file says about publishing.
func publishSettings(file *config.Shop) publish.Settings {
	m := file.MQTT
	s := publish.Settings{
		Site: m.Site, Tree: m.Prefix, ClientID: m.ClientID, Plain: m.Plain, Prefix: m.DiscoveryPrefix,
		BirthTopic: m.BirthTopic, BirthWord: m.BirthPayload, Release: version, PageURL: pageURL(file),
	}
	s.Discovery = map[config.Discovery]publish.Discovery{
		config.DiscoveryDevice: publish.DiscoveryDevice, config.DiscoverySingle: publish.DiscoverySingle, config.DiscoveryOff: publish.DiscoveryOff,
	}[m.Discovery]
	s.Commands = map[config.Commands]publish.Commands{
		config.CommandsNone: publish.CommandsNone, config.CommandsStop: publish.CommandsStop,
		config.CommandsRequests: publish.CommandsRequests, config.CommandsStart: publish.CommandsStart,
	}[m.Commands]
	return s
}

// publishedShop is what exists, for home automation.
func publishedShop(file *config.Shop) publish.Shop {
	out := publish.Shop{Name: file.Name}
	trees := file.Trees()
	judged := func(c int) bool { return c >= 0 && c < len(trees) && trees[c].Judged }
	for _, m := range file.Machines {
		pm := publish.Machine{ID: m.ID, Name: m.Name}
		for _, s := range m.Sensors {
			pm.Current = pm.Current || s.Clamp != nil || s.Remote != nil && !s.Remote.Power
		}
		for _, p := range m.Ports {
			pm.Share = pm.Share || file.Ports[p].Airflow > 0 && judged(file.Ducts[file.Ports[p].Duct].Collector)
		}
		out.Machines = append(out.Machines, pm)
	}
	for _, g := range file.Gates {
		out.Gates = append(out.Gates, publish.Gate{ID: g.ID, Name: g.Name, Hand: g.Actuator.Hand != nil})
	}
	for i, c := range file.Collectors {
		pc := publish.Collector{ID: c.ID, Name: c.Name, Judged: judged(i)}
		for _, t := range file.Taps {
			pc.Suction = pc.Suction || t.At == config.AtInlet && t.Of == i
		}
		out.Collectors = append(out.Collectors, pc)
	}
	for _, d := range file.Ducts {
		if judged(d.Collector) {
			out.Ducts = append(out.Ducts, publish.Duct{ID: d.ID, Name: d.Name, Collector: file.Collectors[d.Collector].ID})
		}
	}
	return out
}

// trouble says what is wrong with the connection; nothing while all is told.
func (p *published) trouble() (out []string) {
	s := p.service.Status()
	switch {
	case s.Why != "" && !s.Connected:
		out = append(out, "Home automation is not connected: "+s.Why+".")
	case !s.Online:
		out = append(out, "Home automation is being connected.")
	}
	if len(s.Missing) > 0 {
		out = append(out, "The broker does not pass on what we say on "+strings.Join(s.Missing, ", ")+".")
	}
	if len(s.Aside) > 0 {
		out = append(out, "The broker breaks the connection over "+strings.Join(s.Aside, ", ")+".")
	}
	return out
}

// follow connects and publishes until Close. The loop never waits for it.
func (p *published) follow(ctx context.Context, l *loop.Loop, log *slog.Logger) {
	p.desk.loop = l
	ctx, p.end = context.WithCancel(ctx)
	watch := l.Snapshots().Watch()
	go func() {
		defer watch.Close()
		for {
			select {
			case <-ctx.Done():
				return
			case <-watch.Changed():
				p.service.Offer(watch.Latest())
			}
		}
	}()
	go func() {
		defer close(p.done)
		if err := p.service.Run(ctx); err != nil && ctx.Err() == nil {
			log.Error(fmt.Sprintf("home automation: %v", err))
		}
	}()
}

// Close says offline and ends; a frozen broker holds it up for less than a second.
func (p *published) Close() error {
	if p.end == nil {
		return nil
	}
	p.end()
	select {
	case <-p.done:
	case <-time.After(time.Second):
	}
	return nil
}

// newBoot names this start of the program.
func newBoot() string { return rand.Text()[:12] }
