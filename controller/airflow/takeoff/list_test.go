package takeoff

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestTakeCountsEverything(t *testing.T) {
	runs := []Run{
		{Name: "trunk", Diameter: 160, Length: 4200, Wall: "galvanized", Metal: true, Fittings: []Count{{"elbow_90", 1}}, Way: 4200},
		{Name: "drop", Diameter: 125, Length: 2100, Wall: "galvanized", Metal: true, Fittings: []Count{{"branch_30", 1}, {"elbow_90", 1}}, Gate: &Gate{"planer", "servo"}, Way: 6300},
		{Name: "hose", Diameter: 100, Length: 1800, Wall: "smooth_hose", Flexible: true, Gate: &Gate{"lathe", "servo"}, Way: 9500},
		{Name: "mortiser", Diameter: 80, Length: 900, Wall: "pvc", Gate: &Gate{"mortiser", "hand"}, Way: 8600},
	}
	l := Take(runs, Inputs{Clamps: 3, Taps: 2, EndSwitches: 4, Buttons: 1, ConverterChannels: 4}, DefaultRules)
	n := map[string]float64{}
	for _, r := range l.Rows {
		n[r.Item] += r.Count
	}
	assert.Equal(t, 2.0, n["160 mm galvanized, stock lengths"])
	assert.Equal(t, 1.0, n["coupling 160 mm"])
	assert.Equal(t, 1.0, n["elbow_90 160 mm"])
	assert.Equal(t, 1800.0, n["100 mm smooth_hose"])
	assert.Equal(t, 1.0, n["blast gate 80 mm, hand"])
	assert.Equal(t, 2.0, n["servo"])
	assert.Equal(t, 5.0, n["servo supply 6 V"], "two at once at stall")
	assert.Equal(t, 2.0, n["converter chip, 4 channels"])
	assert.Equal(t, 3.0, n["support 160 mm"], "4.2 m at 2.4 m, and one at the elbow")
	assert.Equal(t, 3.0, n["support 125 mm"], "2.1 m, an elbow and a branch")
	assert.Equal(t, 900.0, n["pipe that does not conduct"])
	assert.Equal(t, 3.0, n["bonding strap across a joint"], "one a run, one at the trunk's coupling")
	assert.Equal(t, 11500.0+8300, n["servo cable, pair 4 mm2"]+n["servo cable, pair 2.5 mm2"])
	assert.Equal(t, l, Take(runs, Inputs{Clamps: 3, Taps: 2, EndSwitches: 4, Buttons: 1, ConverterChannels: 4}, DefaultRules))
}

// 10 m of pair, 2.5 A, 0.75 mm2: 2 x 0.0172 x 10 / 0.75 x 2.5 = 1.147 V, worked by hand.
func TestSectionByHand(t *testing.T) {
	mm2, lost := Section(10000, 2.5, 6, 0.2)
	assert.Equal(t, 0.75, mm2)
	assert.InDelta(t, 1.1467, lost, 1e-4)
	mm2, _ = Section(10000, 2.5, 6, 0.05)
	assert.Equal(t, 4.0, mm2)
	mm2, _ = Section(500000, 2.5, 6, 0.05)
	assert.Zero(t, mm2)
}

func TestADuctFullOfChipsWantsCloserSupports(t *testing.T) {
	r := DefaultRules
	assert.Equal(t, 2400, Spacing(Run{Diameter: 100}, r))
	assert.Less(t, Spacing(Run{Diameter: 400, Mass: 8}, r), 1300)
}

// AWG 18 is 0.823 mm2, 14 is 2.08, 12 is 3.31 (ASTM B258's formula).
func TestGauge(t *testing.T) {
	for mm2, want := range map[float64]int{0.75: 18, 0.82: 18, 1.5: 15, 2.5: 13, 4: 11} {
		assert.Equal(t, want, gauge(mm2), "%g", mm2)
	}
}

func TestSizesAndNotesAsThePersonCounts(t *testing.T) {
	r := DefaultRules
	r.Gauge, r.Say = true, func(mm int) string { return "so long" }
	l := Take([]Run{{Name: "drop", Size: "round 6 in", Diameter: 152, Length: 4000, Wall: "galvanized", Metal: true, Gate: &Gate{"saw", "servo"}, Way: 500000},
		{Name: "run", Size: "round 6 in", Diameter: 152, Length: 1000, Wall: "galvanized", Metal: true, Gate: &Gate{"sander", "relay"}}}, Inputs{}, r)
	n := map[string]Row{}
	for _, row := range l.Rows {
		n[row.Item] = row
	}
	assert.Contains(t, n, "round 6 in galvanized")
	assert.Equal(t, "of so long", n["round 6 in galvanized, stock lengths"].Note)
	assert.Contains(t, n, "servo cable too long: put the supply nearer")
	assert.Equal(t, 2.0, n["relay channel"].Count)
	assert.Equal(t, 2.0, n["round 6 in galvanized, stock lengths"].Count)
}
