package report

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// browser starts a real Chromium, or skips with a sentence; under CI a missing browser fails.
func browser(t *testing.T) context.Context {
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
		t.Skip("no Chromium on this machine: the printed page is not tried; install Debian's package chromium to do it")
	}
	a, cancel := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox,
		chromedp.DisableGPU, chromedp.Flag("disable-component-update", true), chromedp.UserDataDir(t.TempDir()))...)
	t.Cleanup(cancel)
	ctx, cancel := chromedp.NewContext(a)
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 2*time.Minute)
	t.Cleanup(cancel)
	return ctx
}

// In a real browser the page asks for nothing but itself, fits a screen and a phone without being pushed sideways, and
// prints on sheets of A4 with both drawings.
func TestPageInARealBrowser(t *testing.T) {
	ctx := browser(t)
	file := filepath.Join(t.TempDir(), "air.html")
	require.NoError(t, os.WriteFile(file, []byte(written(t, sample())), 0o600))
	var foreign []string
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("about:blank")))
	require.NoError(t, chromedp.Listen(ctx, func(ev any) {
		if e, ok := ev.(*network.EventRequestWillBeSent); ok && !strings.HasPrefix(e.Request.URL, "file://"+file) {
			foreign = append(foreign, e.Request.URL)
		}
	}))
	for _, width := range []int64{1280, 794, 390} {
		require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, 900), chromedp.Navigate("file://"+file)))
		over, err := chromedp.Run(ctx, chromedp.Evaluate[float64](`document.documentElement.scrollWidth - document.documentElement.clientWidth`))
		require.NoError(t, err)
		assert.LessOrEqual(t, over, 1.0, "%d wide", width)
		drawn, err := chromedp.Run(ctx, chromedp.Evaluate[float64](`[...document.querySelectorAll("svg")].filter(s => s.getBoundingClientRect().height > 100).length`))
		require.NoError(t, err)
		assert.Equal(t, 2.0, drawn)
	}
	// no label runs out of its drawing
	out, err := chromedp.Run(ctx, chromedp.Evaluate[string](`[...document.querySelectorAll("svg text")].filter(t => { const a = t.getBBox(), v = t.ownerSVGElement.viewBox.baseVal;
		return a.width > 0 && (a.x < -1 || a.y < -1 || a.x + a.width > v.width + 1 || a.y + a.height > v.height + 1) }).map(t => t.textContent).join("; ")`))
	require.NoError(t, err)
	assert.Empty(t, out)
	assert.Empty(t, foreign)
	pdf, err := chromedp.Run(ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
	require.NoError(t, err)
	require.True(t, bytes.HasPrefix(pdf, []byte("%PDF-")))
	box := regexp.MustCompile(`/MediaBox ?\[ ?0 0 59[45][.0-9]* 84[12]`)
	assert.Regexp(t, box, string(pdf), "A4")
}
