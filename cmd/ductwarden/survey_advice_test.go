package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// rewrite changes a shop file and writes it anew.
func rewrite(t *testing.T, path, old, now string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Contains(t, string(b), old)
	out := filepath.Join(t.TempDir(), "new.yaml")
	require.NoError(t, os.WriteFile(out, []byte(strings.Replace(string(b), old, now, 1)), 0o600))
	return out
}

// The way that a person goes: read the advice, change the file, survey again, and it carries.
func TestAdviceFollowedMends(t *testing.T) {
	path := writeShop(t, "metric", "27 m/s", "")
	code, out, _ := runSurvey(t, path, "--json")
	require.Equal(t, exitNo, code)
	r := readSurvey(t, out)
	require.NotEmpty(t, r.Advice)
	followed := 0
	for _, a := range r.Advice {
		if !a.Asked {
			continue
		}
		for _, m := range a.Remedies {
			if m.Kind != "duct_size" || len(m.Sizes) != 1 {
				continue
			}
			c := m.Sizes[0]
			changed := rewrite(t, path, fmt.Sprintf("name: %s, into: %s, diameter: %.0f mm", c.Duct, map[string]string{"trunk": "collector"}[c.Duct]+map[bool]string{true: "", false: "trunk"}[c.Duct == "trunk"], c.FromM*1000),
				fmt.Sprintf("name: %s, into: %s, pipe: %s", c.Duct, map[bool]string{true: "collector", false: "trunk"}[c.Duct == "trunk"], c.Pipe))
			_, out, stderr := runSurvey(t, changed, "--json", "--advice", "none")
			require.Empty(t, stderr)
			for _, d := range readSurvey(t, out).Demands {
				if fmt.Sprint(d.Machines) == fmt.Sprint(a.Machines) && d.Filter == "loaded" && !contains(d.Open, "bench") {
					assert.True(t, d.Carries, "%v with %s", a.Machines, c.Pipe)
					followed++
				}
			}
		}
	}
	assert.Positive(t, followed)
}

func TestAdviceInWords(t *testing.T) {
	path := writeShop(t, "metric", "27 m/s", "together: [[table saw, sander]]")
	_, out, _ := runSurvey(t, path)
	for _, want := range []string{"What fails, why, and what would mend it", "EN 1506", "a fan that makes", "the air does not carry", "mm inside, now", "must not turn faster", "cube of the speed", "times the power"} {
		assert.True(t, strings.Contains(out, want), "%s in:\n%s", want, out)
	}
	_, us, _ := runSurvey(t, writeShop(t, "us", "27 m/s", ""))
	assert.NotRegexp(t, `\d (m3/h|Pa|m/s)\b`, us)
	_, out, _ = runSurvey(t, path, "--advice", "none")
	assert.Contains(t, out, "What fails, and why:")
	assert.NotContains(t, out, "mend:")
	assert.NotContains(t, out, "cube of the speed")
	code, _, stderr := runSurvey(t, path, "--advice", "some")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, stderr, "--advice all or --advice none")
}

// Where nothing mends a demand it is said, and how near the best came.
func TestNoAdviceIsSaid(t *testing.T) {
	path := rewrite(t, writeShop(t, "metric", "35 m/s", ""), "pressure: 2400 Pa}", "pressure: 240 Pa}")
	path = rewrite(t, path, "pressure: 2200 Pa}", "pressure: 220 Pa}")
	path = rewrite(t, path, "pressure: 1500 Pa}", "pressure: 150 Pa}")
	path = rewrite(t, path, "pressure: 200 Pa}\n    filter", "pressure: 20 Pa}\n    filter")
	code, out, _ := runSurvey(t, path)
	assert.Equal(t, exitNo, code)
	assert.Contains(t, out, "nothing that was tried mends it")
	_, out, _ = runSurvey(t, path, "--json")
	for _, a := range readSurvey(t, out).Advice {
		assert.NotNil(t, a.Remedies)
	}
}

func TestMakeUpAir(t *testing.T) {
	path := writeShop(t, "metric", "18 m/s", "")
	_, out, _ := runSurvey(t, path)
	assert.NotContains(t, out, "Make-up air")
	away := rewrite(t, path, "    filter:\n", "    discharge: outdoors\n    filter:\n")
	_, out, _ = runSurvey(t, away)
	assert.Regexp(t, `collector blows outdoors\. With table saw.* it takes up to \d+ m3/h out of the room`, out)
	assert.Contains(t, out, "for every 10 K that it is colder outside")
	assert.Contains(t, out, "carbon monoxide")
	_, out, _ = runSurvey(t, away, "--outside", "-5 °C", "--json")
	m := readSurvey(t, out).MakeUp
	require.Len(t, m, 1)
	require.NotNil(t, m[0].Heat)
	assert.InDelta(t, 25, *m[0].Colder, 1e-9, "20 °C inside where the file gives no temperature")
	// mass flow times heat capacity: 1.2 kg/m3 x flow x 1005 J/(kg K) x 25 K
	assert.InEpsilon(t, 1.2*m[0].Flow*1005*25, *m[0].Heat, 1e-3)
	// the flow is that of a pattern the survey itself lists
	found := false
	for _, p := range readSurvey(t, out).Patterns {
		found = found || p.Filter == "clean" && *p.FanFlow > m[0].Flow*(1-1e-8) && *p.FanFlow < m[0].Flow*(1+1e-8)
	}
	assert.True(t, found)
	code, _, stderr := runSurvey(t, away, "--outside", "cold")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, stderr, "--outside")
}

func TestSurveyOldNew(t *testing.T) {
	old := writeShop(t, "metric", "18 m/s", "")
	wide := rewrite(t, old, "name: trunk, into: collector, diameter: 150 mm", "name: trunk, into: collector, diameter: 250 mm")
	code, out, stderr := runSurvey(t, old, wide)
	assert.Equal(t, exitNo, code, stderr)
	for _, want := range []string{"duct trunk: diameter 250 mm, was 150 mm", "SPOILT", "table saw + sander", "Together:"} {
		assert.Contains(t, out, want)
	}
	code, _, _ = runSurvey(t, wide, old)
	assert.Equal(t, exitDone, code, "the second file decides")
	_, out, _ = runSurvey(t, old, wide, "--json")
	var r struct {
		Differences []map[string]any
		Demands     []struct {
			Machines      []string
			Asked         bool
			Change        string
			Before, After *surveyOutcome
		}
	}
	require.NoError(t, json.Unmarshal([]byte(out), &r))
	assert.Len(t, r.Differences, 1)
	require.Len(t, r.Demands, 3)
	// both sides are what the single surveys say
	for k, path := range []string{old, wide} {
		_, out, _ := runSurvey(t, path, "--json", "--advice", "none")
		for _, d := range readSurvey(t, out).Demands {
			if d.Filter != "loaded" || contains(d.Open, "bench") {
				continue
			}
			for _, row := range r.Demands {
				if fmt.Sprint(row.Machines) == fmt.Sprint(d.Machines) {
					o := []*surveyOutcome{row.Before, row.After}[k]
					assert.InDelta(t, *d.Margin, *o.Margin, 1e-4)
					assert.Equal(t, d.Open, o.Open)
					assert.Equal(t, d.Transport, o.Transport)
				}
			}
		}
	}
	code, out, _ = runSurvey(t, old, old)
	assert.Equal(t, exitDone, code)
	assert.Contains(t, out, "3 same")
	assert.Contains(t, out, "nothing\n")
	bare := filepath.Join(t.TempDir(), "bare.yaml")
	require.NoError(t, os.WriteFile(bare, []byte("version: 1\nshop: One gate\ngates: [{name: saw, actuator: hand}]\n"), 0o600))
	_, out, _ = runSurvey(t, bare, old)
	assert.Contains(t, out, "The air of the old file is not judged.")
	_, out, _ = runSurvey(t, bare, bare)
	assert.Contains(t, out, "not judged")
	code, _, stderr = runSurvey(t, old, wide, "--sources")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, stderr, "take one file")
}

func TestSurveyReport(t *testing.T) {
	path := writeShop(t, "metric", "21.5 m/s", "together: [[table saw, sander]]")
	page := filepath.Join(t.TempDir(), "air.html")
	code, out, stderr := runSurvey(t, path, "--report", page)
	assert.Equal(t, exitNo, code, stderr)
	assert.Contains(t, out, page)
	b, err := os.ReadFile(page)
	require.NoError(t, err)
	text := string(b)
	for _, want := range []string{"Two benches", "Who runs with whom", "saw drop", "Fan:", "SMACNA", "table saw &#43; sander", "Caution", "@page", "hand gate left open"} {
		assert.True(t, strings.Contains(text, want), want)
	}
	assert.Empty(t, regexp.MustCompile(`https?://|<script|NaN|%!`).FindAllString(text, -1))
	assert.Equal(t, 2, strings.Count(text, "<svg"))
	code, out, _ = runSurvey(t, path, "--report", page, "--json")
	assert.Equal(t, exitNo, code)
	assert.NotEmpty(t, readSurvey(t, out).Demands)
	code, _, stderr = runSurvey(t, path, "--report", filepath.Join(t.TempDir(), "none", "air.html"))
	assert.Equal(t, exitNo, code)
	assert.Contains(t, stderr, "air.html")
}

// Progress is for a terminal: a pipe sees none of it.
func TestProgressIsQuietInAPipe(t *testing.T) {
	_, _, stderr := runSurvey(t, writeShop(t, "metric", "27 m/s", ""), "--advice", "all")
	assert.Empty(t, stderr)
	var b strings.Builder
	p := progressOn(&b)
	p.say("half of it")
	p.done()
	assert.Empty(t, b.String())
	p.w = &b // a terminal, and a long time has gone by
	p.start = p.start.Add(-progressAfter)
	p.say("%d of %d", 1, 2)
	p.say("too soon after it")
	p.done()
	assert.Equal(t, "\r1 of 2\r      \r", b.String())
	(*progress)(nil).say("nothing")
	(*progress)(nil).done()
}
