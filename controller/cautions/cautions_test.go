package cautions

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What each caution must not leave out, in the order of printing. A caution that loses one of these says less than a
// person needs.
var asked = [][]string{
	{"No safety function", "no emergency stop"},
	{"licensed electrician", "local code"},
	{"without warning", "sign", "bin, filter, fan, gate or duct", "switch off and lock the disconnect", "wheel stands"},
	{"no-volt release"},
	{"without warning", "pinch"},
	{"explosible", "whatever the shop's size", "authority", "fire service", "insurer"},
	{"sparks", "metal", "grinding", "embers", "hot ash", "solvent vapour"},
	{"covered metal container outdoors", "watch after work", "unattended", "On smoke", "shut", "leave", "call"},
	{"bonded and earthed", "does not conduct", "only what it touches", "insurer", "metal"},
	{"outdoors", "heater, boiler, stove or fireplace", "carbon monoxide", "without a smell", "inlet", "alarm", "tested by a licensed technician", "collector running"},
	{"Returned air", "filter"},
	{"respirator"},
	{"Hearing", "do not hear"},
	{"Children, pupils, visitors, animals"},
	{"grille", "no metal"},
	{"heavy", "collapse"},
	{"outside the air stream"},
	{"supply off", "never opened", "relay boards and sockets", "rated"},
	{"Who stands at the machine", "network", "power-up"},
	{"permit", "landlord", "insurer", "workplace or a school"},
}

func TestEveryCautionSaysWhatItMust(t *testing.T) {
	require.Len(t, List, len(asked))
	seen := map[string]bool{}
	sentence := regexp.MustCompile(`[.?](\s|$)`)
	for i, c := range List {
		whole := c.Title + " " + c.Text + " " + c.Decides
		for _, part := range asked[i] {
			assert.Contains(t, strings.ToLower(whole), strings.ToLower(part), c.Key)
		}
		n := len(sentence.FindAllString(c.Text, -1))
		assert.True(t, n == 1 || n == 2, "%s: %d sentences", c.Key, n)
		assert.False(t, seen[c.Key], "%s twice", c.Key)
		seen[c.Key] = true
		assert.NotEmpty(t, c.Decides, c.Key)
		assert.NotEmpty(t, c.Source, c.Key)
		assert.NotEmpty(t, c.Met, "%s is met nowhere but in the guide", c.Key)
	}
}

func TestPlaces(t *testing.T) {
	assert.Len(t, At(Readme), len(List))
	assert.Len(t, At(Page), len(List))
	assert.Empty(t, At("verb/nothing"))
	assert.Empty(t, Help("verb/nothing"))
	assert.Contains(t, Places(), Verb("run"))
	assert.Contains(t, Places(), Sheet("wiring"))
	c, ok := Of("make-up-air")
	require.True(t, ok)
	assert.Contains(t, Markdown(Verb("survey")), "**"+c.Title+"** "+c.Text)
	assert.Contains(t, Markdown(Verb("survey")), "*Decides: "+c.Decides+". Source: "+c.Source+".*")
	_, ok = Of("nothing")
	assert.False(t, ok)
	for _, l := range strings.Split(Help(Verb("run")), "\n") {
		assert.LessOrEqual(t, len([]rune(l)), 110)
	}
}
