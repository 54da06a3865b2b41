package panel

import (
	"fmt"
	"html/template"
	"net/http"
	"sort"
	"strconv"
	"strings"
	"time"

	"ductwarden/controller/panel/access"
	"ductwarden/controller/panel/api"
	"ductwarden/controller/panel/plot"
)

// past is what the history page shows.
type past struct {
	From, To string
	Figures  []figure
	Lists    []list
}

// figure is a drawing with the same as a table.
type figure struct {
	Key     string // of its heading
	Drawing template.HTML
	Head    []string
	Rows    [][]string
}

// list is a table of happenings; its heads are keys of texts.
type list struct {
	Key  string
	Head []string
	Rows [][]string
}

// dayFigures are the sums that are drawn by day: seconds become hours.
var dayFigures = []struct {
	key, what, unit string
	hours           bool
}{
	{"hours", "machine_running_s", "h", true},
	{"starts", "machine_starts", "", false},
	{"collector", "collector_running_s", "h", true},
	{"collectorstarts", "collector_starts", "", false},
	{"moves", "gate_moves", "", false},
	{"unserved", "machine_without_air_s", "h", true},
}

// readFigures are the readings that are drawn, a quarter of an hour each. us is a factor into US units.
var readFigures = []struct {
	key, what, unit, usUnit string
	metric, us              float64
}{
	{"currents", "current_a", "A", "A", 1, 1},
	{"speeds", "velocity_m_s", "m/s", "fpm", 1, 1 / 0.00508},
	{"flows", "flow_m3_s", "m³/h", "cfm", 3600, 1 / 0.000471947443},
	{"suctions", "suction_pa", "Pa", "inH₂O", 1, 1 / 249.08891},
}

// quarter is the length of a reading.
const quarter = 15 * time.Minute

// history shows a span of days.
func (s *Server) history(w http.ResponseWriter, r *http.Request) {
	v := s.view(r, "history")
	if !s.allowed(w, r, v, access.Look) {
		return
	}
	from, to, err := api.Span(r, time.Now())
	v.Past = past{From: from.Format("2006-01-02"), To: to.Format("2006-01-02")}
	if err == nil {
		err = s.fill(&v.Past, from, to, v.Units)
	}
	if err != nil {
		v.Problem = err.Error()
	}
	s.render(w, http.StatusOK, v)
}

func (s *Server) fill(p *past, from, to time.Time, units string) error {
	got, err := api.Remember(s.API.History, from, to)
	if err != nil {
		return err
	}
	for _, f := range dayFigures {
		if drawn := s.byDay(f.key, f.what, f.unit, f.hours, got.Days, from, to); drawn.Drawing != "" {
			p.Figures = append(p.Figures, drawn)
		}
	}
	names := s.Shop.names()
	for _, f := range readFigures {
		readings, err := s.API.History.Readings(f.what, "", from, to)
		if err != nil {
			return err
		}
		unit, factor := f.unit, f.metric
		if units == "us" {
			unit, factor = f.usUnit, f.us
		}
		if drawn := s.overTime(f.key, unit, factor, readings, names, from, to); drawn.Drawing != "" {
			p.Figures = append(p.Figures, drawn)
		}
	}
	clock := func(t time.Time) string { return t.Local().Format("2006-01-02 15:04:05") }
	marks := list{Key: "marks", Head: []string{"col.when", "col.what", "col.name", "col.role", "col.note"}}
	for _, m := range got.Marks {
		marks.Rows = append(marks.Rows, []string{clock(m.At), plain(m.What), m.Subject, plain(m.Who), m.Note})
	}
	faults := list{Key: "faults", Head: []string{"col.when", "col.alarm", "col.state"}}
	for _, f := range got.Faults {
		faults.Rows = append(faults.Rows, []string{clock(f.At), f.Name, f.Now})
	}
	requests := list{Key: "requests", Head: []string{"col.when", "col.what", "col.role", "col.became"}}
	for _, q := range got.Requests {
		requests.Rows = append(requests.Rows, []string{clock(q.At), q.Name, plain(q.Was), q.Now})
	}
	p.Lists = []list{marks, faults, requests}
	return nil
}

// plain is a word of the journal as people read it.
func plain(s string) string { return strings.ReplaceAll(s, "_", " ") }

// byDay draws one sum a day and thing.
func (s *Server) byDay(key, what, unit string, hours bool, days []api.DaySum, from, to time.Time) figure {
	f := figure{Key: key, Head: []string{s.Text.Say("col.day")}}
	var strips []plot.Strip
	at, byDay := map[string]int{}, map[string][]string{}
	for _, d := range days {
		if d.What == what {
			if _, known := at[d.Subject]; !known {
				at[d.Subject] = len(strips)
				strips = append(strips, plot.Strip{Name: d.Name})
				f.Head = append(f.Head, d.Name)
			}
		}
	}
	for _, d := range days {
		day, err := time.ParseInLocation("2006-01-02", d.Day, from.Location())
		if d.What != what || err != nil {
			continue
		}
		value, text := float64(d.Value), strconv.FormatInt(d.Value, 10)
		if hours {
			value, text = float64(d.Value)/3600, fmt.Sprintf("%d:%02d", d.Value/3600, d.Value/60%60)
		}
		i := at[d.Subject]
		strips[i].Bars = append(strips[i].Bars, plot.Bar{From: day.Add(2 * time.Hour), To: day.Add(22 * time.Hour), High: value})
		if byDay[d.Day] == nil {
			byDay[d.Day] = make([]string, len(strips))
		}
		byDay[d.Day][i] = text
	}
	f.Rows = ordered(byDay)
	f.Drawing = template.HTML(plot.Strips(s.Text.Say("past."+key), from, to, strips, plot.Figure(unit)))
	return f
}

// overTime draws readings: from the least to the most of each quarter of an hour, with its mean.
func (s *Server) overTime(key, unit string, factor float64, readings []api.Reading, names map[string]string, from, to time.Time) figure {
	f := figure{Key: key, Head: []string{s.Text.Say("col.when")}}
	var strips []plot.Strip
	at, byTime := map[string]int{}, map[string][]string{}
	for _, r := range readings {
		if _, known := at[r.Subject]; !known {
			name := names[r.Subject]
			if name == "" {
				name = r.Subject
			}
			at[r.Subject] = len(strips)
			strips = append(strips, plot.Strip{Name: name})
			f.Head = append(f.Head, name+" ("+unit+")")
		}
	}
	if len(readings) > 0 && to.Sub(from) > 48*time.Hour { // the axis shows only where something was
		from, to = shown(readings[0].At, from, -1), shown(readings[len(readings)-1].At, to, 1)
	}
	for _, r := range readings {
		i := at[r.Subject]
		strips[i].Bars = append(strips[i].Bars, plot.Bar{From: r.At, To: r.At.Add(quarter), Low: r.Least * factor, Mid: r.Mean * factor, High: r.Most * factor})
		when := r.At.Local().Format("2006-01-02 15:04")
		if byTime[when] == nil {
			byTime[when] = make([]string, len(strips))
		}
		byTime[when][i] = strconv.FormatFloat(r.Mean*factor, 'g', 3, 64)
	}
	f.Rows = ordered(byTime)
	f.Drawing = template.HTML(plot.Strips(s.Text.Say("past."+key), from, to, strips, plot.Figure(unit)))
	return f
}

// shown is the whole day around a moment, within a limit.
func shown(at, limit time.Time, way int) time.Time {
	at = at.In(limit.Location())
	day := time.Date(at.Year(), at.Month(), at.Day(), 0, 0, 0, 0, limit.Location())
	if way > 0 {
		if day = day.AddDate(0, 0, 1); day.After(limit) {
			return limit
		}
		return day
	}
	if day.Before(limit) {
		return limit
	}
	return day
}

// ordered makes rows of a table by their first cell, newest first, at most as many as a page takes.
func ordered(by map[string][]string) [][]string {
	const most = 500
	keys := make([]string, 0, len(by))
	for k := range by {
		keys = append(keys, k)
	}
	sort.Sort(sort.Reverse(sort.StringSlice(keys)))
	keys = keys[:min(most, len(keys))]
	rows := make([][]string, 0, len(keys))
	for _, k := range keys {
		rows = append(rows, append([]string{k}, by[k]...))
	}
	return rows
}

// names are those of everything that is read, by id.
func (s *Shop) names() map[string]string {
	out := map[string]string{}
	for _, d := range s.Ducts {
		out[d.ID] = d.Name
	}
	for _, c := range s.Collectors {
		out[c.ID] = c.Name
	}
	for _, m := range s.Machines {
		out[m.ID] = m.Name
	}
	return out
}
