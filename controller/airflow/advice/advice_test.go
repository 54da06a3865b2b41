package advice

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/airflow"
	"ductwarden/controller/plan"
	"ductwarden/gates"
)

// plain writes figures in SI.
var plain = Units{
	Speed: unit("m/s", 1), Flow: unit("m3/h", 3600), Pressure: unit("Pa", 1), Length: unit("mm", 1000), Power: unit("W", 1),
}

func unit(name string, times float64) func(float64) string {
	return func(v float64) string { return fmt.Sprintf("%.4g %s", v*times, name) }
}

// shop is an invented shop: a trunk, a bench run, four machines.
func shop() Shop {
	n := airflow.Network{
		Name: "collector", Air: airflow.Air{Density: 1.2, Viscosity: 1.81e-5},
		Transport: airflow.Transport{Carries: 20, Settles: 15, Margin: 0.05},
		Fan: airflow.Fan{Kind: airflow.FanStatic, Inlet: 0.16, Density: 1.2,
			Curve: []airflow.Point{{Flow: 0, Pressure: 2900}, {Flow: 0.3, Pressure: 2700}, {Flow: 0.55, Pressure: 2150}, {Flow: 0.78, Pressure: 1300}, {Flow: 0.95, Pressure: 350}}},
		Filter: airflow.Filter{Clean: airflow.LossAt(0.55, 250, 0.7), Loaded: airflow.LossAt(0.55, 700, 0.7)},
		Ducts: []airflow.Duct{
			{Name: "trunk", Into: -1, Diameter: 0.2, Length: 4.2, Wall: "galvanized", Fittings: []airflow.Fitting{{Kind: "elbow_90", Count: 1}}},
			{Name: "bench run", Into: 0, Diameter: 0.16, Length: 3.5, Wall: "galvanized", Fittings: []airflow.Fitting{{Kind: "branch_45", Count: 1}}},
			{Name: "planer drop", Into: 0, Diameter: 0.125, Length: 2.1, Wall: "galvanized", Fittings: []airflow.Fitting{{Kind: "branch_30", Count: 1}}},
			{Name: "lathe hose", Into: 1, Diameter: 0.1, Length: 2.5, Wall: "ribbed_hose"},
			{Name: "bandsaw drop", Into: 1, Diameter: 0.1, Length: 1.2, Wall: "galvanized"},
			{Name: "saw drop", Into: 0, Diameter: 0.15, Length: 1.2, Wall: "galvanized"},
		},
		Ports: []airflow.Port{{Name: "planer", Duct: 2, Hood: "takeoff", Airflow: 820. / 3600}, {Name: "lathe", Duct: 3, Hood: "plain", Airflow: 560. / 3600},
			{Name: "bandsaw", Duct: 4, Hood: "takeoff", Airflow: 560. / 3600}, {Name: "saw", Duct: 5, Hood: "plain", Airflow: 1110. / 3600}},
	}
	var machines []plan.Machine
	for i, p := range n.Ports {
		n.Gates = append(n.Gates, airflow.Gate{Name: p.Name, Number: i, Duct: p.Duct, Leak: 60e-6, Relief: airflow.ReliefNever})
		machines = append(machines, plan.Machine{Number: i, Name: p.Name, Ports: []int{i}})
	}
	return Shop{Network: n, Machines: machines, Gates: 4, Together: []gates.Set{gates.Of(0, 1)}}
}

// again judges a crew on a network by another way than the advice does: the plain survey of demands, with a planner
// that has never been asked.
func again(t *testing.T, s Shop, n airflow.Network, c airflow.Crew) airflow.Verdict {
	t.Helper()
	m, err := airflow.Compile(n)
	require.NoError(t, err)
	p, err := plan.New(m.Network(), plan.Solved(m), s.Machines, s.Options)
	require.NoError(t, err)
	d := airflow.Survey(airflow.NewSolver(m), nil, []airflow.Crew{c}, func(machines gates.Set, state airflow.State) gates.Set {
		return p.Choose(plan.Question{Running: machines, Usable: m.Gates() &^ m.Hand(), Loaded: true}).Open
	})
	return d[0].Decisive().Verdict
}

// Every remedy, solved once more, mends its demand; every effect elsewhere is what it says, and none is left out.
func TestEveryRemedyMends(t *testing.T) {
	kinds := map[Kind]int{}
	none := 0
	for seed := range uint64(3) {
		s := random(rand.New(rand.NewPCG(seed, 1)))
		a, err := New(s)
		require.NoError(t, err)
		now := map[gates.Set]airflow.Verdict{}
		for _, o := range s.crews() {
			now[o.Machines] = again(t, s, s.Network, o)
		}
		for _, c := range a.Failing() {
			x := a.For(c)
			before := now[c.Machines]
			assert.Equal(t, x.Before.Carries, before.Grade == airflow.Carries)
			if len(x.Remedies) == 0 {
				none++
				assert.Contains(t, x.None(plain), "nothing that was tried mends it")
			}
			for _, r := range x.Remedies {
				kinds[r.Kind]++
				after := again(t, s, r.Network(), c)
				require.Equal(t, airflow.Carries, after.Grade, "seed %d: %v: %s", seed, x.Machines, r.Say(plain))
				if x.Lacks == "air" {
					require.GreaterOrEqual(t, after.Share, plan.DefaultFull)
				}
				spoilt, mended := 0, 0
				for _, o := range s.crews() {
					if o.Machines == c.Machines {
						continue
					}
					was, is := now[o.Machines], again(t, s, r.Network(), o)
					switch {
					case was.Grade < is.Grade || is.Grade == airflow.Carries && o.Asked && !a.short(was) && a.short(is) && was.Grade == airflow.Carries:
						spoilt++
					case was.Grade != airflow.Carries && is.Grade == airflow.Carries:
						mended++
					}
				}
				assert.Len(t, r.Breaks, spoilt, "seed %d: %s", seed, r.Say(plain))
				assert.Len(t, r.Mends, mended)
			}
		}
	}
	t.Logf("remedies that were tried once more: %v; demands without any: %d", kinds, none)
	for _, k := range []Kind{Size, Relief, Fan, Hose, Filter} {
		assert.Positive(t, kinds[k], "%s", k)
	}
	assert.Positive(t, none)
}

// random is the shop with other sizes, lengths, hoses, fans and gates.
func random(r *rand.Rand) Shop {
	s := shop()
	n := &s.Network
	sizes := []float64{0.1, 0.125, 0.15, 0.16}
	n.Ducts[0].Diameter = []float64{0.15, 0.16, 0.2}[r.IntN(3)]
	for i := range n.Ducts[1:] {
		d := &n.Ducts[i+1]
		d.Diameter = min(sizes[r.IntN(len(sizes))], n.Ducts[0].Diameter)
		d.Length *= 0.5 + 2*r.Float64()
		if d.Wall != "galvanized" {
			d.Wall, d.Length = []string{"ribbed_hose", "compressed_hose", "smooth_hose"}[r.IntN(3)], 1.5+3*r.Float64()
		}
	}
	f := 0.7 + 0.6*r.Float64()
	for i := range n.Fan.Curve {
		n.Fan.Curve[i].Pressure *= f
	}
	for i := range n.Gates {
		n.Gates[i].Relief = airflow.Relief(r.IntN(3))
		n.Gates[i].Hand = r.IntN(6) == 0
	}
	return s
}

// Another way found nearer: of the single sizes none that lies nearer to the one that is there does.
func TestNearestSize(t *testing.T) {
	s := shop()
	a, err := New(s)
	require.NoError(t, err)
	crew := a.crews[0] // the planer alone creeps in a trunk that is too wide
	require.Equal(t, "transport", a.lacks(0))
	x := a.For(crew)
	found := 0
	for _, r := range x.Remedies {
		if r.Kind != Size || len(r.Sizes) != 1 {
			continue
		}
		found++
		c := r.Sizes[0]
		for _, p := range s.ladder(c.at) {
			if off := (&SizeChange{From: c.From, To: p.Inside}).far(); off < 1.005 || off >= c.far()-1e-9 {
				continue
			}
			n := copied(&a.shop.Network)
			n.Ducts[c.at].Diameter = p.Inside
			if fits(&n, c.at) {
				assert.NotEqual(t, airflow.Carries, again(t, s, n, crew).Grade, "%s in %s lies nearer", c.Duct, p.Name)
			}
		}
	}
	assert.Positive(t, found)
	first := slices.IndexFunc(x.Remedies, func(r Remedy) bool { return r.Kind == Size })
	assert.Equal(t, "trunk", x.Remedies[first].Sizes[0].Duct, "it spoils least")
}

// Where there is room for one remedy it is what spoils least of what was asked for; then anything before a stronger fan,
// then what spoils least of the rest, and of equals the first.
func TestBestRemedy(t *testing.T) {
	asked, other := Effect{Asked: true}, Effect{}
	size := func(what Kind, breaks ...Effect) Remedy { return Remedy{Kind: what, Breaks: breaks} }
	for _, c := range []struct {
		list []Remedy
		want int
	}{
		{[]Remedy{size(Size, asked), size(Fan)}, 1},
		{[]Remedy{size(Fan), size(Size, other, other)}, 1},
		{[]Remedy{size(Size, other, other), size(Hose, other)}, 1},
		{[]Remedy{size(Hose), size(Size)}, 0},
		{[]Remedy{size(Fan, asked), size(Size, asked, other)}, 1},
	} {
		a := Advice{Remedies: c.list}
		assert.Same(t, &a.Remedies[c.want], a.Best(), "%v", c.list)
	}
	assert.Nil(t, (&Advice{}).Best())
}

// The fan that is asked for is the least: one percent slower does not mend it. The hose is the longest: five
// centimetres more do not. The filter's limit likewise.
func TestLimitsAreTight(t *testing.T) {
	fans, slower, hoses, filters := 0, 0, 0, 0
	for seed := range uint64(8) {
		s := random(rand.New(rand.NewPCG(seed, 1)))
		a, err := New(s)
		require.NoError(t, err)
		for _, c := range a.Failing() {
			x := a.For(c)
			if x.Lacks != "transport" {
				continue
			}
			j := &job{Advisor: a, crew: c}
			for _, r := range x.Remedies {
				switch {
				case r.Kind == Fan && r.Fan.Faster > 1.02:
					fans++
					assert.InEpsilon(t, r.Fan.Faster*r.Fan.Faster*r.Fan.Faster, r.Fan.PowerTimes, 1e-8, "power goes with the cube of the speed (fan laws, source at airflow.FanLaws)")
					less := j.faster(r.Fan.Faster - 0.011)
					if again(t, s, less.net, c).Grade != airflow.Carries {
						slower++
					}
				case r.Kind == Hose && r.Hose.How == "shorter" && r.Hose.Length+0.06 < r.Hose.From:
					n := r.Network()
					n = copied(&n)
					for i := range n.Ducts {
						if n.Ducts[i].Name == r.Hose.Duct {
							n.Ducts[i].Length += 0.061
						}
					}
					assert.NotEqual(t, airflow.Carries, again(t, s, n, c).Grade, "%s", r.Say(plain))
					hoses++
				case r.Kind == Filter:
					n := r.Network()
					n = copied(&n)
					n.Filter.Loaded = airflow.Loss{Linear: n.Filter.Loaded.Linear * 1.05, Quadratic: n.Filter.Loaded.Quadratic * 1.05}
					assert.NotEqual(t, airflow.Carries, again(t, s, n, c).Grade, "%s", r.Say(plain))
					filters++
				}
			}
		}
	}
	t.Logf("tight: %d fans, %d hoses, %d filters", fans, hoses, filters)
	assert.Greater(t, fans, 20)
	assert.Greater(t, float64(slower), 0.9*float64(fans), "other gates may open for a slower fan, and then it may do")
	assert.Positive(t, hoses)
	assert.Positive(t, filters)
}

func TestMendsMost(t *testing.T) {
	a, err := New(shop())
	require.NoError(t, err)
	var all []Advice
	for _, c := range a.Failing() {
		all = append(all, a.For(c))
	}
	r, mended, ok := MendsMost(all)
	require.True(t, ok)
	assert.Equal(t, "trunk", r.Sizes[0].Duct)
	assert.Empty(t, r.Breaks)
	assert.Len(t, mended, 3)
	_, _, ok = MendsMost(nil)
	assert.False(t, ok)
}

// What is well wants no advice, and a shop that is not judged has none.
func TestNothingToMend(t *testing.T) {
	s := shop()
	s.Network.Transport = airflow.Transport{Carries: 3, Settles: 2}
	s.Together = nil
	a, err := New(s)
	require.NoError(t, err)
	for _, c := range a.Failing() {
		assert.Equal(t, "air", a.For(c).Lacks)
	}
	s.Network.Fan.Curve = nil
	_, err = New(s)
	assert.ErrorContains(t, err, "not judged")
	assert.Empty(t, a.For(airflow.Crew{Machines: gates.Of(60)}).Machines)
}

func TestLadder(t *testing.T) {
	s := shop()
	source := func(d float64, wall, pipe string, inches bool) string {
		s.Network.Ducts[0].Diameter, s.Network.Ducts[0].Wall, s.Pipes, s.Inches = d, wall, []string{pipe}, inches
		l := s.ladder(0)
		require.NotEmpty(t, l)
		for i := 1; i < len(l); i++ {
			assert.Less(t, l[i-1].Inside, l[i].Inside)
		}
		return l[0].Name
	}
	assert.Equal(t, "EN 1506 63", source(0.16, "galvanized", "", false))
	assert.Equal(t, "round 3 in", source(0.1524, "galvanized", "", true))
	assert.Equal(t, "EN 1506 63", source(0.16, "galvanized", "", true), "a metric pipe in a shop that counts in inches")
	assert.Equal(t, "round 3 in", source(0.17, "ribbed_hose", "", true))
	assert.Equal(t, "SDR 35 4 in", source(0.1, "pvc", "sdr 35 4 in", false), "the nominal size says which series")
	assert.Equal(t, "EN 1401 110", source(0.1036, "pvc", "", false))
	assert.Equal(t, "schedule 40 2 in", source(0.10226, "pvc", "", true))
	near := near(s.ladder(0), 0.10226)
	assert.Equal(t, "schedule 40 3 in", near[0].Name)
}

// 1000 cfm, 70 degrees Fahrenheit: 1.08 x 1000 x 70 = 75,600 BTU/h, the usual formula of sensible heat in US units
// (0.075 lb/ft3 x 0.24 BTU/(lb F) x 60 = 1.08); the heat capacity used here lies a thousandth beside 0.24.
func TestHeat(t *testing.T) {
	w := Heat(airflow.Air{Density: 1.2014}, 1000*0.3048*0.3048*0.3048/60, 70/1.8)
	assert.InEpsilon(t, 75600, w/0.29307107, 3e-3)
	assert.InDelta(t, 1004.685, HeatCapacity, 1e-3)
}

func TestCompare(t *testing.T) {
	old, next := shop(), shop()
	next.Network = copied(&next.Network)
	next.Network.Ducts[0].Diameter = 0.16
	next.Network.Ducts[4].Name = "bandsaw pipe"
	next.Machines = next.Machines[:3:3] // the saw is gone
	next.Machines = append(next.Machines, plan.Machine{Number: 4, Name: "sander", Ports: []int{3}})
	a, err := New(old)
	require.NoError(t, err)
	b, err := New(next)
	require.NoError(t, err)
	got := map[string]Verdict{}
	for _, r := range Compare([]*Advisor{a}, []*Advisor{b}) {
		got[fmt.Sprint(r.Machines)] = r.Change
		assert.Equal(t, r.Change == Added, r.Before == nil)
		assert.Equal(t, r.Change == Gone, r.After == nil)
	}
	assert.Equal(t, Mended, got["[planer]"])
	assert.Equal(t, Gone, got["[saw]"])
	assert.Equal(t, Added, got["[sander]"])
	for _, r := range Compare([]*Advisor{a}, []*Advisor{a}) {
		assert.Equal(t, Unmoved, r.Change)
	}
	back := Compare([]*Advisor{b}, []*Advisor{a})
	assert.Equal(t, Spoilt, back[0].Change)

	what := map[string]Difference{}
	for _, d := range Differences(&old.Network, &next.Network) {
		what[d.Of+" "+d.Name+" "+d.Field] = d
	}
	assert.Len(t, what, 3)
	assert.InDelta(t, 0.2, what["duct trunk diameter"].Was.Value, 1e-12)
	assert.Contains(t, what, "duct bandsaw pipe new")
	assert.Contains(t, what, "duct bandsaw drop gone")
}
