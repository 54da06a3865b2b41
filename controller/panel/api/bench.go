package api

import (
	"net/http"
	"strings"

	"ductwarden/controller/bench"
)

// BenchPath is where the bench is found.
const BenchPath = "/api/v1/bench"

// look shows the bench; session=... keeps a session alive.
func (s *Server) look(w http.ResponseWriter, r *http.Request) {
	v, err := s.Bench.View(r.Context(), r.URL.Query().Get("session"))
	benched(w, v, err)
}

// order carries out one order. 200 with the view, 409 with the reason.
func (s *Server) order(w http.ResponseWriter, r *http.Request) {
	var o bench.Order
	if !read(w, r, mostBody, &o) {
		return
	}
	v, err := s.Bench.Do(r.Context(), o)
	if err == nil && (o.Action == bench.ActLearn || o.Action == bench.ActJog || o.Action == bench.ActWrite) {
		s.witness(r, strings.TrimSpace("at the bench: "+o.Action+" "+o.Target))
	}
	benched(w, v, err)
}

func benched(w http.ResponseWriter, v bench.View, err error) {
	if err != nil {
		refuse(w, http.StatusConflict, err.Error())
		return
	}
	reply(w, http.StatusOK, v)
}
