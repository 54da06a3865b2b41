package config

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// scalar gives the text of a value that must be one, not a list or a mapping.
func (v value) scalar(wanted string) (string, bool) {
	if v.node == nil {
		v.wants(wanted)
		return "", false
	}
	if v.node.Kind != yaml.ScalarNode {
		v.problem("one value is wanted here", v.found(), wanted)
		return "", false
	}
	return v.node.Value, true
}

// takes tells what a key accepts while the keys are listed.
func (v value) takes(accepted string) {
	if v.r.listing != nil {
		v.wants(accepted)
		v.r.listing(v.path, accepted)
	}
}

// quantity reads a number with unit into dst, between low and high (SI, both included).
func quantity(kind Kind, dst *float64, low, high float64) func(value) {
	return func(v value) { v.quantity(kind, dst, low, high) }
}

func (v value) quantity(kind Kind, dst *float64, low, high float64) bool {
	v.takes(FormatQuantity(kind, low, Metric) + " to " + FormatQuantity(kind, high, Metric))
	s, ok := v.scalar(kind.Accepted())
	if !ok {
		return false
	}
	n, us, err := parseQuantity(kind, s)
	if err != nil {
		v.problem(err.Error(), quote(s), kind.Accepted())
		return false
	}
	// A conversion may miss a bound by the last bit.
	if slack := 1e-9 * math.Max(math.Abs(low), math.Abs(high)); n < low-slack || n > high+slack {
		system := Metric
		if us {
			system = US
		}
		v.problem(fmt.Sprintf("this %s is out of bounds", kind), quote(s), FormatQuantity(kind, low, system)+" to "+FormatQuantity(kind, high, system))
		return false
	}
	*dst = n
	return true
}

// span reads a time into dst, between low and high.
func span(dst *time.Duration, low, high time.Duration) func(value) {
	return func(v value) { v.span(dst, low, high) }
}

func (v value) span(dst *time.Duration, low, high time.Duration) bool {
	var s float64
	if !v.quantity(Time, &s, low.Seconds(), high.Seconds()) {
		return false
	}
	*dst = time.Duration(math.Round(s * 1e9))
	return true
}

// number reads a plain number without unit.
func number(dst *float64, low, high float64, what string) func(value) {
	return func(v value) {
		accepted := fmt.Sprintf("a number from %s to %s", trim(low, 6), trim(high, 6))
		v.takes(trim(low, 6) + " to " + trim(high, 6))
		s, ok := v.scalar(accepted)
		if !ok {
			return
		}
		n, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
		switch {
		case err != nil || math.IsNaN(n):
			v.problem(what+" is a plain number without a unit", quote(s), accepted)
		case n < low || n > high:
			v.problem(what+" is out of bounds", quote(s), accepted)
		default:
			*dst = n
		}
	}
}

// integer reads a whole number.
func integer(dst *int, low, high int, what string) func(value) {
	return func(v value) {
		accepted := fmt.Sprintf("a whole number from %d to %d", low, high)
		v.takes(fmt.Sprintf("%d to %d", low, high))
		s, ok := v.scalar(accepted)
		if !ok {
			return
		}
		n, err := strconv.Atoi(strings.TrimSpace(s))
		switch {
		case errors.Is(err, strconv.ErrRange), err == nil && (n < low || n > high):
			v.problem(what+" is out of bounds", quote(s), accepted)
		case err != nil:
			v.problem(what+" is a whole number", quote(s), accepted)
		default:
			*dst = n
		}
	}
}

// yesNo reads yes or no into dst.
func yesNo(dst *bool) func(value) {
	return func(v value) {
		v.takes("yes or no")
		s, ok := v.scalar("yes or no")
		if !ok {
			return
		}
		switch strings.ToLower(s) {
		case "yes", "true", "on":
			*dst = true
		case "no", "false", "off":
			*dst = false
		default:
			v.problem("yes or no is wanted here", quote(s), "yes or no")
		}
	}
}

// option is a word of a choice and what it stands for.
type option[T any] struct {
	word  string
	means T
}

// choice reads one of a few words.
func choice[T any](dst *T, options ...option[T]) func(value) {
	return func(v value) {
		known := make([]string, len(options))
		for i, o := range options {
			known[i] = o.word
		}
		accepted := oneOf(known)
		v.takes(accepted)
		s, ok := v.scalar(accepted)
		if !ok {
			return
		}
		for _, o := range options {
			if o.word == s {
				*dst = o.means
				return
			}
		}
		if near := nearest(s, known); near != "" {
			v.problem("this word is not known here; did you mean "+near+"?", quote(s), accepted)
			return
		}
		v.problem("this word is not known here", quote(s), accepted)
	}
}

// oneOf lists words for a message.
func oneOf(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}

// text reads a text of 1 to limit characters without control characters.
func text(dst *string, limit int) func(value) {
	return func(v value) { v.text(dst, limit) }
}

func (v value) text(dst *string, limit int) bool {
	accepted := fmt.Sprintf("a text of 1 to %d characters", limit)
	s, ok := v.scalar(accepted)
	if !ok {
		return false
	}
	switch {
	case strings.TrimSpace(s) == "":
		v.problem("the text is empty", quote(s), accepted)
	case utf8.RuneCountInString(s) > limit:
		v.problem("the text is too long", quote(s), accepted)
	case !printable(s):
		v.problem("the text holds a character that cannot be printed", quote(s), "letters, digits, signs and spaces in one line")
	default:
		*dst = s
		return true
	}
	return false
}

// absolute reads the path of a file: absolute, so that it does not depend on where the program was started.
func absolute(dst *string) func(value) {
	return func(v value) {
		var s string
		if !v.text(&s, 255) {
			return
		}
		if !strings.HasPrefix(s, "/") && !drive(s) {
			v.problem("a file is named by its whole path", quote(s), "a path that begins with /")
			return
		}
		*dst = s
	}
}

// drive reports a path of the kind C:\shop.
func drive(s string) bool {
	return len(s) > 2 && unicode.IsLetter(rune(s[0])) && s[1] == ':' && (s[2] == '\\' || s[2] == '/')
}

// texts reads a list of texts.
func (v value) texts(limit int, item func(value, string)) {
	v.list(limit, func(_ int, v value) {
		var s string
		if v.r.listing == nil && v.text(&s, 100) {
			item(v, s)
		}
	})
}

// wellFormed reads a text that must consist of the allowed characters.
func (v value) wellFormed(dst *string, limit int, allowed func(rune) bool, what, accepted string) bool {
	var s string
	if !v.text(&s, limit) {
		return false
	}
	if slices.ContainsFunc([]rune(s), func(r rune) bool { return !allowed(r) }) {
		v.problem(what, quote(s), accepted)
		return false
	}
	*dst = s
	return true
}
