package config

import (
	"math"
	"strconv"
	"strings"
)

// step is a unit used from a value upwards (in SI, of the absolute value) with so many decimals.
type step struct {
	from     float64
	unit     string
	decimals int
}

// shown says for each kind and system in which unit, from which size, and how exactly a figure is shown.
var shown = map[Kind][2][]step{
	Length:        {Metric: {{0, "mm", 0}, {1, "m", 2}}, US: {{0, "in", 2}, {4 * foot, "ft", 1}}},
	Area:          {Metric: {{0, "mm2", 0}, {1e-3, "cm2", 0}, {1, "m2", 2}}, US: {{0, "in2", 2}, {1, "ft2", 1}}},
	Speed:         {Metric: {{0, "m/s", 1}}, US: {{0, "fpm", 0}}},
	Flow:          {Metric: {{0, "m3/h", 0}}, US: {{0, "cfm", 0}}},
	Pressure:      {Metric: {{0, "Pa", 0}}, US: {{0, "inH2O", 2}}},
	Temperature:   {Metric: {{0, "°C", 0}}, US: {{0, "°F", 0}}},
	Time:          {Metric: {{0, "us", 0}, {10e-3, "ms", 0}, {1, "s", 1}, {120, "min", 1}, {3600, "h", 1}, {180 * 86400, "d", 1}}},
	Current:       {Metric: {{0, "mA", 0}, {1, "A", 2}}},
	Voltage:       {Metric: {{0, "mV", 0}, {1, "V", 2}}},
	Power:         {Metric: {{0, "W", 0}, {1000, "kW", 2}}, US: {{0, "hp", 2}}},
	Density:       {Metric: {{0, "kg/m3", 3}}, US: {{0, "lb/ft3", 4}}},
	Viscosity:     {Metric: {{0, "uPa.s", 1}}},
	Frequency:     {Metric: {{0, "Hz", 1}, {1e3, "kHz", 1}, {1e6, "MHz", 2}}},
	Resistance:    {Metric: {{0, "ohm", 1}, {1e3, "kohm", 2}}},
	Fraction:      {Metric: {{0, "%", 1}}},
	CurrentScale:  {Metric: {{0, "mV/A", 2}}},
	PressureScale: {Metric: {{0, "mV/Pa", 3}, {1, "V/Pa", 3}}, US: {{0, "mV/inH2O", 1}}},
}

// FormatQuantity writes an SI value in the person's units, rounded as a person reads it, with a space before the
// unit: "160 mm", "4000 fpm". It is for showing; what it writes can be read back by ParseQuantity.
func FormatQuantity(kind Kind, value float64, system Units) string {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return "?"
	}
	steps := shown[kind][system]
	if steps == nil {
		steps = shown[kind][Metric]
	}
	chosen := steps[0]
	for _, s := range steps[1:] {
		// A value that would round up to the next unit's start is already shown in it.
		if math.Abs(value) >= s.from*(1-1e-9) {
			chosen = s
		}
	}
	if value == 0 && kind == Time {
		chosen = step{unit: "s"}
	}
	n, name := inUnit(kind, value, chosen.unit)
	return trim(n, chosen.decimals) + " " + name
}

// inUnit gives the number in the named unit of the kind.
func inUnit(kind Kind, value float64, name string) (float64, string) {
	u, _ := unitOf(kind, name)
	return (value - u.offset) / u.factor, name
}

// trim writes a number with at most so many decimals, without a tail of zeros and without a negative zero.
func trim(n float64, decimals int) string {
	s := strconv.FormatFloat(n, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}
