package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller/panel"
	"ductwarden/controller/panel/access"
	"ductwarden/controller/panel/browsertest"
)

// ringed writes every letter in a ring, so that what was not translated is seen at once. What stands in braces stays.
func ringed(s string) string {
	var b strings.Builder
	braces := 0
	for _, r := range s {
		switch {
		case r == '{':
			braces++
		case r == '}':
			braces--
		}
		switch {
		case braces == 0 && r >= 'a' && r <= 'z':
			b.WriteRune('ⓐ' + r - 'a')
		case braces == 0 && r >= 'A' && r <= 'Z':
			b.WriteRune('Ⓐ' + r - 'A')
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// englishWord finds what is still written in plain letters.
var englishWord = regexp.MustCompile(`[A-Za-z]{3,}`)

// One file makes the whole page another language: with a catalogue of ringed letters no page shows an English word but
// the shop's own names, units and what is written in a shop file.
func TestAnotherLanguageIsOneFile(t *testing.T) {
	t.Parallel()
	other := panel.English()
	for key, s := range other {
		if key != "lang" {
			other[key] = ringed(s)
		}
	}
	text, err := json.Marshal(other)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "texts.json")
	require.NoError(t, os.WriteFile(path, text, 0o600))
	code, out, stderr := spoken(t, t.Context(), "texts", path)
	require.Equal(t, exitDone, code, stderr)
	assert.Contains(t, out, "can be used; 0 of ")

	b := browsertest.Start(t)
	store, err := access.Open("", time.Now)
	require.NoError(t, err)
	s := stageIn(t, "127.0.0.1:0", store, path)
	url := strings.TrimSuffix(s.page.URL, "/")
	own := map[string]bool{}
	for _, word := range strings.FieldsFunc(string(demoShop), func(r rune) bool { return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z') }) {
		own[word] = true // a name, or a word of the shop file
	}
	for _, unit := range strings.Fields("uPa pca ads fpm cfm inH min http local GPIO csv json CSV JSON NEMA ACGIH DGUV TRGS EPANET Crane Colebrook White Sutherland Reynolds USA Atmosphere") {
		own[unit] = true
	}
	english := func(page string) []string {
		var left []string
		said := b.JS(`(() => { const all = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), out = [];
			for (let n = all.nextNode(); n; n = all.nextNode()) if (!n.parentElement.closest('#texts, #sentences, script, style, pre, textarea')) out.push(n.data);
			for (const e of document.querySelectorAll('[aria-label], [title]')) out.push(e.getAttribute('aria-label') ?? '', e.getAttribute('title') ?? '');
			return out.filter(Boolean).join('\n') })()`)
		for _, line := range strings.Split(said, "\n") {
			for _, word := range englishWord.FindAllString(line, -1) {
				if !own[word] && !own[strings.ToLower(word)] {
					left = append(left, word+": "+strings.TrimSpace(line))
				}
			}
		}
		slices.Sort(left)
		return slices.Compact(left)
	}
	clean := func(page string) {
		t.Helper()
		b.Until(`document.readyState`, "complete")
		assert.Empty(t, english(page), page)
	}

	b.Open(url+"/", 1280, 800)
	clean("/login")
	b.Fill("#code", "wrong-code")
	b.Fill("#password", "plenty of shavings")
	b.Key("Enter", 0)
	b.Until(`String(!!document.querySelector('.problem'))`, "true")
	clean("/login, refused")
	b.Fill("#code", s.page.Code)
	b.Fill("#password", "plenty of shavings")
	b.Key("Enter", 0)
	b.Until(`String(!!document.querySelector('.tree'))`, "true")
	b.Until(`document.querySelector('header .mode').textContent`, ringed("Standing by"))
	b.Hold(`button[data-request*=ready]`)
	b.Until(`document.querySelector('header .mode').textContent`, ringed("On duty"))
	s.todo <- starts("thickness planer", 0.5)
	b.Until(`document.querySelector('[data-field="collector.collector.phase"]').textContent`, ringed("running"))
	s.todo <- func(th *theatre) { th.sim.OpenBin(0, true) }
	b.Open(url+"/alarms", 0, 0)
	b.Until(`document.querySelector('#alarmlist td:nth-child(4)')?.textContent ?? ''`, ringed("stands"))
	for _, p := range []string{"/alarms", "/", "/wall", "/table", "/cautions", "/history", "/setup", "/setup/air", "/setup/bench", "/setup/file"} {
		b.Open(url+p, 1280, 800)
		if p == "/history" { // the alarm, and what was asked, are written beside the control
			require.Eventually(t, func() bool {
				b.Open(url+p, 0, 0)
				return b.JS(`String(document.querySelectorAll('.told').length)`) == "2"
			}, time.Minute, 300*time.Millisecond)
		}
		if p != "/cautions" {
			b.Until(`String([...document.querySelectorAll('[data-field=mode], [data-field="wall.state"]')].every(e => e.textContent !== '…'))`, "true")
		}
		clean(p)
	}
	b.Open(url+"/air", 1280, 800)
	b.Click(`#whatif input[value=lathe]`)
	b.Click(`#whatif input[value=jointer]`)
	b.Until(`String((document.querySelector('#plan .why b')?.textContent ?? '').includes('+'))`, "true")
	b.Until(`String(document.querySelectorAll('.airsheet .matrix td').length > 30)`, "true")
	clean("/air")

	// What is said about a wrong shop file, a machine that cannot be learnt, and one that can.
	b.Open(url+"/setup/file", 1280, 800)
	b.Until(`String(document.getElementById('text').value.includes('name: trunk'))`, "true")
	for from, to := range map[string]string{"diameter: 150 mm": "diameter: 150 kg", "into: collector,": "into: nowhere,", "name: trunk": "nome: trunk"} {
		b.JS(`(t => { t.value = t.value.replace('` + from + `', '` + to + `'); t.dispatchEvent(new Event('input')); return '' })(document.getElementById('text'))`)
		b.Until(`String(document.querySelectorAll('#problems button').length > 0)`, "true")
		own["nome"], own["nowhere"] = true, true
		clean("/setup/file, " + to)
		b.JS(`(t => { t.value = t.value.replace('` + to + `', '` + from + `'); t.dispatchEvent(new Event('input')); return '' })(document.getElementById('text'))`)
		b.Until(`String(document.querySelectorAll('#problems button').length)`, "0")
	}
	b.Open(url+"/", 0, 0)
	s.todo <- stops("thickness planer")
	b.Click(`button[data-request*=halt]`)
	b.Until(`document.querySelector('header .mode').textContent`, ringed("Halted"))
	clean("/, halted")
	b.Open(url+"/setup/bench", 0, 0)
	b.JS(`document.getElementById('learnwhat').value = 'lathe'; ''`)
	b.Click("#learn button")
	b.Until(`String(document.getElementById('answer').textContent !== '')`, "true")
	clean("/setup/bench, refused")
	b.JS(`document.getElementById('learnwhat').value = 'router'; ''`)
	b.Click("#learn button")
	b.Until(`String(document.querySelectorAll('#benchcautions li').length > 2)`, "true")
	clean("/setup/bench, cautions")
	b.Hold("#benchacts button")
	b.Until(`String(document.getElementById('benchsay').textContent.length > 40)`, "true")
	clean("/setup/bench, learning")
}
