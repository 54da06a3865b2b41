// Package browsertest starts a real Chromium for tests of pages, and looks at what it shows and does.
package browsertest

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// Browser is one tab.
type Browser struct {
	Ctx context.Context
	t   testing.TB

	mu      sync.Mutex
	asked   []string // addresses of all requests
	patient time.Duration
}

// Start opens a tab, or skips with a sentence where there is no browser; under CI a missing one fails.
func Start(t testing.TB) *Browser {
	t.Helper()
	path := ""
	for _, n := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(n); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		if os.Getenv("CI") == "true" {
			t.Fatal("no Chromium found: install Debian's package chromium")
		}
		t.Skip("no Chromium on this machine: the page is not tried in a browser; install Debian's package chromium to do it")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.UserDataDir(t.TempDir()))
	a, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(cancel)
	ctx, cancel := chromedp.NewContext(a)
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 5*time.Minute)
	t.Cleanup(cancel)
	b := &Browser{Ctx: ctx, t: t, patient: 60 * time.Second}
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("about:blank")))
	require.NoError(t, chromedp.Listen(ctx, func(ev any) {
		if e, ok := ev.(*network.EventRequestWillBeSent); ok {
			b.mu.Lock()
			b.asked = append(b.asked, e.Request.URL)
			b.mu.Unlock()
		}
	}))
	// Reports of the page's own policy gather in the page itself, where Violations finds them.
	_, err := chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{
		Source: `window.violated = []; addEventListener('securitypolicyviolation', e => violated.push(e.violatedDirective + ' ' + e.blockedURI + ' ' + e.sample)); addEventListener('error', e => violated.push('error: ' + e.message))`})
	require.NoError(t, err)
	return b
}

// Open goes to an address in a window of a size; 0 leaves it as it is.
func (b *Browser) Open(address string, width, height int64) {
	b.t.Helper()
	if width > 0 {
		require.NoError(b.t, chromedp.Do(b.Ctx, chromedp.EmulateViewport(width, height)))
	}
	require.NoError(b.t, chromedp.Do(b.Ctx, chromedp.Navigate(address)))
}

// JS evaluates an expression that gives a text.
func (b *Browser) JS(expression string) string {
	b.t.Helper()
	v, err := chromedp.Run(b.Ctx, chromedp.Evaluate[string](expression))
	require.NoError(b.t, err, expression)
	return v
}

// Until polls an expression until it gives the text.
func (b *Browser) Until(expression, want string) {
	b.t.Helper()
	got := ""
	for end := time.Now().Add(b.patient); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if got = b.JS(expression); got == want {
			return
		}
	}
	require.Fail(b.t, fmt.Sprintf("%s stayed %q, wanted %q", expression, got, want))
}

// Fill types into a field.
func (b *Browser) Fill(css, text string) {
	b.t.Helper()
	require.NoError(b.t, chromedp.Do(b.Ctx, chromedp.WaitVisible(chromedp.CSS(css)), chromedp.SendKeys(chromedp.CSS(css), text)))
}

// Type types where the focus is.
func (b *Browser) Type(text string) {
	b.t.Helper()
	_, err := chromedp.Call(b.Ctx, input.InsertText, input.InsertTextParams{Text: text})
	require.NoError(b.t, err)
}

// Click clicks the middle of an element.
func (b *Browser) Click(css string) { b.press(css, 0) }

// Hold keeps an element pressed for as long as a button wants that starts something.
func (b *Browser) Hold(css string) { b.press(css, 1100*time.Millisecond) }

func (b *Browser) press(css string, long time.Duration) {
	b.t.Helper()
	require.NoError(b.t, chromedp.Do(b.Ctx, chromedp.WaitVisible(chromedp.CSS(css))))
	var x, y float64
	_, err := fmt.Sscan(b.JS(fmt.Sprintf(`(() => { const e = document.querySelector(%q); e.scrollIntoView({block: 'center'}); const r = e.getBoundingClientRect(); return (r.left + r.width / 2) + ' ' + (r.top + r.height / 2) })()`, css)), &x, &y)
	require.NoError(b.t, err)
	b.mouse(chromedp.MousePressed, x, y)
	time.Sleep(long) // the press itself takes its time
	b.mouse(chromedp.MouseReleased, x, y)
}

func (b *Browser) mouse(kind input.DispatchMouseEventType, x, y float64) {
	b.t.Helper()
	_, err := chromedp.Call(b.Ctx, input.DispatchMouseEvent, input.DispatchMouseEventParams{Type: kind, X: x, Y: y, Button: input.MouseButtonLeft, ClickCount: 1})
	require.NoError(b.t, err)
}

// Key presses a key (Tab, Enter) for a while.
func (b *Browser) Key(name string, long time.Duration) {
	b.t.Helper()
	code := map[string]int64{"Tab": 9, "Enter": 13}[name]
	key := func(kind input.DispatchKeyEventType) {
		p := input.DispatchKeyEventParams{Type: kind, Key: name, Code: name, WindowsVirtualKeyCode: code}
		if name == "Enter" {
			p.Text = "\r"
		}
		_, err := chromedp.Call(b.Ctx, input.DispatchKeyEvent, p)
		require.NoError(b.t, err)
	}
	key(input.DispatchKeyEventTypeKeyDown)
	time.Sleep(long)
	key(input.DispatchKeyEventTypeKeyUp)
}

// shot is a picture of the whole page.
func (b *Browser) shot() []byte {
	b.t.Helper()
	png, err := chromedp.Run(b.Ctx, chromedp.FullScreenshot(100))
	require.NoError(b.t, err)
	return png
}

// Roles counts what a screen reader is told, by role: "table", "row", "cell", "button" and so on.
func (b *Browser) Roles() map[string]int {
	b.t.Helper()
	tree, err := chromedp.Call(b.Ctx, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
	require.NoError(b.t, err)
	out := map[string]int{}
	for _, n := range tree.Nodes {
		if n.Role != nil && !n.Ignored {
			out[strings.Trim(string(n.Role.Value), `"`)]++
		}
	}
	return out
}

// Keep puts a picture of the page into the folder that SHOTS names, if it does, for people to look at.
func (b *Browser) Keep(name string) {
	b.t.Helper()
	dir := os.Getenv("SHOTS")
	if dir == "" {
		return
	}
	require.NoError(b.t, os.MkdirAll(dir, 0o755))
	require.NoError(b.t, os.WriteFile(filepath.Join(dir, name+".png"), b.shot(), 0o644))
}

// Elsewhere lists requests that left an origin.
func (b *Browser) Elsewhere(origin string) (out []string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, u := range b.asked {
		if !strings.HasPrefix(u, origin) && !strings.HasPrefix(u, "data:") && u != "about:blank" {
			out = append(out, u)
		}
	}
	return out
}

// Violations are what the present page did against its own policy, and its script's errors.
func (b *Browser) Violations() string { return b.JS(`(window.violated ?? ['no watcher']).join('\n')`) }
