package config

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestQuantities(t *testing.T) {
	for _, c := range []struct {
		kind Kind
		text string
		want float64
	}{
		{Length, "100 mm", 0.1}, {Length, "100mm", 0.1}, {Length, "4 in", 0.1016}, {Length, "4in", 0.1016}, {Length, `4"`, 0.1016},
		{Length, "10 cm", 0.1}, {Length, "4.2 m", 4.2}, {Length, "6 ft", 1.8288}, {Length, "6'", 1.8288}, {Length, "3 km", 3000},
		{Area, "60 mm2", 60e-6}, {Area, "60 mm²", 60e-6}, {Area, "1 cm2", 1e-4}, {Area, "0.1 in2", 6.4516e-5}, {Area, "2 sq in", 1.29032e-3},
		{Speed, "20 m/s", 20}, {Speed, "4000 fpm", 20.32}, {Speed, "3500 fpm", 17.78}, {Speed, "4500 ft/min", 22.86}, {Speed, "72 km/h", 20},
		{Flow, "820 m3/h", 820.0 / 3600}, {Flow, "820 m³/h", 820.0 / 3600}, {Flow, "0.25m3/s", 0.25}, {Flow, "250 l/s", 0.25}, {Flow, "480 cfm", 480 * 0.3048 * 0.3048 * 0.3048 / 60},
		{Pressure, "250 Pa", 250}, {Pressure, "1 inH2O", 249.089}, {Pressure, "1 in wg", 249.089}, {Pressure, "2 in. w.g.", 498.178}, {Pressure, "2.5 kPa", 2500},
		{Pressure, "3 hPa", 300}, {Pressure, "3 mbar", 300}, {Pressure, "1 psi", 6894.757293168361},
		{Temperature, "18 °C", 291.15}, {Temperature, "18C", 291.15}, {Temperature, "64 °F", 290.9277777777778}, {Temperature, "64 F", 290.9277777777778}, {Temperature, "300 K", 300},
		{Temperature, "-4 °F", 253.15},
		{Time, "1080 us", 1080e-6}, {Time, "1080 µs", 1080e-6}, {Time, "600 ms", 0.6}, {Time, "12 s", 12}, {Time, "4 min", 240}, {Time, "2h", 7200}, {Time, "1 d", 86400},
		{Current, "2.5 A", 2.5}, {Current, "800 mA", 0.8}, {Voltage, "0.5 V", 0.5}, {Voltage, "33.3 mV", 0.0333},
		{Power, "2.2 kW", 2200}, {Power, "60 W", 60}, {Power, "3 hp", 3 * 745.6998715822702},
		{Density, "1.2 kg/m3", 1.2}, {Density, "0.075 lb/ft3", 0.075 * 16.018463373960142}, {Viscosity, "18.1 uPa.s", 18.1e-6}, {Viscosity, "18.1 µPa·s", 18.1e-6},
		{Viscosity, "1.81e-5 Pa.s", 1.81e-5}, {Frequency, "20 Hz", 20}, {Frequency, "400 kHz", 400e3}, {Resistance, "22 ohm", 22}, {Resistance, "22 Ω", 22},
		{Fraction, "5 %", 0.05}, {Fraction, "5%", 0.05}, {CurrentScale, "33.3 mV/A", 0.0333}, {CurrentScale, "0.1 V/A", 0.1}, {CurrentScale, "11 mV per A", 0.011},
		{PressureScale, "1 mV/Pa", 1e-3}, {PressureScale, "1 V/kPa", 1e-3}, {PressureScale, "0.5 V/inH2O", 0.5 / 249.089},
		{Length, "1e2 mm", 0.1}, {Length, "+1 m", 1}, {Length, ".5 m", 0.5}, {Speed, "20 M/S", 20},
	} {
		got, err := ParseQuantity(c.kind, c.text)
		require.NoError(t, err, "%v %q", c.kind, c.text)
		assert.InEpsilon(t, c.want, got, 1e-12, "%v %q", c.kind, c.text)
	}
}

// Velocity pressure and density conversions as ventilation sheets print them (BCSP/ABIH equation sheet: V = 4005 sqrt(VP)).
func TestConversionsOfTheTrade(t *testing.T) {
	lb, err := ParseQuantity(Density, "0.075 lb/ft3")
	require.NoError(t, err)
	assert.InDelta(t, 1.2014, lb, 5e-5)
	wg, err := ParseQuantity(Pressure, "1 in wg")
	require.NoError(t, err)
	// V = sqrt(2 p / rho) at 1.2041 kg/m3 is 4004.0 fpm
	assert.Equal(t, "4004 fpm", FormatQuantity(Speed, math.Sqrt(2*wg/1.2041), US))
	assert.Equal(t, "3937 fpm", FormatQuantity(Speed, 20, US))
	assert.Equal(t, "5512 fpm", FormatQuantity(Speed, 28, US))
	assert.Equal(t, "483 cfm", FormatQuantity(Flow, 820.0/3600, US))
}

func TestQuantitiesRefused(t *testing.T) {
	for _, c := range []struct {
		kind     Kind
		text     string
		sentence string
	}{
		{Length, "", "a length is wanted"},
		{Length, "mm", "a length is wanted"},
		{Length, "mm 100", "begins with a number"},
		{Length, "100", "the unit is missing"},
		{Length, "20 m/s", "a length is wanted here, and this is a speed"},
		{Length, "33 mV/A", "this is a scale of a clamp"},
		{Length, "3 parsec", "the unit \"parsec\" is not known"},
		{Length, "4,2 m", "written with a point"},
		{Length, "1.2.3 m", "no number"},
		{Length, "1e999 m", "no number"},
		{Length, "NaN m", "a length is wanted"},
		{Length, "Inf m", "a length is wanted"},
		{Length, "- 3 m", "begins with a number"},
		{Fraction, "0.05", "the unit is missing"},
		{CurrentScale, "33.3 mV", "this is a voltage"},
		{PressureScale, "1 mV/A", "this is a scale of a clamp"},
		{CurrentScale, "1 A/mV", "not known"},
	} {
		_, err := ParseQuantity(c.kind, c.text)
		assert.ErrorContains(t, err, c.sentence, "%v %q", c.kind, c.text)
	}
}

func TestFormat(t *testing.T) {
	for _, c := range []struct {
		kind  Kind
		value float64
		units Units
		want  string
	}{
		{Length, 0.16, Metric, "160 mm"}, {Length, 4.2, Metric, "4.2 m"}, {Length, 0.1016, US, "4 in"}, {Length, 3.048, US, "10 ft"},
		{Speed, 20.32, US, "4000 fpm"}, {Speed, 17.96, Metric, "18 m/s"}, {Flow, 820.0 / 3600, Metric, "820 m3/h"},
		{Pressure, 249.089, US, "1 inH2O"}, {Pressure, -1250.4, Metric, "-1250 Pa"}, {Temperature, 291.15, Metric, "18 °C"}, {Temperature, 291.15, US, "64 °F"},
		{Time, 0.6, Metric, "600 ms"}, {Time, 1080e-6, US, "1080 us"}, {Time, 41, Metric, "41 s"}, {Time, 240, Metric, "4 min"}, {Time, 14400, Metric, "4 h"}, {Time, 0, Metric, "0 s"},
		{Power, 2200, Metric, "2.2 kW"}, {Power, 2237.1, US, "3 hp"}, {Fraction, 0.125, Metric, "12.5 %"}, {CurrentScale, 0.0333, US, "33.3 mV/A"},
		{Density, 1.2041, Metric, "1.204 kg/m3"}, {Area, 60e-6, Metric, "60 mm2"}, {Current, 2.5, Metric, "2.5 A"}, {Speed, math.NaN(), Metric, "?"}, {Speed, -0.001, Metric, "0 m/s"},
	} {
		assert.Equal(t, c.want, FormatQuantity(c.kind, c.value, c.units))
	}
}

// What is shown can be typed in again, and means the same to within the digits shown.
func TestFormatReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		kind := Kind(rapid.IntRange(0, int(PressureScale)).Draw(t, "kind"))
		system := Units(rapid.IntRange(0, 1).Draw(t, "units"))
		v := rapid.Float64Range(1e-4, 1e5).Draw(t, "value")
		s := FormatQuantity(kind, v, system)
		back, err := ParseQuantity(kind, s)
		if err != nil {
			t.Fatalf("%v: %s: %v", kind, s, err)
		}
		if again := FormatQuantity(kind, back, system); again != s {
			t.Fatalf("%v: %s became %s", kind, s, again)
		}
	})
}

func TestEveryKindIsComplete(t *testing.T) {
	for k := Length; k <= PressureScale; k++ {
		assert.NotEmpty(t, k.String())
		assert.NotEmpty(t, shown[k][Metric], "%v is shown somehow", k)
		if _, scale := scales[k]; !scale {
			assert.NotEmpty(t, units[k], "%v has units", k)
		}
		for _, example := range strings.FieldsFunc(words[k].example, func(r rune) bool { return r == ',' }) {
			for _, e := range strings.Split(example, " or ") {
				_, err := ParseQuantity(k, e)
				assert.NoError(t, err, "the example of %v", k)
			}
		}
	}
}
