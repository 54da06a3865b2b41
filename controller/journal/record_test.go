package journal

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestRecordsAreAddedAndNeverChanged(t *testing.T) {
	j, path := opened(t)
	day := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	model := 21.0
	first := &Test{Taken: day, Instrument: "hot wire 7", Calibrated: "2026-01-10", Initials: "RB", Commissioning: true, NextDue: "2027-05-02",
		Points: []Point{{Place: "saw", Quantity: "speed", Open: "saw", Reading: "20.5 m/s", Value: 20.5, Unit: "m/s", Model: &model}, {Place: "duct:trunk", Quantity: "pressure", Open: "saw", Reading: "5.6 inH2O", Value: 1394.9, Unit: "Pa"}}}
	require.NoError(t, AddTest(path, first), "beside a journal that is open")
	assert.EqualValues(t, 1, first.Number)
	second := &Test{Taken: day.AddDate(0, 6, 0), Instrument: "hot wire 7", Calibrated: "2026-01-10", Initials: "RB", Note: "new filter",
		Points: []Point{{Place: "saw", Quantity: "speed", Open: "saw", Reading: "19 m/s", Value: 19, Unit: "m/s"}, {Place: "saw", Quantity: "speed", Open: "lathe+saw", Reading: "15 m/s", Value: 15, Unit: "m/s"}}}
	require.NoError(t, AddTest(path, second))
	assert.Equal(t, 20.5, *second.Points[0].Commissioned)
	assert.Nil(t, second.Points[1].Commissioned, "other gates were open")
	require.NoError(t, flush(t, j))

	b, err := Read(path)
	require.NoError(t, err)
	defer b.Close()
	got, err := b.Tests()
	require.NoError(t, err)
	require.Len(t, got, 2)
	second.Taken, first.Taken = time.UnixMilli(second.Taken.UnixMilli()), time.UnixMilli(first.Taken.UnixMilli())
	assert.Equal(t, []Test{*second, *first}, got)
	_, err = j.db.Exec("UPDATE records SET value = 22")
	assert.ErrorContains(t, err, "never changed")
	_, err = j.db.Exec("DELETE FROM records")
	assert.ErrorContains(t, err, "never removed")
}

func TestHoursCountFromTheLatestMark(t *testing.T) {
	j, path := opened(t)
	ran := func(s int64) {
		j.put(entry{wall: time.Now(), sums: []sum{{time.Now().Format(hourLayout), CollectorSeconds, "c", "collector", s}}})
	}
	ran(100)
	j.Mark(Mark{"filter_cleaned", "c", "button", ""})
	ran(50)
	require.NoError(t, flush(t, j))
	time.Sleep(2 * time.Millisecond) // marks are told apart by their milliseconds
	j.Mark(Mark{"filter_replaced", "c", "page", ""})
	ran(7)
	require.NoError(t, flush(t, j))
	b, err := Read(path)
	require.NoError(t, err)
	defer b.Close()
	for marks, want := range map[string]time.Duration{"filter_cleaned": 57 * time.Second, "filter_replaced": 7 * time.Second, "bin_emptied": 157 * time.Second} {
		s, err := b.Since("c", marks)
		require.NoError(t, err)
		assert.Equal(t, want, s.Ran, marks)
	}
	s, err := b.Since("c", "filter_cleaned", "filter_replaced")
	require.NoError(t, err)
	assert.Equal(t, 7*time.Second, s.Ran)
	assert.False(t, s.At.IsZero())
}
