package simshop

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller/airflow"
	"ductwarden/controller/loop"
	"ductwarden/controller/starter"
	"ductwarden/current"
	"ductwarden/current/mcp3208"
	"ductwarden/gates"
	"ductwarden/gates/pca9685"
	"ductwarden/gates/servo"
)

// secondBench is the shop with the parts that the first has not.
func secondBench(t *testing.T) *bench {
	t.Helper()
	file, err := config.Load("testdata/second.yaml")
	require.NoError(t, err)
	v := loop.NewVirtual(loop.AsFastAsMayBe)
	air := make([]*airflow.Model, 2)
	air[0], err = airflow.Compile(file.Trees()[0].Network)
	require.NoError(t, err)
	b := &bench{Shop: New(file, air, v.Now, Options{Gates: []float64{1, 0}}), Virtual: v, t: t, file: file}
	v.Add("shop", "shop", b.Shop)
	return b
}

func TestSPIConverter(t *testing.T) {
	b := secondBench(t)
	port := b.Port(1)
	chip := mcp3208.New(port, port.String(), 0)
	saw, err := chip.Clamp(1, mcp3208.Clamp{Microvolts: 33_300, Running: 2500, Idle: 1200})
	require.NoError(t, err)
	b.Add("bus", "chip", loop.TaskFunc(func(now time.Duration) time.Duration { n, _ := chip.Poll(now); return n }))
	b.run(2 * time.Second)
	assert.Equal(t, current.Idle, saw.Belief())
	b.Switch(0, true)
	b.run(200 * time.Millisecond)
	assert.Equal(t, current.Running, saw.Belief())
	idle, _ := saw.RMS()
	b.run(5 * time.Second)
	b.Cut(0, 1)
	b.run(2 * time.Second)
	busy, _ := saw.RMS()
	assert.Greater(t, busy, int32(2500*overRunning*2), "under load it draws more; idle it drew %d", idle)
	b.Silence(config.Chip{Bus: 1, Kind: "mcp3208"}, true)
	b.run(2 * time.Second)
	assert.Equal(t, current.Unknown, saw.Belief())
	assert.Error(t, port.Tx([]byte{1, 2}, make([]byte, 1)))
}

func TestMomentaryStarterHoldsItself(t *testing.T) {
	b := secondBench(t)
	st := b.file.Collectors[0].Starter.Momentary
	m, err := starter.NewMomentary(starter.MomentarySettings{Name: "buttons", Start: b.Line(st.Start), Stop: b.Line(st.Stop)})
	require.NoError(t, err)
	b.Add("core", "buttons", loop.TaskFunc(func(now time.Duration) time.Duration { _, _ = m.Poll(now); return now + 10*time.Millisecond }))
	b.run(2 * time.Second)
	require.NoError(t, m.On(b.Virtual.Now()))
	b.run(2 * time.Second)
	assert.True(t, b.Powered(0), "the button is let go, the starter holds itself")
	require.NoError(t, m.Off(b.Virtual.Now()))
	b.run(2 * time.Second)
	assert.False(t, b.Powered(0))
}

func TestLevelLineAndContact(t *testing.T) {
	b := secondBench(t)
	line := b.Line(*b.file.Collectors[1].Starter.Line)
	contact := b.Line(b.file.Collectors[1].Proof.Contact.Line)
	read := func() bool { on, _ := contact.Read(); return on }
	assert.False(t, read())
	_ = line.Set(true)
	b.run(100 * time.Millisecond)
	assert.True(t, b.Powered(1))
	assert.True(t, read())
	assert.Zero(t, b.Velocity(1, 0), "its air is not judged")
	_ = line.Set(false)
	b.run(100 * time.Millisecond)
	assert.False(t, read())
}

// A clamp read as a difference sees the collector's inrush and then its load.
func TestDifferenceSeesTheCollector(t *testing.T) {
	b := secondBench(t)
	adc := config.Chip{Kind: "ads1115", Address: 0x49}
	swing := func() float64 {
		most := 0.0
		for range 200 {
			b.run(time.Millisecond)
			now := b.Virtual.Now()
			most = max(most, b.Volts(adc, 0, now)-b.Volts(adc, 1, now))
		}
		return most
	}
	still := swing()
	b.OwnSwitch(0, true)
	inrush := swing()
	b.run(10 * time.Second)
	load := swing()
	assert.Less(t, still, 0.02)
	assert.Greater(t, inrush, 2*load)
	assert.Greater(t, load, 0.2)
}

func TestTapsAtDuctAndPort(t *testing.T) {
	b := secondBench(t)
	adc := config.Chip{Kind: "ads1115", Address: 0x49}
	b.OwnSwitch(0, true)
	b.run(20 * time.Second)
	pascals := func(input int) float64 { return (b.Volts(adc, input, b.Virtual.Now()) - 0.5) / 0.001 }
	r := airflow.NewSolver(b.fans[0].solver.Model()).Solve(gates.Of(0), 0)
	assert.InDelta(t, -r.Static[0], pascals(2), 5, "the first duct of its collector is the second of the file")
	assert.InDelta(t, r.PortSuction[0], pascals(3), 5)
	assert.Greater(t, b.Velocity(0, 1), 10.0)
}

// The enable line takes the pulses off whatever the registers say.
func TestEnableLine(t *testing.T) {
	b := secondBench(t)
	enable := b.Line(*b.file.Chips[0].Enable)
	board, err := pca9685.New(b.Bus(0), pca9685.Settings{Addr: 0x40, Oscillator: 26_000_000, Enable: enable})
	require.NoError(t, err)
	sv, err := servo.New(board, servo.Settings{Channel: 3, Open: 1100 * time.Microsecond, Closed: 1900 * time.Microsecond, Travel: 500 * time.Millisecond})
	require.NoError(t, err)
	b.Add("bus", "board", loop.TaskFunc(func(now time.Duration) time.Duration { n, _ := board.Poll(now); return n }))
	b.run(100 * time.Millisecond)
	require.NoError(t, sv.Drive(b.Virtual.Now(), gates.DriveClose))
	b.run(600 * time.Millisecond)
	assert.InDelta(t, 0, b.Blade(0), 0.02, "a board that runs at 26 MHz gives true widths when it is told so")
	b.Slide(0, 0.5)
	_ = enable.Set(false)
	b.run(600 * time.Millisecond)
	assert.InDelta(t, 0.5, b.Blade(0), 0.02)
}

func TestHandGateContacts(t *testing.T) {
	b := secondBench(t)
	h := b.file.Gates[1].Actuator.Hand
	open, closed := b.Line(*h.Open), b.Line(*h.Closed)
	read := func(l *Line) bool { on, _ := l.Read(); return on }
	assert.True(t, read(closed))
	b.Slide(1, 2)
	assert.True(t, read(open))
	assert.Equal(t, gates.Of(0, 1), b.Open())
}

func TestMainsOfAUSShop(t *testing.T) {
	assert.EqualValues(t, 60, secondBench(t).motors[0].mains)
	assert.EqualValues(t, 50, newBench(t, Options{}).motors[0].mains)
}
