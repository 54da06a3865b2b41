package main

import (
	"context"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func checked(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs strings.Builder
	code = run(context.Background(), append([]string{"check"}, args...), strings.NewReader(""), &out, &errs)
	return code, out.String(), errs.String()
}

func shopFile(t *testing.T, parts ...string) string {
	return filepath.Join(append([]string{root(t), "config"}, parts...)...)
}

func TestCheckGood(t *testing.T) {
	code, out, errs := checked(t, shopFile(t, "testdata", "good", "1-gate.yaml"))
	assert.Equal(t, exitDone, code)
	assert.Empty(t, errs)
	assert.Contains(t, out, "1-gate.yaml is in order")
	assert.Contains(t, out, "1 gate")
	assert.Contains(t, out, "not judged")
	assert.Contains(t, out, "no sensors:")

	code, out, _ = checked(t, shopFile(t, "testdata", "good", "6-fan.yaml"))
	assert.Equal(t, exitDone, code)
	assert.Contains(t, out, "2 gates, 2 machines, 1 collector, 3 ducts, 2 ports")
	assert.NotContains(t, out, "not judged")
	assert.Contains(t, out, "NEMA MG 10")
}

func TestCheckBad(t *testing.T) {
	file := shopFile(t, "testdata", "bad", "duct-of-3-km.yaml")
	code, out, errs := checked(t, file)
	assert.Equal(t, exitNo, code)
	assert.Equal(t, file+`:20:62: ducts[0].length: this length is out of bounds; found "3 km"; accepted: 1 mm to 200 m`+"\n", out)
	assert.Equal(t, "ductwarden: "+file+" has a problem; mend it and check again\n", errs)
}

func TestCheckJSON(t *testing.T) {
	file := shopFile(t, "testdata", "bad", "two-servos-on-a-channel.yaml")
	code, out, _ := checked(t, file, "--json")
	assert.Equal(t, exitNo, code)
	var got map[string]any
	require.NoError(t, json.Unmarshal([]byte(out), &got))
	assert.Equal(t, false, got["ok"])
	problems := got["problems"].([]any)
	require.Len(t, problems, 1)
	p := problems[0].(map[string]any)
	assert.Equal(t, map[string]any{
		"file": file, "line": 28.0, "column": 85.0, "path": "gates[1].actuator.servo.channel", "found": "channel 0", "accepted": "a channel of its own", "problem": p["problem"],
	}, p)

	code, out, _ = checked(t, shopFile(t, "reference.yaml"), "--json")
	assert.Equal(t, exitDone, code)
	assert.JSONEq(t, `{"ok":true,"problems":[]}`, out)

	code, out, _ = checked(t, "nowhere.yaml", "--json")
	assert.Equal(t, exitNo, code)
	assert.Contains(t, out, "there is no such file")
}

func TestCheckUse(t *testing.T) {
	code, _, errs := checked(t)
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, errs, "ductwarden --help")
	code, _, _ = checked(t, "--nonsense", "x")
	assert.Equal(t, exitUsage, code)
	code, out, _ := checked(t, "--help")
	assert.Equal(t, exitDone, code)
	assert.Contains(t, out, "ductwarden check shop.yaml --json")
}

// Every problem ends with something to do: what is accepted, or it is in the sentence.
func TestCheckTellsWhatToDo(t *testing.T) {
	files, err := filepath.Glob(shopFile(t, "testdata", "bad", "*.yaml"))
	require.NoError(t, err)
	for _, f := range files {
		_, out, _ := checked(t, f)
		assert.Regexp(t, `accepted: \S|did you mean|keep one|did not|; (mend|write|one|a shop file|remove|give|close|indent|save)`, out, f)
	}
}
