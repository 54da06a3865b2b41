package panel

import (
	_ "embed"
	"encoding/json"
	"fmt"
)

//go:embed text/en.json
var english []byte

// Text is one language: every string of the page by its key. Another language is one file more.
type Text map[string]string

// LoadText reads a catalogue.
func LoadText(b []byte) (Text, error) {
	var t Text
	if err := json.Unmarshal(b, &t); err != nil {
		return nil, fmt.Errorf("catalogue of texts: %w", err)
	}
	return t, nil
}

// Say returns the string of a key; a missing one shows itself.
func (t Text) Say(key string) string {
	if s, ok := t[key]; ok {
		return s
	}
	return "[" + key + "]"
}
