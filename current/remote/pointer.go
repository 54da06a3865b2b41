package remote

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// path is a JSON pointer (RFC 6901) taken apart.
type path []string

const longestPath = 16

func parsePath(s string) (path, error) {
	if s == "" {
		return nil, nil
	}
	if s[0] != '/' {
		return nil, fmt.Errorf("the pointer %q must begin with /, for example /ENERGY/Power", s)
	}
	p := strings.Split(s[1:], "/")
	if len(p) > longestPath {
		return nil, fmt.Errorf("the pointer %q is deeper than %d", s, longestPath)
	}
	for i, part := range p {
		for at := strings.IndexByte(part, '~'); at >= 0; {
			if at+1 == len(part) || part[at+1] != '0' && part[at+1] != '1' {
				return nil, fmt.Errorf("the pointer %q has a ~ that is neither ~0 nor ~1", s)
			}
			rest := strings.IndexByte(part[at+1:], '~')
			if rest < 0 {
				break
			}
			at += 1 + rest
		}
		p[i] = strings.NewReplacer("~1", "/", "~0", "~").Replace(part)
	}
	return p, nil
}

var errAbsent = errors.New("the message does not hold what the pointer points at")

// find is the value that the pointer points at: a json.Number, a string, a bool, or something else.
func (p path) find(payload []byte) (any, error) {
	if len(payload) > MaxPayload {
		return nil, fmt.Errorf("the message has %d bytes; at most %d are looked at", len(payload), MaxPayload)
	}
	d := json.NewDecoder(bytes.NewReader(payload))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		return nil, fmt.Errorf("the message %q is no JSON: %w", short(payload), err)
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, fmt.Errorf("the message %q goes on after its value", short(payload))
	}
	for _, part := range p {
		switch x := v.(type) {
		case map[string]any:
			var ok bool
			if v, ok = x[part]; !ok {
				return nil, errAbsent
			}
		case []any:
			i, err := strconv.Atoi(part)
			if err != nil || i < 0 || i >= len(x) || strconv.Itoa(i) != part {
				return nil, errAbsent
			}
			v = x[i]
		default:
			return nil, errAbsent
		}
	}
	return v, nil
}

// thousandths reads a number, times a factor, in thousandths, rounded once. The sign is left away: a clamp put
// on the other way round measures the same motor.
func (p path) thousandths(payload []byte, factor float64) (int64, error) {
	var text string
	if p == nil {
		text = string(bytes.TrimSpace(payload))
		if len(text) > 64 {
			return 0, fmt.Errorf("the message %q is no number", short(payload))
		}
		text = strings.Trim(text, `"`)
	} else {
		v, err := p.find(payload)
		if err != nil {
			return 0, err
		}
		switch x := v.(type) {
		case json.Number:
			text = x.String()
		case string:
			text = x
		default:
			return 0, fmt.Errorf("the pointer points at %v, which is no number", v)
		}
	}
	f, err := strconv.ParseFloat(text, 64)
	f = math.Round(math.Abs(f) * factor * 1000)
	if err != nil || math.IsNaN(f) || f > math.MaxInt32 {
		return 0, fmt.Errorf("%q is no reading", short([]byte(text)))
	}
	return int64(f), nil
}

// text reads a word: a string, a bool, a number, or the whole message as it is.
func (p path) text(payload []byte) (string, error) {
	if p == nil {
		return string(bytes.TrimSpace(payload)), nil
	}
	v, err := p.find(payload)
	if err != nil {
		return "", err
	}
	return fmt.Sprint(v), nil
}

// short is the beginning of a message, for another message.
func short(b []byte) string {
	if len(b) > 40 {
		return string(b[:40]) + "..."
	}
	return string(b)
}
