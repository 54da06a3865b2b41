package api

import (
	"errors"
	"net/http"
	"strings"

	"ductwarden/controller/report"
)

const mostSheet = 64 << 10 // bytes of a sheet of readings

// unitsOf is units=metric or us; anything else is the shop file's.
func unitsOf(r *http.Request) string { return r.URL.Query().Get("units") }

func (s *Server) survey(w http.ResponseWriter, r *http.Request) {
	got, err := s.Air.Survey(unitsOf(r))
	switch {
	case errors.Is(err, ErrWorking):
		refuse(w, http.StatusServiceUnavailable, err.Error())
	case err != nil:
		refuse(w, http.StatusConflict, err.Error())
	default:
		reply(w, http.StatusOK, got)
	}
}

// Planned is the body of GET /api/v1/plan: a demand for each collector that the machines hang on.
type Planned struct {
	Demands []report.Demand `json:"demands"`
}

// plan says what would be opened for machines=a,b.
func (s *Server) plan(w http.ResponseWriter, r *http.Request) {
	var machines []string
	for _, m := range strings.Split(r.URL.Query().Get("machines"), ",") {
		if m = strings.TrimSpace(m); m != "" {
			machines = append(machines, m)
		}
	}
	got, err := s.Air.Plan(machines, unitsOf(r))
	switch {
	case errors.Is(err, ErrWorking):
		refuse(w, http.StatusServiceUnavailable, err.Error())
		return
	case err != nil:
		refuse(w, http.StatusConflict, err.Error())
		return
	}
	reply(w, http.StatusOK, Planned{append([]report.Demand{}, got...)})
}

// FitAnswer is the body of POST /api/v1/fit.
type FitAnswer struct {
	Fits    []Fitted `json:"fits"`
	Written bool     `json:"written"`
}

func (s *Server) fit(w http.ResponseWriter, r *http.Request) {
	var f Sheet
	if !read(w, r, mostSheet, &f) {
		return
	}
	got, err := s.Air.Fit(f, unitsOf(r))
	if err != nil {
		refuse(w, http.StatusConflict, err.Error())
		return
	}
	if f.Write {
		s.witness(r, "the air model was fitted to readings")
	}
	reply(w, http.StatusOK, FitAnswer{got, f.Write})
}
