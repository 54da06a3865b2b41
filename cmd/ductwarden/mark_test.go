package main

import (
	"context"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/journal"
	"ductwarden/controller/loop"
)

// TestMarkAndShelveAtTheConsole does both against a rehearsal, by the verbs.
func TestMarkAndShelveAtTheConsole(t *testing.T) {
	socket := filepath.Join(t.TempDir(), "console.sock")
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var out writer
	go run(ctx, []string{"rehearse", "--speed", "20", "--page", "off", "--socket", socket}, strings.NewReader(""), &out, &out)
	require.Eventually(t, func() bool { return strings.Contains(out.String(), "collector: running; carries") }, 20*time.Second, 20*time.Millisecond, "%s", &out)

	code, said, stderr := spoken(t, t.Context(), "mark", "filter_cleaned", "--note", "shaken", "--socket", socket)
	require.Equal(t, exitDone, code, stderr)
	assert.Equal(t, "noted: filter cleaned\n", said)
	require.Eventually(t, func() bool { return strings.Contains(out.String(), "the filter was cleaned") }, 30*time.Second, 10*time.Millisecond)
	code, _, stderr = spoken(t, t.Context(), "mark", "bin_emptied", "--collector", "attic", "--socket", socket)
	assert.Equal(t, exitNo, code)
	assert.Contains(t, stderr, `there is no collector "attic" in this shop`)
	code, _, _ = spoken(t, t.Context(), "mark", "gate_oiled", "--socket", socket)
	assert.Equal(t, exitUsage, code)

	for _, c := range []struct{ args, want string }{
		{"shelve no_air/lathe --for 1h --reason noise", `there is no alarm "no_air/lathe"`},
		{"shelve no_air/lathe --for soon --reason noise", "does not begin with a time"},
		{"shelve no_air/lathe --for 9h --reason noise", "up to 8 h"},
		{"shelve no_air/lathe --for 1h", "say why"},
	} {
		code, _, stderr = spoken(t, t.Context(), append(strings.Fields(c.args), "--socket", socket)...)
		assert.Equal(t, exitNo, code, c.args)
		assert.Contains(t, stderr, c.want, c.args)
	}
}

// TestAnAlarmIsPutAwayAndComesBack shelves a standing alarm through the desk of a running shop.
func TestAnAlarmIsPutAwayAndComesBack(t *testing.T) {
	th := cutting(t)
	th.sim.OpenBin(0, true)
	for range 200 {
		if th.pass(t, 250*time.Millisecond); len(th.alarms()) > 0 {
			break
		}
	}
	require.Equal(t, []string{"suction_low/collector"}, th.alarms())
	put := func(s loop.Shelve) (a loop.Answer) {
		done := make(chan struct{})
		go func() {
			defer close(done)
			a, _ = th.loop.Do(t.Context(), loop.Request{Who: "duty", Shelve: &s})
		}()
		require.Eventually(t, func() bool {
			th.pass(t, 25*time.Millisecond)
			select {
			case <-done:
				return true
			default:
				return false
			}
		}, 30*time.Second, time.Millisecond)
		return a
	}
	assert.Contains(t, put(loop.Shelve{Key: "suction_low/collector", For: time.Minute}).Sentence(), "say why")
	require.True(t, put(loop.Shelve{Key: "suction_low/collector", For: time.Minute, Reason: "the bag is being changed"}).Accepted)
	th.pass(t, time.Second)
	assert.Empty(t, th.alarms(), "it is put away")
	th.pass(t, 70*time.Second)
	assert.Equal(t, []string{"suction_low/collector"}, th.alarms(), "and comes back by itself")
}

// TestTheJournalKnowsWhoAsked writes requests with their role, and marks, into a real file.
func TestTheJournalKnowsWhoAsked(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	file, err := rehearsedShop(nil)
	require.NoError(t, err)
	file.Journal.Path = path
	s := openJournal(file, slog.New(slog.DiscardHandler))
	require.NotNil(t, s)
	w := words{&controller.Shop{Collectors: []controller.Collector{{ID: "collector", Name: "collector"}}}}
	s.asked(w, loop.Asked{Request: loop.Request{Who: "button", Mark: &loop.Mark{What: loop.BinEmptied, Note: "two bags"}}, Answer: loop.Answer{Accepted: true}})
	s.asked(w, loop.Asked{Request: loop.Request{Who: "duty", Event: controller.Event{Kind: controller.ReadyPressed}}, Answer: loop.Answer{Why: controller.BecauseOnDuty}})
	s.asked(w, loop.Asked{Request: loop.Request{Who: "duty", Shelve: &loop.Shelve{Key: "bin_full/collector", For: time.Hour, Reason: "lunch"}}, Answer: loop.Answer{Accepted: true}})
	require.NoError(t, s.Close())
	b, err := journal.Read(path)
	require.NoError(t, err)
	defer b.Close()
	from, to := time.Now().Add(-time.Hour), time.Now().Add(time.Hour)
	marks, err := b.Marks(from, to)
	require.NoError(t, err)
	require.Len(t, marks, 1)
	assert.Equal(t, journal.Mark{What: "bin_emptied", Subject: "collector", Who: "button", Note: "two bags"}, marks[0].Mark)
	asked, err := b.Changes("request", from, to, 10)
	require.NoError(t, err)
	require.Len(t, asked, 2)
	assert.Equal(t, "bin_full/collector put away for 1h0m0s: lunch", asked[0].Name)
	assert.Equal(t, "accepted", asked[0].Now)
	assert.Equal(t, "duty", asked[1].Was)
	assert.Contains(t, asked[1].Now, "refused: the shop is on duty already")
}
