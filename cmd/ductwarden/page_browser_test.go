package main

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
	"ductwarden/controller/loop"
	"ductwarden/controller/panel/access"
	"ductwarden/controller/panel/browsertest"
)

// staging is a rehearsed shop with its page, in which things are done while it runs.
type staging struct {
	*theatre
	page *servedPage
	todo chan func(*theatre)
	end  func()
}

// stage raises the boat shed with its page at an address.
func stage(t *testing.T, address string, store *access.Store) *staging {
	t.Helper()
	return stageIn(t, address, store, "")
}

// stageIn is stage in the language of a file.
func stageIn(t *testing.T, address string, store *access.Store, texts string) *staging {
	t.Helper()
	file, err := config.Parse("the boat shed", bytes.NewReader(demoShop))
	require.NoError(t, err)
	file.Page.Listen, file.Page.Texts = address, texts
	file.Journal.Path = filepath.Join(t.TempDir(), "journal.db")
	book := openJournal(file, slog.New(slog.DiscardHandler))
	require.NotNil(t, book)
	th, err := newTheatreTold(t.Context(), file, 1, loop.OrderlyEnd, book)
	require.NoError(t, err)
	s := &staging{theatre: th, todo: make(chan func(*theatre), 16)}
	var look func() // on the shop's own lane: it is for one goroutine
	look = func() {
		select {
		case do := <-s.todo:
			do(th)
		default:
		}
		th.sim.At(th.clock.Now()+100*time.Millisecond, look)
	}
	th.sim.At(th.clock.Now(), look)
	th.furnish(store, th.paper, book)
	s.page, err = servePage(th.daemon, pageParts{rehearsal: true})
	require.NoError(t, err)
	book.follow(t.Context(), th.loop)
	ctx, cancel := context.WithCancel(t.Context())
	var all sync.WaitGroup
	th.clock.SetSpeed(6)
	all.Go(func() { _ = th.clock.Run(ctx) })
	var once sync.Once
	s.end = func() { once.Do(func() { cancel(); s.page.Close(); all.Wait(); book.Close() }) }
	t.Cleanup(s.end)
	return s
}

// shoot keeps pictures of pages at every size in the folder that SHOTS names, for people to look at.
func shoot(t *testing.T, b *browsertest.Browser, url, when string, pages ...string) {
	t.Helper()
	if os.Getenv("SHOTS") == "" {
		return
	}
	for _, p := range pages {
		for _, size := range [][2]int64{{1280, 800}, {800, 480}, {390, 844}} {
			b.Open(url+p, size[0], size[1])
			b.Until(`String([...document.querySelectorAll('[data-field=mode], [data-field="wall.state"]')].every(e => e.textContent !== '…'))`, "true")
			b.Keep(fmt.Sprintf("boatshed-%s.%s.%dx%d", when, cmp.Or(strings.ReplaceAll(strings.Trim(p, "/"), "/", "-"), "shop"), size[0], size[1]))
		}
	}
}

// The whole way of a newcomer, in a real browser against the whole daemon and the simulated shop.
func TestNewcomersWay(t *testing.T) {
	t.Parallel()
	b := browsertest.Start(t)
	store, err := access.Open("", time.Now)
	require.NoError(t, err)
	s := stage(t, "127.0.0.1:0", store)
	url := strings.TrimSuffix(s.page.URL, "/")

	// Set-up code, password.
	b.Open(url+"/", 1280, 800)
	b.Fill("#code", s.page.Code)
	b.Fill("#password", "plenty of shavings")
	b.Key("Enter", 0)
	b.Until(`String(!!document.querySelector('.tree'))`, "true")

	// Ready; a machine starts, its gate opens, the air rises.
	b.Until(`document.querySelector('header .mode').textContent`, "Standing by")
	b.Hold(`button[data-request*=ready]`)
	b.Until(`document.querySelector('header .mode').textContent`, "On duty")
	s.todo <- starts("thickness planer", 0.5)
	b.Until(`document.querySelector('[data-field="machine.thickness-planer.state"]').textContent`, "running")
	b.Until(`String(document.getElementById('gate-planer').classList.contains('open'))`, "true")
	b.Until(`String(parseFloat(document.querySelector('#duct-trunk .speed').textContent) > 15)`, "true")
	b.Until(`document.querySelector('[data-field="collector.collector.phase"]').textContent`, "running")

	shoot(t, b, url, "running", "/", "/wall", "/table")
	b.Open(url+"/", 1280, 800)

	// Hold a gate open; give it back.
	b.Hold(`button[data-request*='"hold_gate","target":"sweep"']`)
	b.Until(`document.querySelector('[data-field="gate.sweep.role"]').textContent`, "held by a person")
	b.Hold(`#gaterow-sweep button[data-request*=automatic]`)

	// The bin's lid falls open: an alarm stands, and is acknowledged.
	s.todo <- func(th *theatre) { th.sim.OpenBin(0, true) }
	b.Open(url+"/alarms", 0, 0)
	b.Until(`document.querySelector('#alarmlist td:nth-child(4)')?.textContent ?? ''`, "stands")
	b.Click(`#alarmlist button`)
	b.Until(`document.querySelector('#alarmlist td:nth-child(4)')?.textContent ?? ''`, "acknowledged")
	s.todo <- func(th *theatre) { th.sim.OpenBin(0, false) }
	s.todo <- stops("thickness planer")

	// What if: the survey of this very shop.
	b.Open(url+"/air", 0, 0)
	b.Click(`#whatif input[value=lathe]`)
	b.Until(`document.querySelector('#plan .why b')?.textContent.split(':')[0] ?? ''`, "lathe")
	b.Until(`String(document.querySelectorAll('.airsheet .matrix td').length > 30)`, "true")

	// Learn a machine: the shop is halted first, then the page asks and the rehearsal's hands switch.
	b.Open(url+"/", 0, 0)
	b.Click(`button[data-request*=halt]`)
	b.Until(`document.querySelector('header .mode').textContent`, "Halted")
	b.Open(url+"/setup/bench", 0, 0)
	b.JS(`document.getElementById('learnwhat').value = 'lathe'; ''`)
	b.Click("#learn button")
	b.Until(`document.getElementById('answer').textContent.includes('no clamp') + ''`, "true")
	b.JS(`document.getElementById('learnwhat').value = 'router'; ''`)
	b.Click("#learn button")
	b.Until(`String(document.querySelectorAll('#benchcautions li').length > 2)`, "true")
	b.Hold("#benchacts button")
	for end := time.Now().Add(2 * time.Minute); time.Now().Before(end) && b.JS(`String(!document.getElementById('benchdiff').hidden)`) != "true"; time.Sleep(300 * time.Millisecond) {
		b.JS(`(n => { if (n && n.textContent === 'Done, next') n.click(); return '' })(document.querySelector('#benchacts button'))`)
	}
	assert.Contains(t, b.JS(`document.getElementById('benchdiff').textContent`), "running:")
	assert.Equal(t, "1", b.JS(`String(document.querySelectorAll('#benchplot svg').length)`))
	b.Hold(`#benchacts button:nth-last-of-type(2)`)
	b.Until(`String([...document.querySelectorAll('#benchacts button')].some(x => x.textContent.startsWith('Write')))`, "false")
	b.Click(`#benchacts button:last-of-type`)

	// A wrong shop file is shown with its line; what was learnt stands in it.
	b.Open(url+"/setup/file", 0, 0)
	b.Until(`String(document.getElementById('text').value.includes('name: trunk'))`, "true")
	line := b.JS(`String(document.getElementById('text').value.split('\n').findIndex(l => l.includes('name: trunk')) + 1)`)
	b.JS(`(t => { t.value = t.value.replace('diameter: 150 mm', 'diameter: 150 kg'); t.dispatchEvent(new Event('input')); return '' })(document.getElementById('text'))`)
	b.Until(`document.querySelector('#problems button')?.textContent.split(':')[0] ?? ''`, "line "+line)
	assert.Contains(t, b.JS(`document.getElementById('problems').textContent`), "150 kg")
	b.JS(`(t => { t.value = t.value.replace('diameter: 150 kg', 'diameter: 150 mm'); t.dispatchEvent(new Event('input')); return '' })(document.getElementById('text'))`)
	b.Until(`document.getElementById('filesaid').textContent`, "The file is in order.")

	// The day is in the history.
	b.Open(url+"/history", 0, 0)
	b.Until(`String(document.querySelectorAll('.strips').length > 2)`, "true")
	assert.Contains(t, b.JS(`document.querySelector('main').textContent`), "set up")
	shoot(t, b, url, "after", "/", "/alarms", "/air", "/history", "/setup", "/setup/bench", "/setup/air", "/setup/file", "/cautions")
	assert.Empty(t, b.Violations())
	assert.Empty(t, b.Elsewhere(url))

	// The daemon stops: NO DATA. It comes back: recovered without a touch.
	b.Open(url+"/wall", 800, 480)
	b.Until(`document.querySelector('[data-field="wall.state"]').textContent`, "Halted")
	s.end()
	b.Until(`String(document.getElementById('nodata').classList.contains('on'))`, "true")
	again := stage(t, strings.TrimPrefix(url, "http://"), store)
	b.Until(`String(document.getElementById('nodata').classList.contains('on'))`, "false")
	b.Until(`document.querySelector('[data-field="wall.state"]').textContent`, "Standing by")
	again.end()
}
