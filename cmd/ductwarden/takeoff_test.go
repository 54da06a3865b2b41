package main

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
)

func TestTakeoffTable(t *testing.T) {
	code, out, stderr := program(t, "takeoff", shopWith(t, "name: saw drop, into: trunk, diameter: 125 mm", "name: saw drop, into: trunk, pipe: EN 1506 125"))
	require.Equal(t, exitDone, code, stderr)
	for _, want := range []string{
		"150 mm galvanized, stock lengths", "EN 1506 125 galvanized", "coupling 150 mm", "blast gate 80 mm, hand", "relay channel", "every 2400 mm, and near each elbow and branch",
		"Cut 150 mm galvanized from 2 stock lengths (fewer are impossible):", "1000 mm trunk; offcut 1997 mm", "bonding", "pipe that does not conduct",
	} {
		assert.True(t, strings.Contains(out, want), "%s in\n%s", want, out)
	}
	assert.NotContains(t, out, "price")
}

// Where people count in inches so does the list: sizes, cuts to the sixteenth, stock of 10 ft, wire by its gauge.
func TestTakeoffInInches(t *testing.T) {
	path := shopWith(t, "units: metric", "units: us", "{relay: {open: GPIO22, close: GPIO27, travel: 2 s}}", "{servo: {chip: pca9685@0x40, channel: 0, open: 1900 us, closed: 1100 us}}",
		"collectors:\n", "buses: {main: /dev/i2c-1}\ncollectors:\n")
	_, out, _ := program(t, "takeoff", path)
	for _, want := range []string{"4.92 in galvanized", "of 120 in", "every 96 in", "AWG", "78 3/4 in saw drop"} {
		assert.True(t, strings.Contains(out, want), "%s in\n%s", want, out)
	}
	assert.NotRegexp(t, `\d mm\b`, out)
	for mm, want := range map[int]string{3048: "120 in", 13: "1/2 in", 100: "3 15/16 in", 0: "0 in"} {
		assert.Equal(t, want, cutLength(config.US, mm))
	}
	assert.Equal(t, "100 mm", cutLength(config.Metric, 100))
}

func TestTakeoffPrices(t *testing.T) {
	path := shopWith(t)
	list := filepath.Join(t.TempDir(), "prices.csv")
	write := func(text string) {
		require.NoError(t, os.WriteFile(list, []byte(text), 0o600))
	}
	write("item,price\n150 mm galvanized,10\nrelay channel,2.50\nunicorn,3\n")
	code, out, stderr := program(t, "takeoff", path, "--prices", list)
	require.Equal(t, exitDone, code)
	assert.Contains(t, stderr, "no such item in the list: unicorn")
	assert.Contains(t, out, "44.00", "4.4 m with spare")
	assert.Contains(t, out, "Total of the priced rows, with spare: 56.50", "44 + 5 relay channels at 2.50")
	_, out, _ = program(t, "takeoff", path, "--prices", list, "--json")
	var r struct {
		Rows []struct {
			Item  string
			Count float64
			Unit  string
			Price *float64
		}
		Cuts []struct {
			Item   string
			Fewest bool
			Bars   []struct {
				Pieces []struct {
					Length int `json:"length_mm"`
					For    string
				}
				Offcut int `json:"offcut_mm"`
			}
		}
		Total *float64
	}
	d := json.NewDecoder(strings.NewReader(out))
	require.NoError(t, d.Decode(&r))
	require.NotNil(t, r.Total)
	assert.InDelta(t, 56.5, *r.Total, 1e-9)
	priced := 0
	for _, row := range r.Rows {
		if row.Price != nil {
			priced++
		}
	}
	assert.Equal(t, 2, priced)
	require.NotEmpty(t, r.Cuts)
	assert.True(t, r.Cuts[0].Fewest)
	_, out, _ = program(t, "takeoff", path, "--prices", list, "--csv")
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	require.NoError(t, err)
	assert.Equal(t, []string{"group", "item", "count", "unit", "with_spare", "price", "note"}, rows[0])
	assert.Equal(t, []string{"pipe", "150 mm galvanized", "4", "m", "4.4", "44.00", ""}, rows[1])
	assert.Equal(t, "56.50", rows[len(rows)-1][5])
	for text, want := range map[string]string{
		"item,price\nservo,cheap\n":      "is not a price",
		"item,price\nservo,-3\n":         "is not a price",
		"item,price\nservo,1\nservo,2\n": "has a price already",
		"item,price\nservo,1,2\n":        "item,price",
	} {
		write(text)
		code, out, stderr := program(t, "takeoff", path, "--prices", list)
		assert.Equal(t, exitNo, code)
		assert.Empty(t, out)
		assert.Contains(t, stderr, want)
	}
}

func TestTakeoffRefuses(t *testing.T) {
	code, _, stderr := program(t, "takeoff", shopWith(t), "--csv", "--json")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, stderr, "exclude each other")
	code, _, stderr = program(t, "takeoff", shopWith(t), "--stock", "3")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, stderr, "is not a length")
	bare := filepath.Join(t.TempDir(), "bare.yaml")
	require.NoError(t, os.WriteFile(bare, []byte("version: 1\nshop: One gate\ngates: [{name: saw, actuator: hand}]\n"), 0o600))
	code, _, stderr = program(t, "takeoff", bare)
	assert.Equal(t, exitNo, code)
	assert.Contains(t, stderr, "has no ducts")
}
