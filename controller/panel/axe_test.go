package panel

import (
	"encoding/json"
	"fmt"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/panel/browsertest"
)

// TestPagesForEverybody runs the axe-core accessibility rules over every page in three themes.
func TestPagesForEverybody(t *testing.T) {
	t.Parallel()
	path := os.Getenv("AXE_CORE")
	if path == "" {
		if os.Getenv("CI") == "true" {
			t.Fatal("AXE_CORE names no script: the check script installs npm's axe-core and sets it")
		}
		t.Skip("accessibility rules are skipped: set AXE_CORE to axe.min.js of npm's axe-core")
	}
	script, err := os.ReadFile(path)
	require.NoError(t, err)
	b := browsertest.Start(t)
	s := serve(t)
	s.logIn(t, b)
	for _, p := range everyPage {
		b.Open(s.url+p, 1280, 800)
		there(b, p)
		b.JS(string(script) + "; ''") // through the debugger, which the page's policy on scripts does not concern
		for _, theme := range []string{"light", "dark", "contrast"} {
			b.JS(`document.documentElement.dataset.theme = '` + theme + `'; window.axeResult = ''; axe.run().then(r => window.axeResult = JSON.stringify(r.violations.map(v => v.id + ': ' + v.help + ' ' + v.nodes.map(n => n.target.join(' ')).join(', ')))); ''`)
			b.Until(`String(window.axeResult !== '')`, "true")
			var violations []string
			require.NoError(t, json.Unmarshal([]byte(b.JS(`window.axeResult`)), &violations))
			assert.Empty(t, violations, "%s in %s", p, theme)
		}
	}
}

// With the keyboard alone: every control of every page is reached by Tab, in an order, and seen to be; Enter does what
// a touch does, kept pressed where a button wants that.
func TestPagesByKeyboardAlone(t *testing.T) {
	t.Parallel()
	b := browsertest.Start(t)
	s := serve(t)
	s.setUp(t)
	b.Open(s.url+"/login", 1280, 800)
	for b.JS(`document.activeElement.id`) != "word" {
		b.Key("Tab", 0)
	}
	b.Type("plenty of shavings")
	b.Key("Enter", 0)
	b.Until(`String(!!document.querySelector('.tree'))`, "true")
	for _, p := range everyPage[:len(everyPage)-1] {
		b.Open(s.url+p, 1280, 800)
		there(b, p)
		b.JS(`window.met = new Set(); ''`)
		for range 200 {
			b.Key("Tab", 0)
			if at := b.JS(`(e => { const seen = met.has(e) && e !== window.before; met.add(e); window.before = e; const o = getComputedStyle(e); return seen || e === document.body ? 'round' : (o.outlineStyle === 'none' || parseFloat(o.outlineWidth) < 2) && e.type !== 'date' ? 'unseen: ' + e.outerHTML.slice(0, 80) : '' })(document.activeElement)`); at != "" {
				require.Equal(t, "round", at, p)
				break
			}
		}
		left := b.JS(`[...document.querySelectorAll('button, a[href], select, input, textarea, summary, [tabindex="0"]')].filter(e => e.checkVisibility({contentVisibilityAuto: true}) && !e.closest('details:not([open]) > :not(summary)') && !e.disabled && !met.has(e)).map(e => e.outerHTML.slice(0, 80)).join('\n')`)
		assert.Empty(t, left, "%s: not reached by Tab", p)
	}
	b.Open(s.url+"/", 0, 0)
	there(b, "/")
	key := func(action string, long time.Duration, done bool) {
		n := len(s.requests())
		b.JS(fmt.Sprintf(`document.querySelector('button[data-request*="%s"]').focus(); ''`, action))
		b.Key("Enter", long)
		if done {
			require.NoError(t, poll(func() bool { r := s.requests(); return len(r) > n && r[n].Action == action }))
		} else {
			assert.Len(t, s.requests(), n, "%s wants to be kept pressed", action)
		}
	}
	key("finish", 0, true)
	key("ready", 0, false)
	key("ready", 1200*time.Millisecond, true)
}
