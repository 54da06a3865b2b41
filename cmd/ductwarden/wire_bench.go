package main

import (
	"context"
	"fmt"
	"net/http"
	"net/url"

	"ductwarden/config"
	"ductwarden/controller/bench"
	"ductwarden/controller/loop"
	"ductwarden/controller/panel/api"
)

// benchParts is what the bench needs to know of a shop file. Ends that nobody has found yet are left out.
func benchParts(file *config.Shop, l *loop.Loop, to bench.File, hands bench.Props) bench.Parts {
	p := bench.Parts{Loop: l, File: to, Props: hands}
	for i := range file.Machines {
		m := &file.Machines[i]
		k := bench.Machine{Name: m.Name, ID: m.ID, Path: fmt.Sprintf("machines[%d]", i)}
		for j, s := range m.Sensors {
			if s.Clamp == nil || k.Sensor != "" {
				continue
			}
			k.Sensor, k.Input = fmt.Sprintf("%s.sensors[%d].clamp", k.Path, j), inputName(file, s.Clamp.Converter)
			p.Inputs = addInput(p.Inputs, file, s.Clamp, m.Name)
		}
		p.Machines = append(p.Machines, k)
	}
	for i := range p.Machines {
		for j := range p.Machines {
			if i != j && p.Machines[i].Input != "" && p.Machines[i].Input == p.Machines[j].Input {
				p.Machines[i].Also = append(p.Machines[i].Also, p.Machines[j].Sensor)
			}
		}
	}
	for i := range file.Collectors {
		if c := &file.Collectors[i]; c.Proof != nil && c.Proof.Clamp != nil {
			p.Inputs = addInput(p.Inputs, file, c.Proof.Clamp, c.Name)
		}
	}
	for i := range file.Gates {
		g := &file.Gates[i]
		k := bench.Gate{Name: g.Name, ID: g.ID, Path: fmt.Sprintf("gates[%d]", i)}
		switch a := g.Actuator; {
		case a.Servo != nil:
			k.Actuator = fmt.Sprintf("%v/%d", a.Servo.Chip, a.Servo.Channel)
			k.Bus = file.Buses[a.Servo.Chip.Bus].Device
			k.Servo = &bench.Servo{Open: a.Servo.Open, Closed: a.Servo.Closed, Least: a.Servo.Least, Most: a.Servo.Most}
		case a.Relay != nil:
			k.Actuator = fmt.Sprintf("%v+%v", a.Relay.Open, a.Relay.Close)
			k.Motor = &bench.Motor{Travel: a.Relay.Travel}
		}
		p.Gates = append(p.Gates, k)
	}
	return p
}

// inputName is a converter's input as its meter calls it.
func inputName(file *config.Shop, c config.Converter) string {
	if c.Chip.Kind == "mcp3208" {
		return fmt.Sprintf("mcp3208@%s/%d", file.Buses[c.Chip.Bus].Device, c.Channel)
	}
	return c.String()
}

// addInput notes who is watched through an input.
func addInput(all []bench.Input, file *config.Shop, k *config.Clamp, who string) []bench.Input {
	name := inputName(file, k.Converter)
	for i := range all {
		if all[i].Name == name {
			all[i].Watches = append(all[i].Watches, who)
			return all
		}
	}
	set := file.Setting(k.Converter.Chip)
	swing := min(set.Bias, set.Reference-set.Bias)
	if k.Converter.Against >= 0 {
		swing = file.FullScale(k.Converter)
	}
	return append(all, bench.Input{Name: name, Bus: file.Buses[k.Converter.Chip.Bus].Device, Watches: []string{who}, Running: k.Running, Idle: k.Idle, Most: swing / 1.4142 / k.Scale})
}

// farBench is the bench of a running daemon, over its console socket.
type farBench struct{ client *api.Client }

// View implements bench.Desk.
func (f farBench) View(ctx context.Context, session string) (v bench.View, err error) {
	return v, f.client.Exchange(ctx, http.MethodGet, api.BenchPath+"?session="+url.QueryEscape(session), nil, &v)
}

// Do implements bench.Desk.
func (f farBench) Do(ctx context.Context, o bench.Order) (v bench.View, err error) {
	return v, f.client.Exchange(ctx, http.MethodPost, api.BenchPath, o, &v)
}
