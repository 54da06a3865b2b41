package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Each file in testdata/bad has one mistake; its first line says the sentence that must appear.
func TestBadFiles(t *testing.T) {
	files, err := filepath.Glob("testdata/bad/*.yaml")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 40)
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".yaml"), func(t *testing.T) {
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			first, _, _ := strings.Cut(string(text), "\n")
			sentence, ok := strings.CutPrefix(first, "# ")
			require.True(t, ok, "the first line says the sentence")
			shop, err := Load(file)
			assert.Nil(t, shop)
			var problems Problems
			require.ErrorAs(t, err, &problems)
			require.Len(t, problems, 1, "one mistake, one problem:\n%v", err)
			assert.Contains(t, strings.TrimPrefix(problems[0].String(), file), sentence)
		})
	}
}

// One file for each rung of the ladder, and others that must load.
func TestGoodFiles(t *testing.T) {
	files, err := filepath.Glob("testdata/good/*.yaml")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 6)
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".yaml"), func(t *testing.T) {
			s, err := Load(file)
			require.NoError(t, err)
			_, err = s.Core(planners(t, s))
			assert.NoError(t, err, "what loads can be run")
		})
	}
}

func TestEachFileAddsARung(t *testing.T) {
	for rung, file := range []string{"1-gate", "2-button", "3-clamp", "4-collector", "5-ducts", "6-fan"} {
		s, err := Load("testdata/good/" + file + ".yaml")
		require.NoError(t, err)
		for i, r := range s.Rungs() {
			assert.Equal(t, i <= rung, r.Has, "%s: %s", file, r.Name)
		}
		assert.Equal(t, rung == 5, len(s.NotJudged()) == 0, file)
	}
}

// The invented shops of the module's tests load and can be run.
func TestWholeShops(t *testing.T) {
	files, err := filepath.Glob("../testdata/shops/*.yaml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		s, err := Load(file)
		require.NoError(t, err)
		_, err = s.Core(planners(t, s))
		assert.NoError(t, err, file)
	}
}

func TestTarnRow(t *testing.T) {
	s, err := Load("../testdata/shops/tarn-row.yaml")
	require.NoError(t, err)
	assert.Equal(t, []int{0}, s.Machines[0].Gates, "two ports behind one gate")
	assert.Equal(t, []int{1}, s.Machines[9].Collectors)
	assert.Equal(t, Converter{Chip: Chip{Bus: 1, Kind: "mcp3208"}, Channel: 4, Against: -1}, s.Machines[5].Sensors[0].Clamp.Converter)
	assert.InDelta(t, 0.0165, s.Machines[2].Sensors[0].Clamp.Scale, 1e-9, "33 ohm over 2000 turns")
	assert.InDelta(t, 1.14, s.Machines[1].Sensors[0].Clamp.Idle, 1e-9)
	remote := s.Machines[9].Sensors[0].Remote
	assert.False(t, remote.Power)
	assert.Equal(t, 1e-3, remote.Factor)
	assert.InDelta(t, 0.7, remote.Running, 1e-12)
	assert.Equal(t, []Shown{{What: ShowAirReady, Machine: 0}}, s.Signals[2].Shows)
	assert.Equal(t, []AlarmSetting{{"bin_full", 20e9, 20e9}, {"filter_loaded", 60e9, -1}}, s.Alarms)
	assert.Equal(t, DiscoverySingle, s.MQTT.Discovery)
	assert.Equal(t, "ductwarden-tarn-row", s.MQTT.ClientID)
	assert.Empty(t, s.NotJudged())
	trees := s.Trees()
	require.Len(t, trees, 2)
	assert.Len(t, trees[0].Network.Ducts, 13)
	assert.Len(t, trees[1].Network.Gates, 1)
	assert.Equal(t, 9, trees[1].Network.Gates[0].Number, "gates keep their place in the shop")
	assert.True(t, trees[1].Network.Fan.Guess)
}
