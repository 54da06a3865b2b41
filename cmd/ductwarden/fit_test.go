package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
)

// fitShop copies a whole shop file into a folder of its own.
func fitShop(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(root(t), "config", "testdata", "good", "6-fan.yaml"))
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "shop.yaml")
	require.NoError(t, os.WriteFile(path, text, 0o600))
	return path
}

// A sheet of readings is fitted, written beside the shop file, and used by the next verb.
func TestFitIsUsedByTheOtherVerbs(t *testing.T) {
	path := fitShop(t)
	file, err := config.Load(path)
	require.NoError(t, err)
	g, p := file.Gates[0].Name, file.Ports[0].Name
	code, before, stderr := program(t, "survey", path, "--json", "--open", g)
	require.LessOrEqual(t, code, exitNo, stderr)
	sheet := filepath.Join(filepath.Dir(path), "readings.csv")
	require.NoError(t, os.WriteFile(sheet, []byte("open,place,quantity,value\n"+g+","+p+",speed,15 m/s\n"+g+","+p+",speed,15.2 m/s\n"), 0o600))
	code, out, stderr := program(t, "fit", path, sheet, "--write", "--json")
	require.Zero(t, code, stderr)
	var f config.FittedFile
	require.NoError(t, json.Unmarshal([]byte(out), &f))
	require.NotEmpty(t, f.Factors)
	code, _, stderr = program(t, "check", path)
	require.Zero(t, code, stderr)
	_, after, _ := program(t, "survey", path, "--json", "--open", g)
	assert.NotEqual(t, before, after, "the survey uses the fitted numbers")

	fitted := filepath.Join(filepath.Dir(path), config.FittedName)
	text, err := os.ReadFile(fitted)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(fitted, []byte(strings.Replace(string(text), "shop: ", "shop: another ", 1)), 0o600))
	code, out, stderr = program(t, "check", path)
	assert.Equal(t, exitNo, code)
	assert.Contains(t, out+stderr, "of another shop")
}

func TestFitRefusesBadSheets(t *testing.T) {
	path := fitShop(t)
	file, err := config.Load(path)
	require.NoError(t, err)
	g, p := file.Gates[0].Name, file.Ports[0].Name
	for text, want := range map[string]string{
		"":                            "no readings",
		"open,place,value\n":          "open,place,quantity,value",
		"open,place,quantity,value\n": "no readings",
		"open,place,quantity,value\nnone," + p + ",speed,15 m/s\n":           "no gate",
		"open,place,quantity,value\n" + g + ",none,speed,15 m/s\n":           "no port",
		"open,place,quantity,value\n" + g + "," + p + ",smell,15 m/s\n":      "not speed, flow or pressure",
		"open,place,quantity,value\n" + g + "," + p + ",speed,15\n":          "unit",
		"open,place,quantity,value\n," + p + ",speed,15 m/s\n":               "shut",
		"open,place,quantity,value\n" + g + "," + p + ",speed,15 Pa\n":       "speed",
		"open,place,quantity,value\n" + g + "," + p + ",speed,15 m/s,more\n": "open,place,quantity,value",
	} {
		sheet := filepath.Join(t.TempDir(), "readings.csv")
		require.NoError(t, os.WriteFile(sheet, []byte(text), 0o600))
		code, out, stderr := program(t, "fit", path, sheet, "--write")
		assert.Equal(t, exitNo, code, "%q", text)
		assert.Empty(t, out)
		assert.Contains(t, stderr, want, "%q", text)
		assert.NoFileExists(t, filepath.Join(filepath.Dir(path), config.FittedName))
	}
}
