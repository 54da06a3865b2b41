package main

import (
	"bufio"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// trace is a recording: rising times and instantaneous current, rounded to 1 mA so that every processor sees the
// same whole numbers.
type trace struct {
	at []time.Duration
	mA []int32
}

func (t *trace) end() time.Duration { return t.at[len(t.at)-1] }

// Bounds of a recording.
const (
	mostSamples  = 20_000_000
	mostAmperes  = 1000
	longestTrace = 24 * time.Hour
)

// readTrace reads CSV with the header t_s,current_a.
func readTrace(path string) (*trace, error) {
	f, err := openFile(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	t := &trace{}
	lines := bufio.NewScanner(f)
	lines.Buffer(make([]byte, 0, 4096), 64<<10)
	n := 0
	bad := func(format string, a ...any) error {
		return fmt.Errorf("%s:%d: %s; a recording is CSV with the header t_s,current_a, seconds rising and amperes", path, n, fmt.Sprintf(format, a...))
	}
	for lines.Scan() {
		n++
		text := strings.TrimSpace(strings.TrimPrefix(lines.Text(), "\ufeff"))
		if n == 1 {
			if strings.ReplaceAll(text, " ", "") != "t_s,current_a" {
				return nil, bad("the header is %q", clip(text, 40))
			}
			continue
		}
		if text == "" {
			continue
		}
		a, b, ok := strings.Cut(text, ",")
		if !ok || strings.Contains(b, ",") {
			return nil, bad("the line has not two columns")
		}
		sec, err1 := strconv.ParseFloat(strings.TrimSpace(a), 64)
		amp, err2 := strconv.ParseFloat(strings.TrimSpace(b), 64)
		switch {
		case err1 != nil || math.IsNaN(sec) || sec < 0 || sec > longestTrace.Seconds():
			return nil, bad("%q is not a time from 0 to %g s", clip(a, 20), longestTrace.Seconds())
		case err2 != nil || math.IsNaN(amp) || math.Abs(amp) > mostAmperes:
			return nil, bad("%q is not a current up to %d A", clip(b, 20), mostAmperes)
		}
		at := time.Duration(math.Round(sec * 1e9))
		if len(t.at) > 0 && at <= t.at[len(t.at)-1] {
			return nil, bad("the time %s does not rise", clip(a, 20))
		}
		if len(t.at) >= mostSamples {
			return nil, bad("there are more than %d samples", mostSamples)
		}
		t.at = append(t.at, at)
		t.mA = append(t.mA, int32(math.Round(amp*1000)))
	}
	if err := lines.Err(); err != nil {
		n++
		return nil, bad("the line cannot be read: %v", err)
	}
	if len(t.at) == 0 {
		return nil, bad("there is no sample")
	}
	return t, nil
}

func clip(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n]) + "…"
	}
	return s
}
