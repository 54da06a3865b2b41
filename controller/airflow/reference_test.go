package airflow

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
)

// shared finds a file or folder of the shared data beside the module, or skips.
func shared(t testing.TB, path string) string {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			break
		}
		up := filepath.Dir(dir)
		require.NotEqual(t, up, dir, "no go.mod above the test")
		dir = up
	}
	full := filepath.Join(dir, "..", "shared", path)
	if _, err := os.Stat(full); err != nil {
		t.Skipf("the shared data is not beside the module: %s", path)
	}
	return full
}

// referenceCase is one file of solved networks.
type referenceCase struct {
	Name string `json:"case"`
	Air  struct {
		Density   float64 `json:"density_kg_m3"`
		Viscosity float64 `json:"dynamic_viscosity_pa_s"`
	}
	Fan struct {
		Curve []struct {
			Flow     float64 `json:"flow_m3_s"`
			Pressure float64 `json:"pressure_rise_pa"`
		}
	}
	Behind struct {
		Linear    float64 `json:"linear_pa_per_m3_s"`
		Quadratic float64 `json:"quadratic_pa_per_m3_s_squared"`
	} `json:"collector_loss"`
	Segments []struct {
		ID        string
		Up        string  `json:"upstream_node"`
		Down      string  `json:"downstream_node"`
		Length    float64 `json:"length_m"`
		Diameter  float64 `json:"inner_diameter_m"`
		Roughness float64 `json:"roughness_m"`
		Loss      float64 `json:"loss_coefficient_sum"`
	}
	Ports []struct {
		ID   string
		Node string
		Hood float64 `json:"hood_loss_coefficient"`
		Leak float64 `json:"closed_gate_leak_area_m2"`
	}
	Patterns []struct {
		Mask string
		A    struct {
			Port     map[string]float64 `json:"port_flow_m3_s"`
			Segment  map[string]float64 `json:"segment_flow_m3_s"`
			Velocity map[string]float64 `json:"segment_velocity_m_s"`
			Node     map[string]float64 `json:"node_total_pressure_pa"`
			Static   map[string]float64 `json:"segment_downstream_static_pressure_pa"`
			Slowest  *struct {
				Segment  string
				Velocity float64 `json:"velocity_m_s"`
			} `json:"slowest_duct_with_an_open_port_above"`
			FanFlow float64 `json:"fan_flow_m3_s"`
			FanRise float64 `json:"fan_pressure_rise_pa"`
			Behind  float64 `json:"collector_loss_pa"`
		}
	}
}

func referenceCases(t testing.TB) []referenceCase {
	files, err := filepath.Glob(filepath.Join(shared(t, "reference/cases"), "*.json"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	cases := make([]referenceCase, len(files))
	for i, f := range files {
		b, err := os.ReadFile(f)
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(b, &cases[i]))
	}
	return cases
}

// network is the case in this program's terms: straight lines between the fan's points, a gate at each port.
func (c *referenceCase) network() Network {
	n := Network{
		Name: "collector", Air: Air(c.Air), Transport: Transport{Carries: 20, Settles: 15, Margin: 0.05},
		Fan: Fan{Density: c.Air.Density, Straight: true}, Separator: Loss(c.Behind),
	}
	for _, p := range c.Fan.Curve {
		n.Fan.Curve = append(n.Fan.Curve, Point(p))
	}
	at := map[string]int{}
	for i, s := range c.Segments {
		at[s.Up] = i
	}
	for _, s := range c.Segments {
		into := -1
		if d, ok := at[s.Down]; ok {
			into = d
		}
		n.Ducts = append(n.Ducts, Duct{Name: s.ID, Into: into, Diameter: s.Diameter, Length: s.Length, Roughness: s.Roughness, Loss: s.Loss})
	}
	for i, p := range c.Ports {
		n.Ports = append(n.Ports, Port{Name: p.ID, Duct: at[p.Node], HoodLoss: p.Hood})
		n.Gates = append(n.Gates, Gate{Name: p.ID, Number: i, Duct: at[p.Node], Leak: p.Leak})
	}
	return n
}

// pattern reads a mask, first character gate 0.
func pattern(mask string) gates.Set {
	var s gates.Set
	for i, c := range mask {
		if c == '1' {
			s = s.With(i)
		}
	}
	return s
}

// TestEveryReferencePattern compares every pattern with networks that an independent solver has solved with
// the exact friction law: flows to 1e-6, pressures to 1e-2 Pa.
func TestEveryReferencePattern(t *testing.T) {
	worstFlow, worstPressure, passes, patterns := 0.0, 0.0, 0, 0
	var atFlow, atPressure string
	for _, c := range referenceCases(t) {
		m, err := Compile(c.network())
		require.NoError(t, err)
		s := NewSolver(m)
		for _, p := range c.Patterns {
			r := s.Solve(pattern(p.Mask), Clean)
			where := c.Name + " " + p.Mask
			require.True(t, r.Converged, where)
			patterns++
			passes = max(passes, r.Passes)
			flow := func(want, got float64) {
				if want == 0 {
					assert.Zero(t, got, where)
				} else if e := math.Abs(got/want - 1); e > worstFlow {
					worstFlow, atFlow = e, where
				}
			}
			pressure := func(want, got float64) {
				if e := math.Abs(got - want); e > worstPressure {
					worstPressure, atPressure = e, where
				}
			}
			for i, port := range c.Ports {
				flow(p.A.Port[port.ID], r.PortFlow[i])
			}
			for i, g := range c.Segments {
				flow(p.A.Segment[g.ID], r.Flow[i])
				flow(p.A.Velocity[g.ID], r.Velocity[i])
				pressure(p.A.Node[g.Up], r.Total[i])
				pressure(p.A.Static[g.ID], r.Static[i])
			}
			flow(p.A.FanFlow, r.FanFlow)
			pressure(p.A.Node["FAN_INLET"], r.InletTotal)
			pressure(p.A.FanRise, r.FanPressure)
			pressure(p.A.Behind, r.BehindLoss)

			v := s.JudgeAs(pattern(p.Mask), m.Demanded(pattern(p.Mask)), Clean)
			if p.A.Slowest == nil {
				assert.Equal(t, NotJudged, v.Grade, where)
				assert.Equal(t, NoRatio, v.Margin, where)
				assert.EqualValues(t, NoDuct, v.Weakest, where)
			} else {
				assert.InDelta(t, p.A.Slowest.Velocity/20-1, v.Margin.Float(), 5.1e-5, where)
			}
		}
	}
	t.Logf("%d patterns: worst relative flow error %.2g (%s), worst pressure error %.2g Pa (%s), %d passes at most",
		patterns, worstFlow, atFlow, worstPressure, atPressure, passes)
	assert.Less(t, worstFlow, 1e-6)
	assert.Less(t, worstPressure, 1e-2)
	assert.LessOrEqual(t, passes, 8)
}
