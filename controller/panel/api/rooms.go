package api

import (
	"errors"
	"time"

	"ductwarden/controller/report"
)

// ErrWorking says that a survey is not ready yet: ask again in a moment.
var ErrWorking = errors.New("the survey is being worked out; ask again in a moment")

// Air is the model of the shop's air. What it says is computed, not measured. units are metric or us; "" is as the
// shop file says.
type Air interface {
	// Survey judges every demand, with what would mend those that fail. It is worked out once, beside everything
	// else; until then the error is ErrWorking.
	Survey(units string) (*report.Survey, error)
	// Plan is what the program would open for machines (by id) that run at once: one demand for each collector that
	// they hang on.
	Plan(machines []string, units string) ([]report.Demand, error)
	// Fit brings the model to readings.
	Fit(f Sheet, units string) ([]Fitted, error)
}

// Sheet is a sheet of readings: CSV with the header open,place,quantity,value.
type Sheet struct {
	Text   string `json:"sheet"`
	Loaded bool   `json:"loaded"` // the filter was loaded when they were taken
	Write  bool   `json:"write"`  // keep the fitted numbers beside the shop file
}

// Fitted is one collector's model brought to readings. Figures are texts in the person's units.
type Fitted struct {
	Collector string          `json:"collector"`
	Readings  []FittedReading `json:"readings"`
	Factors   []FittedFactor  `json:"factors"`
	Notes     []string        `json:"notes"`
}

// FittedReading is one reading beside the model.
type FittedReading struct {
	Where    string  `json:"where"` // in the sheet
	Open     string  `json:"open"`
	Place    string  `json:"place"`
	Measured string  `json:"measured"`
	Before   string  `json:"before"`
	After    string  `json:"after"`
	Off      float64 `json:"off"` // after over measured, less 1
}

// FittedFactor is one uncertain number as a factor on its default.
type FittedFactor struct {
	Of         string  `json:"of"`
	Name       string  `json:"name"`
	Factor     float64 `json:"factor"`
	Was        float64 `json:"was_within"` // nineteen of twenty, before
	Within     float64 `json:"within"`     // and after
	Determined bool    `json:"determined"`
}

// History is what the journal remembers. Days are those of the wall clock.
type History interface {
	// Days sums each day by itself, oldest first.
	Days(from, to time.Time) ([]DaySum, error)
	// Changes are those of one kind, newest first, at most most.
	Changes(what string, from, to time.Time, most int) ([]Happened, error)
	// Marks are what people did, newest first.
	Marks(from, to time.Time) ([]Marked, error)
	// Readings are quarters of an hour, oldest first. subject "" is every one.
	Readings(what, subject string, from, to time.Time) ([]Reading, error)
}

// DaySum is what one thing did on one day: seconds or a count, as What says.
type DaySum struct {
	Day     string `json:"day"` // 2026-03-01
	What    string `json:"what"`
	Subject string `json:"subject"`
	Name    string `json:"name"`
	Value   int64  `json:"value"`
}

// Happened is one change with the time on the wall.
type Happened struct {
	At      time.Time `json:"at"`
	What    string    `json:"what"` // alarm, request ...
	Subject string    `json:"subject"`
	Name    string    `json:"name"`
	Was     string    `json:"was"` // of a request: the role in which it was asked
	Now     string    `json:"now"`
}

// Marked is what a person did.
type Marked struct {
	At      time.Time `json:"at"`
	What    string    `json:"what"`
	Subject string    `json:"subject"`
	Who     string    `json:"who"`
	Note    string    `json:"note"`
}

// Reading is a quarter of an hour of one quantity: A, m/s, Pa or m³/s.
type Reading struct {
	At      time.Time `json:"at"`
	What    string    `json:"what"`
	Subject string    `json:"subject"`
	Mean    float64   `json:"mean"`
	Least   float64   `json:"least"`
	Most    float64   `json:"most"`
}

// File is the person's shop file.
type File interface {
	// Text is the file as it stands now.
	Text() ([]byte, error)
	// Check finds what is wrong with a text, by the same rules as the start of the program.
	Check(text []byte) []Problem
	// Replace puts a text that has been checked in the file's place, at once or not at all.
	Replace(text []byte) error
}

// Problem is one thing that is wrong with a shop file. Line and Column count from 1; 0: the whole file.
type Problem struct {
	Line     int    `json:"line"`
	Column   int    `json:"column"`
	Path     string `json:"path"`
	Problem  string `json:"problem"`
	Found    string `json:"found"`
	Accepted string `json:"accepted"`
}
