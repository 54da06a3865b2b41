package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller"
	"ductwarden/controller/journal"
)

// bookedShed is the boat shed with a journal of its own, which a daemon has opened once.
func bookedShed(t *testing.T, more string) (shop, book string) {
	t.Helper()
	dir := t.TempDir()
	shop, book = filepath.Join(dir, "shop.yaml"), filepath.Join(dir, "journal.db")
	require.NoError(t, os.WriteFile(shop, []byte(string(demoShop)+"\njournal: {path: "+book+"}\n"+more), 0o644))
	j, err := journal.Open(book, "test", nil, time.Now)
	require.NoError(t, err)
	require.NoError(t, j.Close())
	return shop, book
}

func TestATestIsRecordedAndShown(t *testing.T) {
	shop, _ := bookedShed(t, "upkeep: {record: 365 d}\n")
	sheet := filepath.Join(filepath.Dir(shop), "readings.csv")
	readings := func(planer, trunk string) {
		require.NoError(t, os.WriteFile(sheet, []byte("open,place,quantity,value\nplaner, planer, speed, "+planer+"\nlathe + bandsaw,duct:trunk,pressure,"+trunk+"\n"), 0o644))
	}
	with := []string{"--instrument", "hot wire, no. 7", "--calibrated", "2026-01-10", "--initials", "RB"}
	readings("22.4 m/s", "1450 Pa")

	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"record", shop, sheet}, "needs --instrument"},
		{[]string{"record", shop, sheet, "--instrument", "x", "--calibrated", "soon", "--initials", "RB"}, "not a day in the past"},
		{append([]string{"record", shop, sheet, "--next", "2001-01-01"}, with...), "not a day to come"},
	} {
		code, _, stderr := spoken(t, t.Context(), c.args...)
		assert.Equal(t, exitUsage, code)
		assert.Contains(t, stderr, c.want)
	}
	code, out, stderr := spoken(t, t.Context(), append([]string{"record", shop, sheet, "--commissioning"}, with...)...)
	require.Equal(t, exitDone, code, stderr)
	assert.Contains(t, out, "test 1 is kept, 2 points; the next is due on "+time.Now().AddDate(0, 0, 365).Format(time.DateOnly))
	readings("20.2 m/s", "1500 Pa")
	code, out, stderr = spoken(t, t.Context(), append([]string{"record", shop, sheet, "--note", "filter <old>"}, with...)...)
	require.Equal(t, exitDone, code, stderr)
	assert.Contains(t, out, "test 2 is kept")

	_, out, _ = spoken(t, t.Context(), "record", shop)
	assert.Contains(t, out, "test 2, ")
	assert.Contains(t, out, "commissioning 1, ")
	assert.Contains(t, out, "speed 20.2 m/s")
	assert.Contains(t, out, "22.4 m/s")
	assert.Contains(t, out, "-10 %")
	_, out, _ = spoken(t, t.Context(), "record", shop, "--json")
	var tests []journal.Test
	require.NoError(t, json.Unmarshal([]byte(out), &tests))
	require.Len(t, tests, 2)
	assert.Equal(t, "bandsaw+lathe", tests[0].Points[1].Open)
	assert.Equal(t, 1450.0, *tests[0].Points[1].Commissioned)
	assert.InDelta(t, 1500, *tests[0].Points[1].Model, 700)
	_, out, _ = spoken(t, t.Context(), "record", shop, "--csv")
	assert.Len(t, strings.Split(strings.TrimSpace(out), "\n"), 5)
	_, out, _ = spoken(t, t.Context(), "record", shop, "--page", "--test", "2")
	assert.Contains(t, out, "filter &lt;old&gt;")
	assert.Contains(t, out, "hot wire, no. 7, calibrated 2026-01-10")
	assert.NotContains(t, out, "commissioning 1")
	assert.NotContains(t, out, "<script")
	code, _, stderr = spoken(t, t.Context(), "record", shop, "--test", "9")
	assert.Equal(t, exitNo, code)
	assert.Contains(t, stderr, "no test 9")
}

func TestUpkeepIsRemembered(t *testing.T) {
	shop, book := bookedShed(t, "upkeep: {bin: 1 h, filter: 2 h, record: 30 d}\n")
	file, err := config.Load(shop)
	require.NoError(t, err)
	wall := time.Date(2026, 3, 2, 8, 0, 0, 0, time.Local)
	j, err := journal.Open(book, "test", nil, func() time.Time { return wall })
	require.NoError(t, err)
	w := j.Watcher()
	run := func(d time.Duration) { // the collector runs for a while
		for _, phase := range []string{"running", "off"} {
			w.Note(&controller.Snapshot{AtMS: wall.UnixMilli(), Collectors: []controller.CollectorSnapshot{{ID: "collector", Name: "collector", Phase: phase}}})
			wall = wall.Add(d)
		}
		w.End()
		require.NoError(t, j.Flush(t.Context()))
	}
	due := func() string {
		b, err := journal.Read(book)
		require.NoError(t, err)
		defer b.Close()
		out, err := upkeepDue(file, b, wall)
		require.NoError(t, err)
		return strings.Join(out, "\n")
	}
	run(30 * time.Minute)
	assert.Equal(t, "Air readings are due: none are on record yet (`ductwarden record`).", due())
	require.NoError(t, journal.AddTest(book, &journal.Test{Taken: wall, NextDue: "2026-04-01", Points: []journal.Point{{Place: "planer"}}}))
	assert.Empty(t, due())
	run(90 * time.Minute)
	assert.Equal(t, "Look at the bin of collector: it has run 2 h since the journal began.\nLook at the filter of collector: it has run 2 h since the journal began.", due())
	j.Mark(journal.Mark{What: "bin_emptied", Subject: "collector"})
	j.Mark(journal.Mark{What: "filter_replaced", Subject: "collector"})
	require.NoError(t, j.Flush(t.Context()))
	assert.Empty(t, due())
	run(time.Hour)
	assert.Equal(t, "Look at the bin of collector: it has run 1 h since 2026-03-02.", due())
	wall = wall.AddDate(0, 2, 0)
	assert.Contains(t, due(), "Air readings are due since 2026-04-01: the last are of 2026-03-02.")
	require.NoError(t, j.Close())

	code, out, stderr := spoken(t, t.Context(), "history", book, "--from", "2026-03-02T08", "--to", "2026-03-02T11")
	require.Equal(t, exitDone, code, stderr)
	assert.Contains(t, out, "2026-03-02T08 to 2026-03-02T11")
	assert.Regexp(t, `collector +collector ran +2:00 h`, out)
	assert.Regexp(t, `collector +with this bin +1:00 h since it was done last, 2026-03-02`, out)
	_, out, _ = spoken(t, t.Context(), "history", book, "--from", "2026-03-02", "--to", "2026-03-02", "--csv")
	assert.Contains(t, out, "2026-03-02,2026-03-02,collector_running_s,collector,collector,10800,,")
	assert.Contains(t, out, ",bin_emptied,collector,")
	code, _, stderr = spoken(t, t.Context(), "history", book, "--from", "2026-03-02", "--to", "2026-02-02")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, stderr, "ends before it begins")
}
