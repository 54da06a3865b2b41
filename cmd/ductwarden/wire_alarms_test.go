package main

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller"
)

// TestAShopHasItsOwnDelays gives single alarms delays in the shop file.
func TestAShopHasItsOwnDelays(t *testing.T) {
	file, err := config.Parse("shop.yaml", strings.NewReader("gates: [{name: saw, actuator: {hand: {}}}]\nalarms: {bin_full: {on: 40 s}, filter_loaded: {off: 2 s}}\n"))
	require.NoError(t, err)
	shop := &controller.Shop{Collectors: []controller.Collector{{ID: "collector", Name: "collector"}}}
	list := newAlarms(shop, file)
	active := func() (keys []string) {
		for _, a := range list.Fill(0, nil) {
			if a.Active {
				keys = append(keys, a.Key)
			}
		}
		return keys
	}
	at := func(d time.Duration, is ...controller.Condition) {
		var standing []controller.Standing
		for _, c := range is {
			standing = append(standing, controller.Standing{Is: c})
		}
		list.Update(controller.Instant(d/time.Millisecond), standing)
	}
	at(time.Second, controller.BinFull, controller.FilterLoaded)
	at(40*time.Second, controller.BinFull, controller.FilterLoaded)
	assert.Empty(t, active(), "the list's own delay is 5 s; this shop's is 40 s")
	at(41*time.Second, controller.BinFull, controller.FilterLoaded)
	assert.Equal(t, []string{"bin_full/collector"}, active())
	at(61*time.Second, controller.BinFull, controller.FilterLoaded)
	assert.Equal(t, []string{"bin_full/collector", "filter_loaded/collector"}, active(), "the delay that is not given is the list's")
	at(62 * time.Second)
	at(64 * time.Second)
	assert.Equal(t, []string{"bin_full/collector"}, active(), "gone after this shop's 2 s")
	at(67 * time.Second)
	assert.Empty(t, active())
}
