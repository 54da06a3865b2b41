package report

import (
	"encoding/xml"
	"errors"
	"io"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sample is an invented survey with names that would break a careless page.
func sample() *Survey {
	return &Survey{
		Shop: "Saw & <plane>", Made: "1 May 2026", Most: "One change mends 2", Notes: []string{"trunk: up to 30 m/s"},
		Collectors: []Collector{{Name: "big <fan>",
			Ducts: []Duct{{Name: "trunk & all", Into: -1, Diameter: 0.16, Size: "160 mm", Grade: Settles, Speed: "9 m/s", Fails: []string{"saw: 9 m/s, settles"}},
				{Name: "drop", Into: 0, Diameter: 0.1, Size: "100 mm", Grade: Carries, Speed: "22 m/s"}, {Name: "sweep", Into: 0, Diameter: 0.1, Size: "100 mm"}},
			Ports: []Port{{Name: "saw", Duct: 1, Machines: []string{"table \"saw\""}}, {Name: "sweep", Duct: 2}},
			Gates: []Gate{{Name: "saw", Duct: 1}, {Name: "sweep", Duct: 2, Hand: true}},
			Fan:   FanChart{FlowUnit: "m3/h", PressureUnit: "Pa", End: 1000, Curve: []Point{{0, 2000}, {500, 1500}, {1000, 400}, {1050, 200}, {1100, -10}}},
			Points: []Working{{Point: Point{600, 1300}, Machines: []string{"saw"}, Grade: Settles, Text: "600 m3/h"}, {Point: Point{601, 1299}, Machines: []string{"plane"}, Grade: Creeps},
				{Point: Point{1040, 240}, Machines: []string{"sweep"}, Grade: Carries}}}},
		Demands: []Demand{{Machines: []string{"saw"}, Grade: Settles, Why: "too slow <there>", Remedies: []Remedy{{Kind: "hose", Text: "shorter", Costs: "but spoils plane"}}},
			{Machines: []string{"plane"}, Grade: Carries, Theft: "sweep: creeps"}},
		Others:   []Demand{{Machines: []string{"saw", "plane"}, Grade: Creeps, None: "nothing mends it"}},
		Matrix:   Matrix{Machines: []string{"saw", "plane"}, Cells: [][]Cell{{{Grade: Settles}, {}}, {{}, {Grade: Carries}}}},
		MakeUp:   []MakeUp{{Text: "1000 m3/h leave", Caution: "carbon monoxide"}},
		Facts:    []Fact{{About: "wall", Kind: "pvc", Value: "0.02 mm", Source: "a table"}},
		Cautions: []CautionText{{Title: "Dust", Text: "burns"}},
	}
}

func written(t *testing.T, s *Survey) string {
	t.Helper()
	var b strings.Builder
	require.NoError(t, Page(&b, s))
	return b.String()
}

// One page that needs nothing else: no script, no address, nothing loaded.
func TestPageStandsAlone(t *testing.T) {
	page := written(t, sample())
	assert.Empty(t, regexp.MustCompile(`(?i)<script|<link|<img|https?://|url\(|@import|src=|\son[a-z]+=`).FindAllString(page, -1))
	assert.Contains(t, page, "@media print")
	assert.NotContains(t, page, "ZgotmplZ")
}

func TestPageShowsEverything(t *testing.T) {
	page := written(t, sample())
	for _, want := range []string{"Saw &amp; &lt;plane&gt;", "1 of 2 that must carry do not", "One change mends 2", "Ducts that are too slow", "saw: 9 m/s, settles", "Who runs with whom",
		"own air", "hand gate left open", "Hose:", "but spoils plane", "too slow &lt;there&gt;", "nothing mends it", "carbon monoxide", "Worth knowing", "a table", "burns", "1 May 2026", "SETTLES", "gate by hand"} {
		assert.True(t, strings.Contains(page, want), want)
	}
	s := sample()
	s.Demands = s.Demands[1:]
	assert.Contains(t, written(t, s), "All 1 that must carry do")
	assert.Contains(t, written(t, &Survey{Shop: "one gate", NotJudged: []string{"no ducts"}}), "Not judged.")
	var body strings.Builder
	require.NoError(t, Body(&body, sample()))
	assert.NotContains(t, body.String(), "<html")
}

// The drawings are well-formed, and nothing lies outside them.
func TestDrawings(t *testing.T) {
	c := sample().Collectors[0]
	for _, svg := range []string{c.Drawing(), c.Chart()} {
		d := xml.NewDecoder(strings.NewReader(svg))
		for {
			_, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			require.NoError(t, err, svg)
		}
		assert.NotContains(t, svg, "NaN")
	}
	chart := c.Chart()
	assert.Contains(t, chart, ">1, 2<", "points on one another share a label")
	assert.Contains(t, chart, `class="curve on"`, "beyond the sheet")
	assert.Contains(t, chart, ">1200<")
	assert.NotContains(t, chart, ">1400<")
	c.Fan.Curve = nil
	assert.Empty(t, c.Chart())
}

func TestTick(t *testing.T) {
	for _, row := range []struct{ most, want float64 }{{3000, 500}, {2900, 500}, {1.2, 0.2}, {11, 2}, {13, 2.5}, {60, 10}, {0, 1}} {
		assert.InDelta(t, row.want, tick(row.most), 1e-9, "%g", row.most)
	}
}
