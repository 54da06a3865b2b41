package panel

import (
	"cmp"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/controller"
	"ductwarden/controller/panel/browsertest"
)

// Two tablets and a phone. px20 is 20 mm on the glass of a tablet of that size (10.1 and 7 inches across); at3m is the
// height of letters that 16 minutes of arc ask for at three metres, with capitals 0.72 of it (NUREG-0700 rev. 2,
// 1.3.1-4, in a secondary copy).
var screens = []struct {
	name          string
	width, height int64
	px20, at3m    int
}{{"1280x800", 1280, 800, 118, 114}, {"800x480", 800, 480, 104, 101}, {"390x844", 390, 844, 0, 0}}

// there waits until a page shows what the stream has brought.
func there(b *browsertest.Browser, path string) {
	if path != "/login" {
		b.Until(`String([...document.querySelectorAll('[data-field=mode], [data-field="wall.state"]')].every(e => e.textContent !== '…'))`, "true")
	}
}

// logIn goes in with the password.
func (s *served) logIn(t *testing.T, b *browsertest.Browser) {
	t.Helper()
	s.setUp(t)
	b.Open(s.url+"/login", 0, 0)
	b.Fill("#word", "plenty of shavings")
	b.Key("Enter", 0)
	b.Until(`String(!!document.querySelector('.tree'))`, "true")
}

// Every page at every size: it can be read, nothing leaves the origin, nothing violates the policy, targets are big
// enough for a gloved hand. SHOTS names a folder for pictures of them.
func TestPagesInARealBrowser(t *testing.T) {
	t.Parallel()
	b := browsertest.Start(t)
	s := serve(t)
	code, err := s.store.NewCode()
	require.NoError(t, err)
	b.Open(s.url+"/", 1280, 800)
	b.Fill("#code", code)
	b.Fill("#password", "plenty of shavings")
	b.Key("Enter", 0)
	b.Until(`document.querySelector('#duct-trunk .speed')?.textContent ?? ''`, "18.4 m/s")
	for _, size := range screens {
		for _, p := range everyPage {
			b.Open(s.url+p, size.width, size.height)
			there(b, p)
			b.Keep(cmp.Or(strings.ReplaceAll(strings.Trim(p, "/"), "/", "-"), "shop") + "." + size.name)
			assert.Empty(t, b.Violations(), p)
			assert.Equal(t, "0", b.JS(`String(Math.max(0, document.documentElement.scrollWidth - innerWidth))`), "%s is pushed sideways at %s", p, size.name)
			if size.px20 == 0 {
				continue
			}
			small := b.JS(fmt.Sprintf(`[...document.querySelectorAll('button:not(.small), a.button')].filter(b => b.offsetParent).filter(b => { const r = b.getBoundingClientRect(); return r.width < %d || r.height < %d }).map(b => b.textContent + ' ' + Math.round(b.getBoundingClientRect().width) + 'x' + Math.round(b.getBoundingClientRect().height)).join(', ')`, size.px20, size.px20))
			assert.Empty(t, small, "%s at %s: targets of 20 mm", p, size.name)
			if p == "/wall" {
				for _, css := range []string{".state", ".big.fit"} {
					var px float64
					_, err := fmt.Sscan(b.JS(fmt.Sprintf(`String(parseFloat(getComputedStyle(document.querySelector('%s')).fontSize))`, css)), &px)
					require.NoError(t, err)
					assert.GreaterOrEqual(t, px, float64(size.at3m), "%s on the wall at %s", css, size.name)
				}
			}
		}
	}
	assert.Empty(t, b.Elsewhere(s.url), "no request leaves the origin")
}

// A daemon that has gone is seen within ten seconds, and one that comes back is found without a touch.
func TestNoDataAndBack(t *testing.T) {
	t.Parallel()
	b := browsertest.Start(t)
	s := serve(t)
	s.logIn(t, b)
	b.Open(s.url+"/wall", 800, 480)
	b.Until(`document.querySelector('[data-field="wall.state"]').textContent`, "running")
	address := strings.TrimPrefix(s.url, "http://")
	s.stop()
	gone := time.Now()
	b.Until(`String(document.getElementById('nodata').classList.contains('on'))`, "true")
	t.Logf("NO DATA %.1f s after the daemon went", time.Since(gone).Seconds())
	n := state()
	n.Mode = "halted"
	s.set(n)
	s.start(t, address)
	b.Until(`String(document.getElementById('nodata').classList.contains('on'))`, "false")
	b.Until(`document.querySelector('[data-field="wall.state"]').textContent`, "Halted")
}

// What a person does on the further pages: tick machines, shelve an alarm, write the file, tick a caution, jog.
func TestPagesAreWorkedInARealBrowser(t *testing.T) {
	t.Parallel()
	b := browsertest.Start(t)
	s := serve(t)
	s.panel.Shop.Rehearsal = false
	s.panel.API.MustRead = []string{"function", "starts"}
	s.logIn(t, b)
	assert.Equal(t, "false", b.JS(`String(!!document.querySelector('button[data-request*=ready]'))`), "Ready is not offered before the cautions are read")
	b.Open(s.url+"/setup", 1280, 800)
	b.Click("#check-function")
	b.Click("#check-starts")
	b.Until(`document.getElementById('unread').textContent`, "Everything is ticked: Ready is offered.")
	b.Fill("#newpin", "2718")
	b.Click("#pin button")
	b.Until(`document.getElementById('answer').textContent`, "The PIN is set.")
	b.Fill("#tokenname", hostile)
	b.Click("#token button")
	b.Until(`String(document.querySelectorAll('#tokens tr').length)`, "1")
	assert.Contains(t, b.JS(`document.getElementById('newtoken').textContent`), "shown only once")

	b.Open(s.url+"/", 0, 0)
	b.Hold("button[data-request*=ready]")
	require.NoError(t, poll(func() bool { r := s.requests(); return len(r) > 0 && r[len(r)-1].Action == "ready" }))
	n := len(s.requests())
	b.Click("button[data-request*=bin_emptied]")
	b.Hold("button[data-request*=filter_cleaned]")
	require.NoError(t, poll(func() bool { return len(s.requests()) > n }))
	assert.Equal(t, "filter_cleaned", s.requests()[n].Action, "a touch does nothing where a button wants to be kept pressed")

	b.Open(s.url+"/alarms", 0, 0)
	b.Until(`String(document.querySelectorAll('#alarmlist tr').length)`, "1")
	b.Click("#alarmlist button:nth-of-type(2)")
	b.Fill("#shelfwhy", "the sander is being mended")
	b.Click("#shelf button[value=shelve]")
	require.NoError(t, poll(func() bool { r := s.requests(); return r[len(r)-1].Action == "shelve" }))
	assert.Equal(t, "1h the sander is being mended", s.requests()[len(s.requests())-1].Value)

	b.Open(s.url+"/air", 0, 0)
	b.Click("#whatif input[value=saw]")
	b.Until(`document.querySelector('#plan .why b')?.textContent ?? ''`, "saw: creeps")
	assert.Contains(t, b.JS(`document.getElementById('plan').textContent`), "a smooth hose")

	b.Open(s.url+"/setup/file", 0, 0)
	b.Until(`document.getElementById('text').value.split('\n')[0]`, "version: 1")
	b.JS(`(t => { t.value = 'version: 1\nshop: wrong\n'; t.dispatchEvent(new Event('input')); return '' })(document.getElementById('text'))`)
	b.Until(`document.querySelector('#problems button')?.textContent ?? ''`, "line 2:7")
	assert.Equal(t, "▶2\n", b.JS(`document.querySelector('#numbers .bad').textContent`))
	assert.Contains(t, b.JS(`document.getElementById('diff').textContent`), "- shop: Reed")
	b.Hold("#save")
	b.Until(`document.getElementById('filesaid').textContent`, "it is not saved: put right what is marked first")
	b.JS(`(t => { t.value = 'version: 1\nshop: Rush\n'; t.dispatchEvent(new Event('input')); return '' })(document.getElementById('text'))`)
	b.Hold("#save")
	b.Until(`document.getElementById('filesaid').textContent.slice(0, 5)`, "saved")
	text, _ := s.panel.API.File.Text()
	assert.Equal(t, "version: 1\nshop: Rush\n", string(text))

	b.Open(s.url+"/setup/bench", 0, 0)
	b.Until(`String(document.querySelectorAll('#channels tr').length)`, "2")
	b.Click("#learn button")
	b.Until(`document.getElementById('answer').textContent`, "the shop is on duty: halt it first")
	b.Click("#jog button")
	b.Until(`String(document.querySelectorAll('#benchcautions li').length > 1)`, "true")
	b.Hold("#benchacts button")
	b.Until(`document.querySelector('#benchfigures td')?.textContent ?? ''`, "1500 µs")
	assert.Equal(t, "accept", s.panel.API.Bench.(*fakeBench).last().Action)

	b.Open(s.url+"/setup/air", 0, 0)
	b.Until(`String(document.querySelectorAll('#rows tr').length)`, "3")
	b.JS(`(() => { const f = n => document.querySelector('#rows [name=' + n + ']'); f('open').options[0].selected = true; f('place').value = 'saw'; f('value').value = '23.4 m/s'; return '' })()`)
	b.Click("#fit button[value=try]")
	b.Until(`document.querySelector('#fits td')?.textContent ?? ''`, "saw")
	assert.Empty(t, b.Violations())
	assert.Empty(t, b.Elsewhere(s.url))
}

// The list of alarms says where each is in its life, what it comes from and what follows, and which came first; on a
// small screen its rows become cards that nothing is cut off from and that a screen reader still takes for a table.
func TestAlarmsAndTablesOnASmallScreen(t *testing.T) {
	t.Parallel()
	b := browsertest.Start(t)
	s := serve(t)
	n := state()
	n.Alarms = append(n.Alarms,
		controller.AlarmSnapshot{Key: "gate_moved/lathe", Text: "gate lathe was moved", ToDo: "look", Priority: "low", Active: true, State: "acknowledged", Acknowledged: true},
		controller.AlarmSnapshot{Key: "filter_loaded/collector", Text: "the filter is loaded", ToDo: "clean it", Priority: "low", State: "returned"},
		controller.AlarmSnapshot{Key: "bin_full/collector", Text: "the bin is full", ToDo: "empty it", Priority: "low", Active: true, State: "shelved", Reason: "the lid is being mended", LeftMS: 600000})
	s.set(n)
	s.logIn(t, b)
	b.Open(s.url+"/alarms", 390, 844)
	b.Until(`[...document.querySelectorAll('#alarmlist td:nth-child(4)')].map(e => e.firstChild.textContent).join()`, "stands,acknowledged,gone, not acknowledged,put away")
	said := b.JS(`document.getElementById('alarmlist').textContent`)
	for _, want := range []string{"Usually: a hose too rough", "If nobody acts: chips settle", "the lid is being mended", "back in 10 min"} {
		assert.Contains(t, said, want)
	}
	assert.Equal(t, 1, strings.Count(said, "came first"))
	assert.Equal(t, "2", b.JS(`String(document.querySelectorAll('#alarmlist button[data-request*=acknowledge]').length)`), "what stands or has gone unseen, not what is known or put away")
	assert.Equal(t, "2 to acknowledge", b.JS(`document.querySelector('[data-field="alarms.count"]').textContent`))
	for _, p := range []string{"/alarms", "/", "/table"} {
		for _, size := range screens {
			b.Open(s.url+p, size.width, size.height)
			there(b, p)
			assert.Empty(t, b.JS(`[...document.querySelectorAll('main table.cards tbody :is(td, th, button)')].filter(e => e.offsetParent && e.getBoundingClientRect().right > innerWidth).map(e => e.textContent).join('; ')`), "%s at %s: cut off at the edge", p, size.name)
			roles := b.Roles()
			assert.Equal(t, b.JS(`String([...document.querySelectorAll('main table')].filter(e => e.getClientRects().length).length)`), fmt.Sprint(roles["table"]), "%s at %s: %v", p, size.name, roles)
			assert.Equal(t, b.JS(`String([...document.querySelectorAll('main tr')].filter(e => e.getClientRects().length).length)`), fmt.Sprint(roles["row"]), "%s at %s: %v", p, size.name, roles)
		}
	}
}

// The suction at each tap stands beside what the model allows, and each clamp's input shows what it knows of itself.
func TestTapsAndInputsAreShown(t *testing.T) {
	t.Parallel()
	b := browsertest.Start(t)
	s := serve(t)
	s.logIn(t, b)
	b.Open(s.url+"/table", 1280, 800)
	b.Until(`[...document.querySelectorAll('#taps tr')].map(r => [...r.cells].map(c => c.textContent).join('|')).join(';')`, "inlet|612 Pa|540 Pa … 700 Pa|good;filter|||no reading: look at its hose and wires")
	b.Open(s.url+"/setup", 1280, 800)
	b.Until(`[...document.querySelectorAll('#inputs tr')].map(r => [...r.cells].map(c => c.textContent).join('|')).join(';')`, "adc/0|bench saw|1.650 V|0.020 A|3|0|good")
}

// poll waits for something of ours.
func poll(ok func() bool) error {
	for end := time.Now().Add(60 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if ok() {
			return nil
		}
	}
	return fmt.Errorf("it did not happen within a minute")
}
