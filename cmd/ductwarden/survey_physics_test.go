package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/airflow"
)

// shopWith is the survey's shop with pieces of its text replaced: old and new in turn.
func shopWith(t *testing.T, pairs ...string) string {
	t.Helper()
	text := strings.NewReplacer("UNITS", "metric", "CARRIES", "18 m/s", "TOGETHER", "").Replace(surveyShop)
	for i := 0; i < len(pairs); i += 2 {
		require.Contains(t, text, pairs[i])
		text = strings.ReplaceAll(text, pairs[i], pairs[i+1])
	}
	path := filepath.Join(t.TempDir(), "shop.yaml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

// moves is the fan's flow (m3/s) and pressure (Pa) with the saw's gate open and the filter in a state, and the air
// speed in the saw's drop (m/s).
func moves(t *testing.T, path, filter string) (flow, pressure, speed float64) {
	t.Helper()
	code, out, stderr := runSurvey(t, path, "--json", "--open", "saw")
	require.Equal(t, exitDone, code, stderr)
	for _, p := range readSurvey(t, out).Patterns {
		if p.Filter == filter {
			return *p.FanFlow, *p.FanPressure, *p.Ducts[1].Velocity
		}
	}
	t.Fatal("no such pattern")
	return 0, 0, 0
}

const curveKind = "pressure: fan_static"

// What a sheet plots matters by the velocity pressure of its pipe: fan total pressure less that of the outlet is fan
// static, suction on the wall of the inlet less that of the inlet is too.
func TestPhysicsWhatTheSheetPlots(t *testing.T) {
	static, _, _ := moves(t, shopWith(t), "clean")
	total, p, _ := moves(t, shopWith(t, curveKind, "pressure: fan_total"), "clean")
	inlet, pi, _ := moves(t, shopWith(t, curveKind, "pressure: inlet_static"), "clean")
	assert.Less(t, total, static)
	assert.InDelta(t, total, inlet, 1e-9, "inlet and outlet are as wide here")
	assert.InDelta(t, p, pi, 1e-6)
	wide, _, _ := moves(t, shopWith(t, curveKind, "pressure: fan_total", "inlet: 150 mm", "inlet: 150 mm\n      outlet: 400 mm"), "clean")
	assert.Less(t, wide, static)
	assert.Greater(t, wide, total, "a wide outlet throws away little")
}

// Thin air: the same speeds to within the Reynolds number, pressures and motor power down with the density.
func TestPhysicsAltitude(t *testing.T) {
	given := "air: {density: 1.2 kg/m3, viscosity: 18.1 uPa.s}"
	power := []string{"      density: 1.2 kg/m3\n", "      density: 1.2 kg/m3\n      power: [{flow: 0 m3/h, power: 1 kW}, {flow: 2300 m3/h, power: 2.4 kW}]\n", "    filter:\n", "    motor: {power: 1.5 kW}\n    filter:\n"}
	low := shopWith(t, append([]string{given, "air: {altitude: 0 m, temperature: 20 °C}"}, power...)...)
	high := shopWith(t, append([]string{given, "air: {altitude: 2000 m, temperature: 20 °C}", "clean: {flow: 1500 m3/h, pressure: 200 Pa", "clean: {flow: 1500 m3/h, pressure: 156.9 Pa"}, power...)...)
	q0, p0, _ := moves(t, low, "clean")
	q1, p1, _ := moves(t, high, "clean")
	assert.InEpsilon(t, q0, q1, 0.01)
	assert.InEpsilon(t, 0.9448/1.2041, p1/p0, 0.01, "density of the standard atmosphere at 2000 m, 20 °C")
	_, out, _ := runSurvey(t, low)
	assert.Regexp(t, `the motor takes up to .* and is rated for 1\.5 kW`, out)
	_, out, _ = runSurvey(t, shopWith(t, append([]string{given, "air: {altitude: 4500 m, temperature: 20 °C}"}, power...)...))
	assert.NotContains(t, out, "the motor takes", "thin air is light work")
}

// A compressed hose: 30 % shorter than stretched has twice its friction.
func TestPhysicsCompressedHose(t *testing.T) {
	speed := func(duct string) float64 {
		_, _, v := moves(t, shopWith(t, "name: saw drop, into: trunk, diameter: 125 mm, length: 2 m, wall: galvanized, fittings: {branch_45: 1}", "name: saw drop, into: trunk, diameter: 125 mm, "+duct), "clean")
		return v
	}
	least := speed("length: 2 m, wall: smooth_hose, compressed: 1 %, loss: 0.3")
	usual := speed("length: 2 m, wall: smooth_hose, loss: 0.3")
	squeezed := speed("length: 2 m, wall: smooth_hose, compressed: 30 %, loss: 0.3")
	tight := speed("length: 2 m, wall: smooth_hose, compressed: 60 %, loss: 0.3")
	assert.InDelta(t, usual, squeezed, 1e-9, "as usually fitted is doubled too")
	assert.Less(t, tight, squeezed)
	assert.Greater(t, least, squeezed)
	ribbed := speed("length: 2 m, wall: ribbed_hose, loss: 0.3")
	smooth := speed("length: 2 m, wall: galvanized, loss: 0.3")
	assert.Less(t, ribbed, squeezed)
	assert.Less(t, squeezed, smooth)
}

// Filter clean and loaded, exhaust, separator, and what the curve already includes.
func TestPhysicsBehindTheInlet(t *testing.T) {
	clean, _, _ := moves(t, shopWith(t), "clean")
	loaded, _, _ := moves(t, shopWith(t), "loaded")
	assert.Less(t, loaded, clean)
	more := []string{"    filter:\n", "    exhaust: {flow: 1500 m3/h, pressure: 300 Pa}\n    separator: {flow: 1500 m3/h, pressure: 400 Pa}\n    filter:\n"}
	all, _, _ := moves(t, shopWith(t, more...), "clean")
	assert.Less(t, all, loaded)
	within, _, _ := moves(t, shopWith(t, curveKind, curveKind+"\n      includes: [exhaust, separator]"), "clean")
	assert.InDelta(t, clean, within, 1e-9)
	code, _, stderr := runSurvey(t, shopWith(t, append(more, curveKind, curveKind+"\n      includes: [exhaust, separator]")...))
	assert.Equal(t, exitNo, code)
	assert.Contains(t, stderr, "it would count twice")
	filter, _, _ := moves(t, shopWith(t, curveKind, curveKind+"\n      includes: [filter]"), "clean")
	none, _, _ := moves(t, shopWith(t, "    filter:\n      clean: {flow: 1500 m3/h, pressure: 200 Pa, linear: 70 %}\n      loaded: {flow: 1500 m3/h, pressure: 500 Pa, linear: 70 %}\n", ""), "clean")
	assert.InDelta(t, none, filter, 1e-9)
}

// Too fast, too much suction, too little flow: notes, no failures.
func TestPhysicsNotes(t *testing.T) {
	code, out, _ := runSurvey(t, shopWith(t, "      density: 1.2 kg/m3\n", "      density: 1.2 kg/m3\n      least_flow: 1600 m3/h\n", "pressure: 2400 Pa", "pressure: 4900 Pa", "pressure: 2200 Pa", "pressure: 4500 Pa"))
	assert.Equal(t, exitDone, code)
	for _, want := range []string{"above 28 m/s: noise and wear", "of suction with a clean filter", "its sheet states 1600 m3/h at least"} {
		assert.Contains(t, out, want)
	}
}

// The same fan known from two numbers alone: marked as a guess in each report, and less sure.
func TestPhysicsGuessedFan(t *testing.T) {
	text := strings.NewReplacer("UNITS", "metric", "CARRIES", "18 m/s", "TOGETHER", "").Replace(surveyShop)
	from, to := strings.Index(text, "      curve:"), strings.Index(text, "    filter:")
	guess := text[:from] + "      guess: {shutoff: 2400 Pa, free_flow: 2330 m3/h}\n" + text[to:]
	sure := func(text string) (least float64, path string) {
		path = filepath.Join(t.TempDir(), "shop.yaml")
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		_, out, _ := runSurvey(t, path, "--json", "--advice", "none")
		least = 1
		for _, d := range readSurvey(t, out).Demands {
			if len(d.Machines) == 1 && d.Carries && d.Filter == "loaded" {
				least = math.Min(least, *d.Sure)
			}
		}
		return least, path
	}
	known, _ := sure(text)
	guessed, path := sure(guess)
	assert.Less(t, guessed, known)
	_, out, _ := runSurvey(t, path)
	assert.Contains(t, out, "is a guess from two numbers")
	_, out, _ = runSurvey(t, path, "--sources")
	assert.Regexp(t, `fan curve .* x 1\.35 .*a guess: a parabola`, out)
	page := filepath.Join(t.TempDir(), "air.html")
	_, _, _ = runSurvey(t, path, "--report", page)
	b, err := os.ReadFile(page)
	require.NoError(t, err)
	assert.Contains(t, string(b), "The fan curve is a guess")
}

// Nominal sizes have their inside diameters, every default can be overridden, and the sources say which is which.
func TestPhysicsSizesAndSources(t *testing.T) {
	byName, _, _ := moves(t, shopWith(t, "name: saw drop, into: trunk, diameter: 125 mm", "name: saw drop, into: trunk, pipe: SDR 35 4 in"), "clean")
	byInside, _, _ := moves(t, shopWith(t, "name: saw drop, into: trunk, diameter: 125 mm", "name: saw drop, into: trunk, diameter: 3.974 in"), "clean")
	assert.InDelta(t, byInside, byName, 1e-9)
	own := shopWith(t, "collectors:\n", "coefficients: {fittings: {branch_45: 0.9}, hoods: {flanged: 0.2}, walls: {pvc: 0.3 mm}}\ncollectors:\n")
	a, _, _ := moves(t, shopWith(t), "clean")
	b, _, _ := moves(t, own, "clean")
	assert.Less(t, b, a)
	_, out, _ := runSurvey(t, own, "--sources", "--json")
	var rows struct {
		Sources []struct {
			About, Kind, Source, Read string
			Value                     float64
		}
	}
	require.NoError(t, json.Unmarshal([]byte(out), &rows))
	seen := map[string]bool{}
	for _, s := range rows.Sources {
		assert.NotEmpty(t, s.Source, "%s %s", s.About, s.Kind)
		assert.NotEmpty(t, s.Read)
		if s.Kind == "branch_45" || s.Kind == "flanged" || s.Kind == "pvc" && s.About == "roughness" {
			assert.Equal(t, "shop file", s.Source, s.Kind)
			assert.Equal(t, "given", s.Read)
			seen[s.Kind] = true
		}
		if s.Kind == "elbow_90" {
			assert.Contains(t, s.Source, "SMACNA")
		}
	}
	assert.Len(t, seen, 3)
	_, out, _ = runSurvey(t, shopWith(t), "--sources")
	for _, want := range []string{"Crane TP-410's flow-ratio formula in the draws", "usual for hand-made gates", "US Standard Atmosphere", "fan laws"} {
		assert.Contains(t, out, want)
	}
}

// The draws are worded: in all, in most, in few, in none of 200.
func TestSurenessInWords(t *testing.T) {
	for _, row := range []struct {
		ratio int32
		want  string
	}{{10000, "in all"}, {9950, "in most (199)"}, {5050, "in most (101)"}, {5000, "in few (100)"}, {50, "in few (1)"}, {0, "in none"}} {
		assert.Equal(t, row.want, surely(airflow.Ratio(row.ratio)))
	}
	_, out, _ := runSurvey(t, shopWith(t))
	assert.Contains(t, out, "in all")
	assert.Contains(t, out, "200 draws of the uncertain coefficients")
}
