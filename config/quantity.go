package config

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Kind is what a quantity measures.
type Kind uint8

// The kinds of quantities; values are in the SI unit named.
const (
	Length        Kind = iota // m
	Area                      // m2
	Speed                     // m/s
	Flow                      // m3/s
	Pressure                  // Pa
	Temperature               // K
	Time                      // s
	Current                   // A
	Voltage                   // V
	Power                     // W
	Density                   // kg/m3
	Viscosity                 // Pa s, dynamic
	Frequency                 // Hz
	Resistance                // ohm
	Fraction                  // 1, written in percent
	CurrentScale              // V per A
	PressureScale             // V per Pa
)

// unit is one way to write a kind: SI value = number*factor + offset.
type unit struct {
	name   string
	factor float64
	offset float64
	us     bool
	others []string // other spellings
}

// Exact by definition (NIST SP 811 appendix B): inch 25.4 mm, foot 304.8 mm, pound 0.45359237 kg, minute 60 s.
// A horsepower is 550 ft lbf/s = 745.69987 W (SP 811). An inch of water is 249.089 Pa, water at 4 °C
// (the conventional inch of water; 248.8 Pa is water at 60 °F, which is not used here).
const (
	inch      = 0.0254
	foot      = 0.3048
	pound     = 0.45359237
	horse     = 745.6998715822702
	inchWater = 249.089
	fpm       = foot / 60
	cfm       = foot * foot * foot / 60
)

// units lists for each kind how it may be written; the first of each system is the one shown.
var units = [...][]unit{
	Length:      {{name: "mm", factor: 1e-3}, {name: "m", factor: 1}, {name: "cm", factor: 1e-2}, {name: "km", factor: 1e3}, {name: "um", factor: 1e-6}, {name: "in", factor: inch, us: true, others: []string{"inch", "inches", "\""}}, {name: "ft", factor: foot, us: true, others: []string{"foot", "feet", "'"}}},
	Area:        {{name: "mm2", factor: 1e-6}, {name: "cm2", factor: 1e-4}, {name: "m2", factor: 1}, {name: "in2", factor: inch * inch, us: true, others: []string{"sq in"}}, {name: "ft2", factor: foot * foot, us: true, others: []string{"sq ft"}}},
	Speed:       {{name: "m/s", factor: 1}, {name: "km/h", factor: 1 / 3.6}, {name: "m/min", factor: 1.0 / 60}, {name: "fpm", factor: fpm, us: true, others: []string{"ft/min"}}, {name: "ft/s", factor: foot, us: true, others: []string{"fps"}}},
	Flow:        {{name: "m3/h", factor: 1.0 / 3600}, {name: "m3/s", factor: 1}, {name: "m3/min", factor: 1.0 / 60}, {name: "l/s", factor: 1e-3}, {name: "l/min", factor: 1e-3 / 60}, {name: "cfm", factor: cfm, us: true, others: []string{"ft3/min"}}},
	Pressure:    {{name: "Pa", factor: 1}, {name: "kPa", factor: 1e3}, {name: "hPa", factor: 100}, {name: "mbar", factor: 100}, {name: "bar", factor: 1e5}, {name: "mmH2O", factor: inchWater / 25.4}, {name: "inH2O", factor: inchWater, us: true, others: []string{"in wg", "in. wg", "in. w.g.", "in w.g.", "in wc", "in. wc", "in. w.c.", "inwg", "inwc", "in H2O", "iwg"}}, {name: "psi", factor: pound * 9.80665 / (inch * inch), us: true}},
	Temperature: {{name: "°C", factor: 1, offset: 273.15, others: []string{"C", "degC"}}, {name: "K", factor: 1}, {name: "°F", factor: 5.0 / 9, offset: 459.67 * 5 / 9, us: true, others: []string{"F", "degF"}}},
	Time:        {{name: "s", factor: 1, others: []string{"sec", "seconds", "second"}}, {name: "ms", factor: 1e-3}, {name: "us", factor: 1e-6}, {name: "min", factor: 60, others: []string{"minutes", "minute"}}, {name: "h", factor: 3600, others: []string{"hours", "hour", "hr"}}, {name: "d", factor: 86400, others: []string{"days", "day"}}},
	Current:     {{name: "A", factor: 1}, {name: "mA", factor: 1e-3}},
	Voltage:     {{name: "V", factor: 1}, {name: "mV", factor: 1e-3}},
	Power:       {{name: "W", factor: 1}, {name: "kW", factor: 1e3}, {name: "hp", factor: horse, us: true}},
	Density:     {{name: "kg/m3", factor: 1}, {name: "lb/ft3", factor: pound / (foot * foot * foot), us: true}},
	Viscosity:   {{name: "uPa.s", factor: 1e-6, others: []string{"uPa s", "uPas"}}, {name: "mPa.s", factor: 1e-3, others: []string{"mPa s", "mPas", "cP"}}, {name: "Pa.s", factor: 1, others: []string{"Pa s", "Pas"}}},
	Frequency:   {{name: "Hz", factor: 1}, {name: "kHz", factor: 1e3}, {name: "MHz", factor: 1e6}},
	Resistance:  {{name: "ohm", factor: 1, others: []string{"ohms"}}, {name: "kohm", factor: 1e3}},
	Fraction:    {{name: "%", factor: 0.01, others: []string{"percent"}}},
}

// words names each kind for messages, with an example.
var words = [...]struct{ name, example string }{
	Length: {"length", "100 mm or 4 in"}, Area: {"area", "60 mm2 or 0.1 in2"}, Speed: {"speed", "20 m/s or 4000 fpm"},
	Flow: {"flow of air", "820 m3/h or 480 cfm"}, Pressure: {"pressure", "250 Pa or 1 inH2O"},
	Temperature: {"temperature", "18 °C or 64 °F"}, Time: {"time", "600 ms, 12 s or 4 min"}, Current: {"current", "2.5 A or 800 mA"},
	Voltage: {"voltage", "0.5 V or 500 mV"}, Power: {"power", "2.2 kW or 3 hp"}, Density: {"density", "1.2 kg/m3 or 0.075 lb/ft3"},
	Viscosity: {"viscosity", "18.1 uPa.s"}, Frequency: {"frequency", "50 Hz"}, Resistance: {"resistance", "22 ohm"},
	Fraction: {"share", "5 %"}, CurrentScale: {"scale of a clamp", "33.3 mV/A"}, PressureScale: {"scale of a pressure sensor", "1 mV/Pa"},
}

// scales lists the kinds that are one kind over another.
var scales = map[Kind][2]Kind{CurrentScale: {Voltage, Current}, PressureScale: {Voltage, Pressure}}

// String names the kind.
func (k Kind) String() string { return words[k].name }

// Accepted lists the units of a kind and an example, for messages.
func (k Kind) Accepted() string {
	var list []string
	if of, scale := scales[k]; scale {
		for _, u := range units[of[0]] {
			for _, v := range units[of[1]] {
				list = append(list, u.name+"/"+v.name)
			}
		}
	} else {
		for _, u := range units[k] {
			list = append(list, u.name)
		}
	}
	last := len(list) - 1
	if last == 0 {
		return fmt.Sprintf("a number with %s, for example %s", list[0], words[k].example)
	}
	return fmt.Sprintf("a number with %s or %s, for example %s", strings.Join(list[:last], ", "), list[last], words[k].example)
}

// plainSpelling brings signs that keyboards and word processors put into units to the plain ones.
var plainSpelling = strings.NewReplacer("²", "2", "³", "3", "^2", "2", "^3", "3", "µ", "u", "μ", "u", "Ω", "ohm", "Ω", "ohm",
	"·", ".", "⋅", ".", "*", ".", "º", "°", "\u00a0", " ", "\u202f", " ", "\u2009", " ", "−", "-", "”", "\"", "″", "\"", "′", "'")

// ParseQuantity reads a number with its unit, with or without a space between them, into SI. The error is one
// sentence without the place.
func ParseQuantity(kind Kind, text string) (float64, error) {
	v, _, err := parseQuantity(kind, text)
	return v, err
}

func parseQuantity(kind Kind, text string) (value float64, us bool, err error) {
	text = strings.TrimSpace(plainSpelling.Replace(text))
	end := numberEnd(text)
	number, name := text[:end], strings.TrimSpace(text[end:])
	n, err := strconv.ParseFloat(number, 64)
	switch {
	case end == 0 && strings.ContainsAny(text, "0123456789"):
		return 0, false, fmt.Errorf("a %s begins with a number", kind)
	case end == 0:
		return 0, false, fmt.Errorf("a %s is wanted: a number with its unit", kind)
	case strings.HasPrefix(name, ","):
		return 0, false, errors.New("numbers are written with a point and without separators of thousands")
	case err != nil || math.IsInf(n, 0) || math.IsNaN(n):
		return 0, false, errors.New("this is no number that can be used")
	case name == "":
		return 0, false, fmt.Errorf("the unit is missing: a %s without its unit could mean anything", kind)
	}
	u, ok := unitOf(kind, name)
	if !ok {
		if other, is := kindOf(name); is {
			return 0, false, fmt.Errorf("the unit %s does not fit: a %s is wanted here, and this is a %s", name, kind, other)
		}
		return 0, false, fmt.Errorf("the unit %s is not known for a %s", quote(name), kind)
	}
	v := float64(n*u.factor) + u.offset
	if math.IsInf(v, 0) {
		return 0, false, errors.New("this is no number that can be used")
	}
	return v, u.us, nil
}

// numberEnd finds where the number at the start of text ends. An e belongs to it only with digits behind it.
func numberEnd(text string) int {
	digits := func(i int) int {
		for i < len(text) && (text[i] >= '0' && text[i] <= '9' || text[i] == '.') {
			i++
		}
		return i
	}
	i := 0
	if i < len(text) && (text[i] == '-' || text[i] == '+') {
		i++
	}
	end := digits(i)
	if end == i {
		return 0
	}
	if j := end; j < len(text) && (text[j] == 'e' || text[j] == 'E') {
		j++
		if j < len(text) && (text[j] == '-' || text[j] == '+') {
			j++
		}
		if k := digits(j); k > j {
			end = k
		}
	}
	return end
}

// unitOf finds a unit of the kind by its spelling: exact first, then without regard to case.
func unitOf(kind Kind, name string) (unit, bool) {
	if of, scale := scales[kind]; scale {
		above, below, cut := strings.Cut(name, "/")
		if !cut {
			above, below, cut = strings.Cut(name, " per ")
		}
		a, okA := unitOf(of[0], strings.TrimSpace(above))
		b, okB := unitOf(of[1], strings.TrimSpace(below))
		return unit{name: name, factor: a.factor / b.factor}, cut && okA && okB
	}
	if int(kind) >= len(units) {
		return unit{}, false
	}
	for _, same := range []func(a, b string) bool{func(a, b string) bool { return a == b }, strings.EqualFold} {
		for _, u := range units[kind] {
			if same(u.name, name) {
				return u, true
			}
			for _, o := range u.others {
				if same(o, name) {
					return u, true
				}
			}
		}
	}
	return unit{}, false
}

// kindOf finds a kind that has the unit, for a message.
func kindOf(name string) (Kind, bool) {
	for k := range words {
		if _, ok := unitOf(Kind(k), name); ok {
			return Kind(k), true
		}
	}
	return 0, false
}
