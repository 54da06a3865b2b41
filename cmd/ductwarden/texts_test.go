package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ductwarden/config"
)

// What the verb prints is what it and the page read again, whole.
func TestTextsArePrintedToBeTranslated(t *testing.T) {
	code, out, stderr := spoken(t, t.Context(), "texts")
	require.Equal(t, exitDone, code, stderr)
	var all map[string]string
	require.NoError(t, json.Unmarshal([]byte(out), &all))
	assert.Greater(t, len(all), 1500)
	assert.Equal(t, "gate {1} did not open", all["gate {1} did not open"])
	path := filepath.Join(t.TempDir(), "texts.json")
	require.NoError(t, os.WriteFile(path, []byte(out), 0o600))
	code, out, stderr = spoken(t, t.Context(), "texts", path)
	require.Equal(t, exitDone, code, stderr)
	assert.Contains(t, out, "; 0 of ")

	require.NoError(t, os.WriteFile(path, []byte(`{"nav.shop": 3}`), 0o600))
	code, _, stderr = spoken(t, t.Context(), "texts", path)
	assert.Equal(t, exitNo, code)
	assert.Contains(t, stderr, path+": this is no catalogue of texts")
	code, _, stderr = spoken(t, t.Context(), "texts", filepath.Join(t.TempDir(), "none.json"))
	assert.Equal(t, exitNo, code)
	assert.Contains(t, stderr, "check the name")

	// A file that cannot be used stops no shop.
	texts, untold := pageTexts(&config.Shop{Page: config.Page{Texts: path}})
	assert.Nil(t, texts)
	assert.Contains(t, untold, "The page is in English: "+path)
}
