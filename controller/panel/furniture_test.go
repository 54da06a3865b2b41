package panel

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"ductwarden/controller/bench"
	"ductwarden/controller/panel/api"
	"ductwarden/controller/report"
)

// every page that a person can open.
var everyPage = []string{"/", "/wall", "/table", "/alarms", "/air", "/history", "/setup", "/setup/bench", "/setup/air", "/setup/file", "/cautions", "/login"}

// hostile is a name that would hurt if anybody forgot to escape it.
const hostile = "<script>alert(1)</script>"

// fakeAir is a survey of two machines.
type fakeAir struct{}

func (fakeAir) demand(machines ...string) report.Demand {
	return report.Demand{Machines: machines, Open: []string{"saw"}, Grade: report.Creeps, Margin: "-8.0 %", Weakest: "trunk", Speed: "18.4 m/s", Asked: "20.0 m/s", Share: "112.0 %", Sure: "hardly (31 %)", Clean: "carries, +2 %",
		Why: "the trunk creeps for " + strings.Join(machines, " + "), Remedies: []report.Remedy{{Kind: "hose", Text: "a smooth hose", Costs: "mends sander"}}}
}

func (a fakeAir) Survey(string) (*report.Survey, error) {
	return &report.Survey{Shop: "Reed " + hostile, Demands: []report.Demand{a.demand("bench saw"), a.demand(hostile)}, Others: []report.Demand{a.demand("bench saw", "sander")},
		Collectors: []report.Collector{{Name: "collector", Ducts: []report.Duct{{Name: "trunk", Into: -1, Diameter: 0.16, Size: "160 mm", Grade: report.Creeps, Speed: "18.4 m/s", Fails: []string{"bench saw: 18.4 m/s, creeps"}}, {Name: "saw drop", Into: 0, Diameter: 0.125, Size: "125 mm", Grade: report.Carries, Speed: "23 m/s"}},
			Ports: []report.Port{{Name: "saw", Duct: 1, Machines: []string{"bench saw"}}}, Gates: []report.Gate{{Name: "saw", Duct: 1}},
			Fan:    report.FanChart{FlowUnit: "m3/h", PressureUnit: "Pa", End: 1800, Curve: []report.Point{{Flow: 0, Pressure: 2400}, {Flow: 900, Pressure: 1900}, {Flow: 1800, Pressure: 300}}},
			Points: []report.Working{{Point: report.Point{Flow: 900, Pressure: 1900}, Machines: []string{"bench saw"}, Grade: report.Creeps, Text: "900 m3/h at 1900 Pa, creeps"}}}},
		Matrix:   report.Matrix{Machines: []string{"bench saw", "sander"}, Cells: [][]report.Cell{{{Grade: report.Carries, Margin: "+5.0 %", Open: "saw"}, {Grade: report.Creeps, Margin: "-8.0 %"}}, {{Grade: report.Settles, Margin: "-30.0 %"}, {}}}},
		Facts:    []report.Fact{{About: "trunk", Kind: "wall", Value: "0.15 mm", Spread: "1.5", Source: "a table"}},
		Cautions: []report.CautionText{{Title: "Dust burns.", Text: "Ask."}}}, nil
}

func (a fakeAir) Plan(machines []string, _ string) ([]report.Demand, error) {
	if len(machines) == 0 {
		return nil, nil
	}
	return []report.Demand{a.demand(machines...)}, nil
}

func (fakeAir) Fit(f api.Sheet, _ string) ([]api.Fitted, error) {
	if strings.Count(f.Text, "\n") == 0 {
		return nil, errors.New("there are no readings; measure the air speed at a few ports with their gates open")
	}
	return []api.Fitted{{Collector: "collector", Readings: []api.FittedReading{{Open: "saw", Place: "saw", Measured: "23.4 m/s", Before: "25 m/s", After: "23.5 m/s", Off: 0.004}},
		Factors: []api.FittedFactor{{Of: "hose friction", Name: "lathe hose", Factor: 1.3, Was: 4, Within: 1.2, Determined: true}}, Notes: []string{"measure more"}}}, nil
}

// fakePast is two weeks of work.
type fakePast struct{}

func (fakePast) Days(_, to time.Time) (out []api.DaySum, _ error) {
	for d := range 10 {
		day := to.AddDate(0, 0, d-9).Format("2006-01-02")
		for i, m := range []string{"bench saw", hostile, "sander"} {
			out = append(out, api.DaySum{Day: day, What: "machine_running_s", Subject: fmt.Sprint(i), Name: m, Value: int64(600 * (1 + (d*7+i*3)%11))},
				api.DaySum{Day: day, What: "machine_starts", Subject: fmt.Sprint(i), Name: m, Value: int64(1 + (d*5+i)%9)}, api.DaySum{Day: day, What: "gate_moves", Subject: fmt.Sprint(i), Name: m, Value: int64(2 * (1 + (d*5+i)%9))})
		}
		out = append(out, api.DaySum{Day: day, What: "collector_starts", Subject: "collector", Name: "collector", Value: int64(3 + d%4)}, api.DaySum{Day: day, What: "collector_running_s", Subject: "collector", Name: "collector", Value: int64(7200 + d*300)})
	}
	return out, nil
}

func (fakePast) Changes(what string, _, to time.Time, _ int) ([]api.Happened, error) {
	if what == "request" {
		return []api.Happened{{At: to, What: what, Name: "ready", Was: "duty", Now: "accepted"}, {At: to, What: what, Name: "hold gate " + hostile, Was: "set_up", Now: "refused: the collector is off"}}, nil
	}
	return []api.Happened{{At: to, What: what, Name: "trunk is too slow", Now: "raised"}}, nil
}

func (fakePast) Marks(_, to time.Time) ([]api.Marked, error) {
	return []api.Marked{{At: to, What: "bin_emptied", Subject: "collector", Who: "duty", Note: hostile}}, nil
}

func (fakePast) Readings(what, _ string, _, to time.Time) (out []api.Reading, _ error) {
	for q := range 40 {
		at := to.Truncate(15 * time.Minute).Add(time.Duration(q-60) * 15 * time.Minute)
		v := 4 + float64(q*q%17)/4
		subject := map[string]string{"velocity_m_s": "trunk", "current_a": "saw"}[what]
		if subject == "" {
			subject = "collector"
		}
		out = append(out, api.Reading{At: at, What: what, Subject: subject, Mean: v, Least: v - 1, Most: v + 2})
	}
	return out, nil
}

// fakeFile is a shop file with one rule: no line may say wrong.
type fakeFile struct {
	mu   sync.Mutex
	text string
}

func (f *fakeFile) Text() ([]byte, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return []byte(f.text), nil
}

func (f *fakeFile) Replace(text []byte) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.text = string(text)
	return nil
}

func (f *fakeFile) Check(text []byte) (out []api.Problem) {
	for i, line := range strings.Split(string(text), "\n") {
		if at := strings.Index(line, "wrong"); at >= 0 {
			out = append(out, api.Problem{Line: i + 1, Column: at + 1, Path: "gates[0]", Problem: "this word is wrong", Found: hostile, Accepted: "right"})
		}
	}
	return out
}

// fakeBench is a bench at which a gate is jogged.
type fakeBench struct {
	mu     sync.Mutex
	jog    *bench.JogSession
	orders []bench.Order
}

func (b *fakeBench) View(context.Context, string) (bench.View, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.view(), nil
}

func (b *fakeBench) view() bench.View {
	a := 6.21
	v := bench.View{Channels: []bench.Channel{{Name: "main:ads1115@0x48/0", Watches: []string{"bench saw"}, CurrentA: &a, Health: "good", State: "running", RunningA: 2, IdleA: 0.5, MostA: 30},
		{Name: "main:ads1115@0x48/1", Watches: []string{hostile}, Health: "flat", State: "unknown", Words: "the clamp of the lathe is silent: look at its plug", Suspects: true}}}
	if b.jog != nil {
		j := *b.jog
		v.Busy, v.Jog = "jog", &j
	}
	return v
}

func (b *fakeBench) Do(_ context.Context, o bench.Order) (bench.View, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.orders = append(b.orders, o)
	switch o.Action {
	case bench.ActLearn:
		return bench.View{}, &bench.Refusal{Reason: "the shop is on duty: halt it first"}
	case bench.ActJog:
		b.jog = &bench.JogSession{Session: "s1", Gate: "saw", ID: "saw", Actuator: "pca9685@0x40/0", Kind: "servo", Step: "caution", Say: "Read the cautions.", Cautions: bench.JogCautions(), LeastUS: 900, MostUS: 2100, Marked: []string{}, Findings: []bench.Finding{}, Changes: []bench.Change{}}
	case bench.ActAccept:
		b.jog.Step, b.jog.Say, b.jog.PulseUS, b.jog.On = bench.StepJog, "Press +10 or -10 until the slide stands open.", 1500, true
	case bench.ActEnd:
		b.jog = nil
	}
	return b.view(), nil
}

func (b *fakeBench) last() bench.Order {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.orders[len(b.orders)-1]
}
