package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"strings"
	"time"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/loop"
	"ductwarden/controller/panel"
	"ductwarden/controller/panel/access"
	"ductwarden/controller/panel/api"
)

// panelShop is what the page draws of a shop file.
func panelShop(s *config.Shop, rehearsal bool) *panel.Shop {
	out := &panel.Shop{Name: s.Name, Units: "metric", Rehearsal: rehearsal}
	if s.Units == config.US {
		out.Units = "us"
	}
	for _, c := range s.Collectors {
		out.Collectors = append(out.Collectors, panel.Named{ID: c.ID, Name: c.Name})
	}
	for _, d := range s.Ducts {
		out.Ducts = append(out.Ducts, panel.Duct{ID: d.ID, Name: d.Name, Into: d.Into, Collector: max(0, d.Collector), Diameter: d.Diameter})
	}
	for _, p := range s.Ports {
		out.Ports = append(out.Ports, panel.Port{Name: p.Name, Duct: p.Duct})
	}
	for _, g := range s.Gates {
		out.Gates = append(out.Gates, panel.Gate{ID: g.ID, Name: g.Name, Duct: g.Duct, Hand: g.Actuator.Hand != nil})
	}
	for _, m := range s.Machines {
		pm := panel.Machine{ID: m.ID, Name: m.Name}
		for _, p := range m.Ports {
			pm.Ports = append(pm.Ports, s.Ports[p].Name)
		}
		for _, sensor := range m.Sensors {
			pm.Button = pm.Button || sensor.Button != nil
		}
		out.Machines = append(out.Machines, pm)
	}
	return out
}

// pageLive lets the page see the loop.
type pageLive struct{ l *loop.Loop }

// Snapshot is the latest state.
func (p pageLive) Snapshot() *controller.Snapshot { return p.l.Snapshots().Latest() }

// Watch delivers states until ctx ends; a slow reader misses some.
func (p pageLive) Watch(ctx context.Context) <-chan *controller.Snapshot {
	out := make(chan *controller.Snapshot)
	w := p.l.Snapshots().Watch()
	go func() {
		defer close(out)
		defer w.Close()
		for {
			select {
			case <-ctx.Done():
				return
			case <-w.Changed():
			}
			select {
			case <-ctx.Done():
				return
			case out <- w.Latest():
			}
		}
	}()
	return out
}

// pageRecent tells the page what happened lately.
type pageRecent struct {
	l *loop.Loop
	w words
}

// Recent gives up to n lines, newest first.
func (p pageRecent) Recent(n int) []api.Event {
	out := make([]api.Event, 0, n)
	for _, r := range p.l.Recent(8 * n) {
		what, then, ok := p.w.record(r)
		if !ok {
			continue
		}
		if out = append(out, api.Event{AtMS: int64(r.Event.At), What: what, Then: then}); len(out) == n {
			break
		}
	}
	return out
}

// pageDesk turns what a person asks for into events, under the same conditions as the buttons on the wall.
type pageDesk struct {
	l    *loop.Loop
	shop *controller.Shop
	by   controller.Source
}

// Ask takes one request to the loop and waits for its answer, a scan at most.
func (d pageDesk) Ask(ctx context.Context, r api.Request) api.Answer {
	asked := loop.Request{Key: r.Key, Who: r.Role}
	var err error
	switch r.Action {
	case "shelve":
		asked.Shelve, err = shelving(r)
	case "bin_emptied", "filter_cleaned", "filter_replaced":
		asked.Mark, err = marking(d.shop, r)
	default:
		asked.Event, err = requestEvent(d.shop, r.Action, r.Target, r.Value)
		asked.Event.By = d.by
	}
	if err != nil {
		return api.Answer{Reason: err.Error()}
	}
	a, err := d.l.Do(ctx, asked)
	switch {
	case err != nil:
		return api.Answer{Reason: err.Error()}
	case !a.Accepted:
		return api.Answer{Reason: a.Sentence()}
	}
	return api.Answer{Accepted: true}
}

// shelving reads "1h because of the noise": a time, and why.
func shelving(r api.Request) (*loop.Shelve, error) {
	length, why, _ := strings.Cut(strings.TrimSpace(r.Value), " ")
	d, err := time.ParseDuration(length)
	if err != nil || d != 0 && d < time.Second { // 0 s takes it back
		return nil, fmt.Errorf("%q does not begin with a time; write it like: 1h the sensor is being mended", r.Value)
	}
	return &loop.Shelve{Key: r.Target, For: d, Reason: strings.TrimSpace(why)}, nil
}

// marking reads what was done at which collector; the value is the person's own note.
func marking(shop *controller.Shop, r api.Request) (*loop.Mark, error) {
	var what loop.Purpose
	for purpose, word := range markWords {
		if word == r.Action {
			what = purpose
		}
	}
	c, err := collectorNamed(shop, r.Target)
	return &loop.Mark{What: what, Collector: c, Note: r.Value}, err
}

// collectorNamed finds a collector by its id; "" is the only one.
func collectorNamed(shop *controller.Shop, id string) (int, error) {
	for i, c := range shop.Collectors {
		if c.ID == id || id == "" && len(shop.Collectors) == 1 {
			return i, nil
		}
	}
	return 0, fmt.Errorf("there is no collector %q in this shop", id)
}

// Longest times that a person may ask for from afar.
const (
	longestHold = 2 * time.Hour
	longestCall = time.Hour
)

// requestEvent is the event that an action asks for. Targets are ids of the shop file.
func requestEvent(shop *controller.Shop, action, target, value string) (controller.Event, error) {
	span := func(most time.Duration) (int32, error) {
		d, err := time.ParseDuration(value)
		if err != nil || d < time.Second || d > most {
			return 0, fmt.Errorf("%q is not a time from 1s to %s; write it like 10m", value, spell(most))
		}
		return int32(d / time.Millisecond), nil
	}
	selector := func() (int32, error) {
		for i, w := range []string{"automatic", "held_open", "off"} {
			if value == w {
				return int32(i), nil
			}
		}
		return 0, fmt.Errorf("%q is not automatic, held_open or off", value)
	}
	gate := func() (uint8, error) {
		for i, g := range shop.Gates {
			if g.ID == target {
				return uint8(i), nil
			}
		}
		return 0, fmt.Errorf("there is no gate %q in this shop", target)
	}
	ev := controller.Event{}
	var err error
	switch action {
	case "ready":
		ev.Kind = controller.ReadyPressed
	case "finish":
		ev.Kind = controller.FinishPressed
	case "halt":
		ev.Kind = controller.HaltPressed
	case "acknowledge":
		ev.Kind, ev.N = controller.Acknowledged, controller.Everything
		if key, _, _ := strings.Cut(target, "/"); key != "" {
			ev.N = 0
			for _, c := range controller.Conditions() {
				if c.String() == key {
					ev.N = uint8(c)
				}
			}
			if ev.N == 0 {
				err = fmt.Errorf("there is no alarm %q", target)
			}
		}
	case "hold_gate":
		ev.Kind = controller.HoldGate
		if ev.N, err = gate(); err == nil {
			ev.V, err = span(longestHold)
		}
	case "gate":
		ev.Kind = controller.SelectGate
		if ev.N, err = gate(); err == nil {
			ev.V, err = selector()
		}
	case "collector":
		ev.Kind = controller.SelectCollector
		var c int
		if c, err = collectorNamed(shop, target); err == nil {
			ev.N = uint8(c)
			ev.V, err = selector()
		}
	case "call_air":
		ev.Kind = controller.CallAir
		found := false
		for i, m := range shop.Machines {
			if m.ID == target {
				ev.N, found = uint8(i), true
			}
		}
		if !found {
			return ev, fmt.Errorf("there is no machine %q in this shop", target)
		}
		ev.V, err = span(longestCall)
	default:
		err = fmt.Errorf("there is no action %q", action)
	}
	return ev, err
}

// servedPage is a page that is being served.
type servedPage struct {
	URL   string
	Code  string // set-up code, while no password is set
	Store *access.Store
	Panel *panel.Server
	srv   *http.Server
}

// pageParts are what the page shows beside the shop.
type pageParts struct {
	figures   http.Handler    // at /metrics
	around    func() []string // says what works beside the control and does not; nil: nothing
	rehearsal bool
}

// servePage begins to serve the page on the shop file's address. The daemon's rooms must have been furnished.
func servePage(d *daemon, o pageParts) (*servedPage, error) {
	s, store := d.file, d.rooms.store
	address := s.Page.Listen
	if address == "" {
		address = "127.0.0.1:8480"
	}
	texts, untold := pageTexts(s)
	if untold != "" {
		known := o.around
		o.around = func() []string {
			if known == nil {
				return []string{untold}
			}
			return append(known(), untold)
		}
	}
	listener, err := panel.Bind(address, store)
	if o.rehearsal && err != nil && errors.Is(err, errInUse) { // a rehearsal beside a running daemon takes any free port
		listener, err = panel.Bind("127.0.0.1:0", store)
	}
	if err != nil {
		return nil, fmt.Errorf("page: %w", err)
	}
	hosts := append([]string{}, s.Page.Names...)
	if h, err := os.Hostname(); err == nil {
		hosts = append(hosts, h, h+".local")
	}
	p := &servedPage{Store: store, URL: "http://" + listener.Addr().String() + "/"}
	if s.Page.Cert != "" {
		p.URL = "https://" + listener.Addr().String() + "/"
	}
	p.Panel = &panel.Server{Shop: panelShop(s, o.rehearsal), API: d.api(controller.FromPage),
		Guard: &access.Guard{Hosts: hosts, Store: store, Public: s.Page.Viewing, TLS: s.Page.Cert != ""}, Version: version, Metrics: o.figures, Around: o.around, Text: texts}
	h, err := p.Panel.Handler()
	if err != nil {
		listener.Close()
		return nil, err
	}
	if !store.HasPassword() {
		if p.Code, err = store.NewCode(); err != nil {
			listener.Close()
			return nil, err
		}
	}
	p.srv = panel.HTTP(h)
	listener = panel.Limit(listener)
	go func(l net.Listener) {
		if s.Page.Cert != "" {
			p.srv.ServeTLS(l, s.Page.Cert, s.Page.Key)
		} else {
			p.srv.Serve(l)
		}
	}(listener)
	return p, nil
}

// pageURL is where other devices find the page, "" where they do not.
func pageURL(s *config.Shop) string {
	host, port, err := net.SplitHostPort(s.Page.Listen)
	ip := net.ParseIP(host)
	if err != nil || host == "localhost" || ip != nil && ip.IsLoopback() {
		return ""
	}
	if host == "" || ip != nil && ip.IsUnspecified() { // every address: the name is what a person can type
		if len(s.Page.Names) > 0 {
			host = s.Page.Names[0]
		} else if h, err := os.Hostname(); err == nil {
			host = h + ".local"
		}
	}
	scheme := "http"
	if s.Page.Cert != "" {
		scheme = "https"
	}
	return scheme + "://" + net.JoinHostPort(host, port) + "/"
}

// Close ends serving at once: open streams would outlast an orderly end.
func (p *servedPage) Close() error { return p.srv.Close() }
