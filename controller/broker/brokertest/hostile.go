package brokertest

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"time"
)

// Hostile is a message that must move nothing in a shop with that gate, the machine planer and the collector
// collector that allows requests but no start: retained, late, ahead of time, oversized, malformed, unknown or not
// offered. The topic is below the site's. Halt and acknowledge are left out: they are taken from anybody who may ask.
func Hostile(chance *rand.Rand, gate string) (topic, payload string, retained bool) {
	noise := func() string {
		b := make([]byte, chance.IntN(80))
		for i := range b {
			b[i] = byte(chance.IntN(256))
		}
		return string(b)
	}
	all := []func() (string, string, bool){
		func() (string, string, bool) { return "request/gate/attic", "hold", true },
		func() (string, string, bool) { return "request/air/planer", "press", chance.IntN(2) == 0 },
		func() (string, string, bool) { return "request/ready", "press", false },
		func() (string, string, bool) { return "request", `{"request":"air","subject":"planer"}`, false },
		func() (string, string, bool) {
			return "request", `{"request":"hold","subject":"` + gate + `","ts":"2020-01-01T00:00:00Z"}`, false
		},
		func() (string, string, bool) {
			return "request", fmt.Sprintf(`{"request":"hold","subject":%q,"ts":%d}`, gate, time.Now().Unix()+60), false
		},
		func() (string, string, bool) {
			return "request/gate/" + gate, "hold " + strings.Repeat("x", 2000), false
		},
		func() (string, string, bool) { return "request/halt", strings.Repeat("x", 100_000), false },
		func() (string, string, bool) { return "request/gate/" + gate, "hold 9h", false },
		func() (string, string, bool) { return "request/gate/attic", "hold", false },
		func() (string, string, bool) { return "request/gate/" + gate, "open", false },
		func() (string, string, bool) { return "request/collector/collector", "run", false },
		func() (string, string, bool) {
			return []string{"request", "request/gate/" + gate, "request/air/planer", "request/x"}[chance.IntN(4)], noise(), false
		},
	}
	return all[chance.IntN(len(all))]()
}
