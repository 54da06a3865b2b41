package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"sync"

	"ductwarden/config"
	"ductwarden/controller/airflow"
	"ductwarden/controller/airflow/fit"
	"ductwarden/controller/panel/api"
	"ductwarden/controller/report"
	"ductwarden/gates"
)

// airRoom is the survey of the shop as the page shows it. It is worked out once, when it is first asked for: on a
// small board that takes a while, and nothing of the control waits for it.
type airRoom struct {
	file *config.Shop
	text shopText

	mu      sync.Mutex
	begun   bool
	done    bool
	shop    *surveyed // has solvers that one goroutine may use: asked under mu once done
	found   surveyFound
	problem error
}

func newAirRoom(file *config.Shop, text shopText) *airRoom { return &airRoom{file: file, text: text} }

// begin has the survey worked out, the first time.
func (a *airRoom) begin() {
	if a.begun {
		return
	}
	a.begun = true
	go func() {
		shop, err := newSurvey(a.file)
		var found surveyFound
		if err == nil {
			found, err = shop.look(context.Background(), surveyOptions{})
		}
		a.mu.Lock()
		defer a.mu.Unlock()
		a.done, a.shop, a.found, a.problem = true, shop, found, err
	}()
}

// in gives the survey in somebody's units, to be used under the lock.
func (a *airRoom) in(units string) (*surveyed, error) {
	a.begin()
	switch {
	case !a.done:
		return nil, api.ErrWorking
	case a.problem != nil:
		return nil, a.problem
	}
	s, f := *a.shop, *a.shop.file
	switch units {
	case "us":
		f.Units = config.US
	case "metric":
		f.Units = config.Metric
	}
	s.file = &f
	return &s, nil
}

// Survey implements api.Air.
func (a *airRoom) Survey(units string) (*report.Survey, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	s, err := a.in(units)
	if err != nil {
		return nil, err
	}
	return s.report(a.found), nil
}

// Plan implements api.Air.
func (a *airRoom) Plan(machines []string, units string) ([]report.Demand, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	s, err := a.in(units)
	if err != nil {
		return nil, err
	}
	var asked gates.Set
	for _, id := range machines {
		found := false
		for i := range s.file.Machines {
			if m := &s.file.Machines[i]; m.ID == id || m.Name == id {
				asked, found = asked.With(i), true
			}
		}
		if !found {
			return nil, fmt.Errorf("there is no machine %.40q in this shop", id)
		}
	}
	var out []report.Demand
	for _, t := range s.trees {
		var mine gates.Set
		crew := airflow.Crew{Asked: true}
		for _, m := range t.tree.Machines {
			if asked.Has(m.Number) {
				mine = mine.With(m.Number)
				for _, p := range m.Ports {
					crew.Ports = crew.Ports.With(p)
				}
			}
		}
		if mine == 0 {
			continue
		}
		crew.Machines = mine
		d := treeDemand{airflow.Survey(t.solver, airflow.NewDoubt(t.model), []airflow.Crew{crew}, t.choose)[0], t}
		row := s.reportDemand(d, a.found.counsel)
		row.Why = s.why(d)
		out = append(out, row)
	}
	return out, nil
}

// Fit implements api.Air.
func (a *airRoom) Fit(f api.Sheet, units string) ([]api.Fitted, error) {
	shop := *a.file
	shop.Fitted = nil // fit anew from the defaults, not on top of the last fit
	if units == "us" {
		shop.Units = config.US
	} else if units == "metric" {
		shop.Units = config.Metric
	}
	state := airflow.Clean
	if f.Loaded {
		state = airflow.Loaded
	}
	sheets, err := readSheet("readings", strings.NewReader(f.Text), &shop)
	if err != nil {
		return nil, err
	}
	results, file, err := fitSheets(&shop, sheets, state)
	if err != nil {
		return nil, err
	}
	if f.Write {
		kept, ok := a.text.(keptFile)
		if !ok {
			return nil, errors.New("there is no shop file on disk here to keep the fitted numbers beside: a rehearsal writes nothing")
		}
		if err := writeFitted(filepath.Join(filepath.Dir(kept.path), config.FittedName), file); err != nil {
			return nil, err
		}
	}
	var out []api.Fitted
	for _, r := range results {
		out = append(out, r.told(&shop))
	}
	return out, nil
}

// told is a fit as the page shows it.
func (f fitted) told(file *config.Shop) api.Fitted {
	out := api.Fitted{Collector: f.collector, Readings: []api.FittedReading{}, Factors: []api.FittedFactor{}, Notes: append([]string{}, f.Notes...)}
	for _, r := range f.Readings {
		k := kindOf[r.Quantity]
		out.Readings = append(out.Readings, api.FittedReading{Where: r.Where, Open: openGates(file, r.Open), Place: f.place(r.Reading),
			Measured: config.FormatQuantity(k, r.Value, file.Units), Before: config.FormatQuantity(k, r.Before, file.Units), After: config.FormatQuantity(k, r.After, file.Units), Off: r.After/r.Value - 1})
	}
	for _, x := range f.Factors {
		out.Factors = append(out.Factors, api.FittedFactor{Of: fitWords[x.Kind], Name: x.Name, Factor: round4(x.Value), Was: round4(x.Prior), Within: round4(x.Known), Determined: x.Determined})
	}
	return out
}

// kindOf is the kind of a reading's figure.
var kindOf = map[fit.Quantity]config.Kind{fit.Speed: config.Speed, fit.Flow: config.Flow, fit.Static: config.Pressure}

// place names where a reading was taken.
func (f fitted) place(r fit.Reading) string {
	if r.Port {
		return f.Network.Ports[r.Place].Name
	}
	return "duct " + f.Network.Ducts[r.Place].Name
}
