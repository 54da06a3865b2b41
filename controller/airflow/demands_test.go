package airflow

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/gates"
)

func TestCrews(t *testing.T) {
	members := []Member{{Number: 2, Ports: []int{0}}, {Number: 5, Ports: []int{1, 2}}, {Number: 7, Ports: []int{3}}, {Number: 9, Ports: []int{4}}}
	crews := Crews(members, []gates.Set{gates.Of(5, 7), gates.Of(2, 5, 7, 9, 30), gates.Of(40)})
	var sets []gates.Set
	asked := 0
	for _, c := range crews {
		sets = append(sets, c.Machines)
		if c.Asked {
			asked++
		}
	}
	assert.Equal(t, []gates.Set{
		gates.Of(2), gates.Of(5), gates.Of(7), gates.Of(9),
		gates.Of(2, 5), gates.Of(2, 7), gates.Of(2, 9), gates.Of(5, 7), gates.Of(5, 9), gates.Of(7, 9),
		gates.Of(2, 5, 7), gates.Of(2, 5, 9), gates.Of(2, 7, 9), gates.Of(5, 7, 9),
		gates.Of(2, 5, 7, 9),
	}, sets)
	assert.Equal(t, 6, asked, "four alone, two named")
	assert.True(t, crews[7].Asked)
	assert.False(t, crews[4].Asked)
	assert.Equal(t, gates.Of(1, 2, 3), crews[7].Ports)
	assert.Empty(t, Crews(nil, nil))

	var many []Member
	for i := range 12 {
		many = append(many, Member{Number: i, Ports: []int{i}})
	}
	assert.Len(t, Crews(many, nil), 12+66, "threes of twelve are too many")
}

// shopWithHand is the small network with a third port behind a hand gate on the trunk.
func shopWithHand() Network {
	n := small()
	n.Ducts = append(n.Ducts, Duct{Name: "mortiser drop", Into: 0, Diameter: 0.08, Length: 1, Wall: "pvc"})
	n.Ports = append(n.Ports, Port{Name: "mortiser", Duct: 3, Hood: "plain"})
	n.Gates = append(n.Gates, Gate{Name: "mortiser", Number: 2, Duct: 3, Hand: true})
	return n
}

func TestSurvey(t *testing.T) {
	m, err := Compile(shopWithHand())
	require.NoError(t, err)
	s := NewSolver(m)
	crews := Crews([]Member{{0, []int{0}}, {1, []int{1}}, {2, []int{2}}}, nil)
	list := Survey(s, NewDoubt(m), crews, func(machines gates.Set, _ State) gates.Set { return machines &^ m.Hand() })
	require.Len(t, list, 7)
	planer := list[0]
	require.Len(t, planer.Cases, 4, "clean and loaded, the hand gate shut and open")
	assert.Equal(t, []gates.Set{gates.Of(0), gates.Of(0, 2), gates.Of(0), gates.Of(0, 2)},
		[]gates.Set{planer.Cases[0].Open, planer.Cases[1].Open, planer.Cases[2].Open, planer.Cases[3].Open})
	assert.Equal(t, Clean, planer.Clean().State)
	assert.Equal(t, gates.Of(0), planer.Decisive().Open)
	assert.Equal(t, Loaded, planer.Decisive().State)
	assert.Equal(t, 3, planer.Theft)
	assert.Equal(t, s.JudgeAs(gates.Of(0), gates.Of(0), Loaded), planer.Decisive().Verdict)
	assert.NotEqual(t, NoRatio, planer.Decisive().Sure)
	mortiser := list[2]
	require.Len(t, mortiser.Cases, 2, "its own hand gate is opened by the person")
	assert.Equal(t, gates.Of(2), mortiser.Decisive().Open)
	assert.Equal(t, -1, mortiser.Theft)

	worst := WorstFirst(list)
	for i := 1; i < len(worst); i++ {
		assert.False(t, Worse(worst[i].Decisive().Verdict, worst[i-1].Decisive().Verdict))
	}
	assert.NotEqual(t, Carries, worst[0].Decisive().Verdict.Grade)
}

// With many hand gates only the ways that can be the worst for some duct are looked at.
func TestHandWays(t *testing.T) {
	n := small()
	for i := range 6 {
		into := 0
		if i < 2 {
			into = 1
		}
		n.Ducts = append(n.Ducts, Duct{Name: "drop", Into: into, Diameter: 0.08, Length: 1})
		n.Ports = append(n.Ports, Port{Name: "port", Duct: len(n.Ducts) - 1, HoodLoss: 1})
		n.Gates = append(n.Gates, Gate{Name: "hand", Number: 10 + i, Duct: len(n.Ducts) - 1, Hand: true})
	}
	m, err := Compile(n)
	require.NoError(t, err)
	all := gates.Of(10, 11, 12, 13, 14, 15)
	assert.Equal(t, []gates.Set{0, all, gates.Of(12, 13, 14, 15)}, m.handWays(gates.Of(0)))
	assert.Len(t, m.handWays(gates.Set(0)), 2)
}
