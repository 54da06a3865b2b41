package bench

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ductwarden/current"
)

// applied rebuilds the second text from the first and the diff.
func applied(before, diff string) string {
	a := lines([]byte(before))
	var out []string
	at := 0
	for _, l := range lines([]byte(diff)) {
		number, mark, text := 0, l[5], l[7:]
		for _, c := range strings.TrimSpace(l[:4]) {
			number = number*10 + int(c-'0')
		}
		switch mark {
		case '-':
			for at < number-1 {
				out, at = append(out, a[at]), at+1
			}
			at++
		case '+':
			for len(out) < number-1 {
				out, at = append(out, a[at]), at+1
			}
			out = append(out, text)
		}
	}
	return strings.Join(append(out, a[at:]...), "\n")
}

func TestDiffTellsTheWholeChange(t *testing.T) {
	for _, c := range [][2]string{
		{"a\nb\nc", "a\nx\nc"}, {"", "a\nb"}, {"a\nb", ""}, {"a\nb\nc\nd\ne\nf", "a\nB\nc\nd\nE\nf\ng"}, {"a", "a"}, {"a\na\na", "a\na"}, {"a\nb", "b\na"},
	} {
		assert.Equal(t, c[1], applied(c[0], Diff([]byte(c[0]), []byte(c[1]))), "%q", c)
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.SliceOfN(rapid.SampledFrom([]string{"a", "b", "c", "d"}), 0, 12)
		before, after := strings.Join(text.Draw(t, "before"), "\n"), strings.Join(text.Draw(t, "after"), "\n")
		if got := applied(before, Diff([]byte(before), []byte(after))); got != after {
			t.Fatalf("%q became %q, not %q", before, got, after)
		}
	})
}

func TestDiffIsShort(t *testing.T) {
	before := "one\ntwo\nthree\nfour\nfive\n"
	assert.Equal(t, "   2   two\n   3 - three\n   3 + 3\n   4   four\n", Diff([]byte(before), []byte("one\ntwo\n3\nfour\nfive\n")))
	assert.Empty(t, Diff([]byte(before), []byte(strings.ReplaceAll(before, "\n", "\r\n"))))
}

func TestRecordingKeepsTheInrush(t *testing.T) {
	r := recording{}
	for i := range 50_000 {
		a := 1.0
		if i == 23_457 {
			a = 50
		}
		r.add(time.Second+time.Duration(i)*50*time.Millisecond, a, "run")
	}
	require.LessOrEqual(t, len(r.all), mostRecorded)
	p := r.points(plotPoints)
	require.Len(t, p, plotPoints)
	most, at := 0.0, 0.0
	for i, k := range p {
		if k.CurrentA > most {
			most, at = k.CurrentA, k.AtS
		}
		if i > 0 {
			assert.Greater(t, k.AtS, p[i-1].AtS)
		}
	}
	assert.Equal(t, 50.0, most)
	assert.InDelta(t, 23_457*0.05, at, 12)
	assert.InDelta(t, 2500, r.span().Seconds(), 3)
}

func TestPlot(t *testing.T) {
	var p []PlotPoint
	for i := range 100 {
		a := 0.1
		if i >= 30 && i < 70 {
			a = 4
		}
		p = append(p, PlotPoint{AtS: float64(i) / 5, CurrentA: a})
	}
	text := Plot(p, 1.6, 0.9, 60, 10, false)
	rows := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
	require.Len(t, rows, 11)
	for _, r := range rows {
		assert.LessOrEqual(t, len(r), 61)
	}
	assert.Contains(t, text, "run 1.6A")
	assert.Contains(t, text, "idle 0.9A")
	assert.Contains(t, rows[0], "####")
	assert.Contains(t, rows[10], "20 s")
	assert.Empty(t, Plot(nil, 1, 1, 60, 10, false))
	assert.Empty(t, Plot(p, 1, 1, 12, 10, false), "too narrow")
}

func TestChannels(t *testing.T) {
	s := newStand(t)
	s.seen[0].Milliamperes, s.seen[0].Belief = 4200, current.Running
	s.seen[1].Health = current.Lost
	all := s.view().Channels
	require.Len(t, all, 2)
	assert.InDelta(t, 4.2, *all[0].CurrentA, 1e-9)
	assert.Equal(t, "running", all[0].State)
	assert.Equal(t, []string{"Table saw"}, all[0].Watches)
	assert.Empty(t, all[0].Words)
	assert.Nil(t, all[1].CurrentA, "unknown is not zero")
	assert.True(t, all[1].Suspects)
	assert.Contains(t, all[1].Words, "does not answer")
	s.seen[0].Health = current.Clipped
	assert.Contains(t, s.view().Channels[0].Words, "35.0 A")
}

func TestNamed(t *testing.T) {
	for name, want := range map[string]string{"table saw": "table saw", "Säge 2": "Säge 2", "2nd saw": `"2nd saw"`, "no": `"no"`, `a "b"`: `"a \"b\""`, "a: b": `"a: b"`, "": `""`, " a": `" a"`} {
		assert.Equal(t, want, Named(name), name)
	}
}
