package current_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ductwarden/current"
)

// column reads one column of a recorded clamp current, in A, from the data beside the module.
func column(t testing.TB, file string, index int) []float64 {
	t.Helper()
	wave := columnIfThere(t, file, index)
	if wave == nil {
		t.Skip("the recorded clamp currents are not beside this module, so the test on them is left out")
	}
	return wave
}

// recorded are starts with the recorded current of a motor without load, from any of its columns and moments, scaled
// to a multiple of the running level; nil where the records are not there.
func recorded(t testing.TB, low, high float64) starter {
	var waves [][]float64
	for _, file := range []string{"clamp-motor-noload-1.csv", "clamp-motor-noload-2.csv"} {
		for i := 1; i <= 3; i++ {
			wave := columnIfThere(t, file, i)
			if wave == nil {
				t.Log("the recorded clamp currents are not beside this module, so their figures are left out")
				return nil
			}
			rms := rmsOf(wave)
			for k := range wave {
				wave[k] /= rms
			}
			waves = append(waves, wave)
		}
	}
	return func(r *rand.Rand) func(float64) float64 {
		wave, k, from := waves[r.IntN(len(waves))], runningA*(low+(high-low)*r.Float64()), r.IntN(len(waves[0]))
		return func(t float64) float64 { return k * wave[(from+int(t*1000))%len(wave)] }
	}
}

// columnIfThere is nil where there are no records.
func columnIfThere(t testing.TB, file string, index int) []float64 {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		require.NotEqual(t, dir, filepath.Dir(dir), "no go.mod above the test")
		dir = filepath.Dir(dir)
	}
	f, err := os.Open(filepath.Join(dir, "..", "shared", "data", file))
	if err != nil {
		return nil
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var out []float64
	for _, row := range rows[1:] {
		v, err := strconv.ParseFloat(row[index], 64)
		require.NoError(t, err)
		out = append(out, v)
	}
	return out
}

// quietRunQuiet is 2 s of noise at 0.1 A, the wave for 5 s, and noise again, at 1 kS/s in mA.
func quietRunQuiet(wave []float64, seed uint64) (codes []current.Sample, onset, end time.Duration) {
	r := rand.New(rand.NewPCG(seed, 1))
	add := func(a float64) { codes = append(codes, current.Sample(math.Round(a*1000))) }
	for range 2000 {
		add(0.1 * r.NormFloat64())
	}
	for i := range 5000 {
		add(wave[i%len(wave)])
	}
	for range 3000 {
		add(0.1 * r.NormFloat64())
	}
	return codes, 2 * time.Second, 7 * time.Second
}

type change struct {
	at time.Duration
	to current.Belief
}

func replay(t testing.TB, s current.Settings, codes []current.Sample, period time.Duration) (out []change) {
	t.Helper()
	d, err := current.NewDetector(s)
	require.NoError(t, err)
	last := d.Belief()
	for i, c := range codes {
		at := time.Duration(i) * period
		d.Add(at, c)
		if b := d.Belief(); b != last {
			out = append(out, change{at, b})
			last = b
		}
	}
	return out
}

func requireOneRun(t *testing.T, got []change, onset, end time.Duration) {
	t.Helper()
	require.Len(t, got, 3, "%v", got)
	require.Equal(t, current.Idle, got[0].to)
	require.Equal(t, current.Running, got[1].to)
	require.Equal(t, current.Idle, got[2].to)
	require.GreaterOrEqual(t, got[1].at, onset)
	require.Less(t, got[1].at-onset, 150*time.Millisecond)
	require.GreaterOrEqual(t, got[2].at, end)
	require.Less(t, got[2].at-end, 1500*time.Millisecond)
	t.Logf("running %v after the onset, idle %v after the end", got[1].at-onset, got[2].at-end)
}

func TestRecordedMotorWithoutLoad(t *testing.T) {
	for _, file := range []string{"clamp-motor-noload-1.csv", "clamp-motor-noload-2.csv"} {
		for i := 1; i <= 3; i++ {
			t.Run(fmt.Sprintf("%s/%d", file, i), func(t *testing.T) {
				codes, onset, end := quietRunQuiet(column(t, file, i), uint64(i))
				requireOneRun(t, replay(t, current.TraceSettings(1200, 600), codes, time.Millisecond), onset, end)
			})
		}
	}
}
