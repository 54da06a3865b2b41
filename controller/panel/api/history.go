package api

import (
	"encoding/csv"
	"fmt"
	"net/http"
	"strconv"
	"time"
)

// Bounds of a span.
const (
	usualDays = 14
	mostDays  = 400
	mostTold  = 200 // faults and requests listed
)

// Remembered is the body of GET /api/v1/history.
type Remembered struct {
	From     string     `json:"from"` // day
	To       string     `json:"to"`
	Days     []DaySum   `json:"days"`
	Faults   []Happened `json:"faults"`
	Requests []Happened `json:"requests"`
	Marks    []Marked   `json:"marks"`
}

// Span reads from and to, days of the wall clock; without them the last two weeks.
func Span(r *http.Request, now time.Time) (from, to time.Time, err error) {
	q := r.URL.Query()
	day := func(key string, otherwise time.Time) time.Time {
		text := q.Get(key)
		if text == "" || err != nil {
			return otherwise
		}
		t, e := time.ParseInLocation("2006-01-02", text, now.Location())
		if e != nil {
			err = fmt.Errorf("%s=%.20q is not a day; write it like 2026-03-01", key, text)
		}
		return t
	}
	today := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, now.Location())
	to = day("to", today)
	from = day("from", to.AddDate(0, 0, 1-usualDays))
	switch {
	case err != nil:
	case from.After(to):
		err = fmt.Errorf("the span ends before it begins: from is after to")
	case to.Sub(from) > mostDays*24*time.Hour:
		err = fmt.Errorf("a span has at most %d days", mostDays)
	}
	return from, to.AddDate(0, 0, 1).Add(-time.Millisecond), err
}

// Remember reads a span from the journal.
func Remember(h History, from, to time.Time) (Remembered, error) {
	out := Remembered{From: from.Format("2006-01-02"), To: to.Format("2006-01-02"), Days: []DaySum{}, Faults: []Happened{}, Requests: []Happened{}, Marks: []Marked{}}
	days, err := h.Days(from, to)
	if err != nil {
		return out, err
	}
	faults, err := h.Changes("alarm", from, to, mostTold)
	if err != nil {
		return out, err
	}
	requests, err := h.Changes("request", from, to, mostTold)
	if err != nil {
		return out, err
	}
	marks, err := h.Marks(from, to)
	if err != nil {
		return out, err
	}
	out.Days, out.Faults, out.Requests, out.Marks = append(out.Days, days...), append(out.Faults, faults...), append(out.Requests, requests...), append(out.Marks, marks...)
	return out, nil
}

// history sums days; format=csv gives the sums alone.
func (s *Server) history(w http.ResponseWriter, r *http.Request) {
	from, to, err := Span(r, time.Now())
	if err != nil {
		refuse(w, http.StatusBadRequest, err.Error())
		return
	}
	got, err := Remember(s.History, from, to)
	if err != nil {
		refuse(w, http.StatusServiceUnavailable, err.Error())
		return
	}
	if r.URL.Query().Get("format") != "csv" {
		reply(w, http.StatusOK, got)
		return
	}
	c := sheet(w, "history", got.From, got.To)
	_ = c.Write([]string{"day", "what", "subject", "name", "value"})
	for _, d := range got.Days {
		_ = c.Write([]string{d.Day, d.What, plainCell(d.Subject), plainCell(d.Name), strconv.FormatInt(d.Value, 10)})
	}
	c.Flush()
}

// Readings is the body of GET /api/v1/readings.
type Readings struct {
	Readings []Reading `json:"readings"`
}

// readings gives quarters of an hour of what=current_a, velocity_m_s, suction_pa, flow_m3_s.
func (s *Server) readings(w http.ResponseWriter, r *http.Request) {
	from, to, err := Span(r, time.Now())
	if err != nil {
		refuse(w, http.StatusBadRequest, err.Error())
		return
	}
	q := r.URL.Query()
	got, err := s.History.Readings(q.Get("what"), q.Get("subject"), from, to)
	if err != nil {
		refuse(w, http.StatusServiceUnavailable, err.Error())
		return
	}
	if q.Get("format") != "csv" {
		reply(w, http.StatusOK, Readings{append([]Reading{}, got...)})
		return
	}
	c := sheet(w, "readings", from.Format("2006-01-02"), to.Format("2006-01-02"))
	_ = c.Write([]string{"at", "what", "subject", "mean", "least", "most"})
	for _, x := range got {
		f := func(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
		_ = c.Write([]string{x.At.Format(time.RFC3339), x.What, plainCell(x.Subject), f(x.Mean), f(x.Least), f(x.Most)})
	}
	c.Flush()
}

func sheet(w http.ResponseWriter, what, from, to string) *csv.Writer {
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Header().Set("Content-Disposition", fmt.Sprintf(`attachment; filename="%s_%s_%s.csv"`, what, from, to))
	return csv.NewWriter(w)
}

// plainCell keeps a spreadsheet from taking a name for a formula.
func plainCell(s string) string {
	if s != "" && (s[0] == '=' || s[0] == '+' || s[0] == '-' || s[0] == '@' || s[0] == '\t' || s[0] == '\r') {
		return "'" + s
	}
	return s
}
