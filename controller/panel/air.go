package panel

import (
	"bytes"
	"errors"
	"html/template"
	"net/http"

	"ductwarden/controller/panel/access"
	"ductwarden/controller/panel/api"
	"ductwarden/controller/report"
)

// air shows the survey. It is asked for when the page is, and until it has been worked out the page says so and looks
// again by itself.
func (s *Server) air(w http.ResponseWriter, r *http.Request) {
	v := s.view(r, "air")
	if !s.allowed(w, r, v, access.Look) {
		return
	}
	survey, err := s.API.Air.Survey(v.Units)
	switch {
	case errors.Is(err, api.ErrWorking):
		v.Waiting = true
	case err != nil:
		v.Problem = err.Error()
	default:
		var b bytes.Buffer
		if err := report.Body(&b, survey); err != nil {
			v.Problem = err.Error()
		}
		v.Body = template.HTML(b.String()) // escaped by the report's own templates
	}
	s.render(w, http.StatusOK, v)
}

// airLooks is the survey's style sheet; the page's own comes after it and gives it the theme.
func airLooks(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/css; charset=utf-8")
	_, _ = w.Write([]byte(report.Style))
}
