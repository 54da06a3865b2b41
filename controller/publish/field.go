package publish

import (
	"encoding/json"
	"math"
	"strconv"
)

// field is one key of a flat document. A fact is told as soon as it differs. A figure (step > 0) wavers all
// the time: it is told when it has moved by its step, and then at most once per `pause`. An end is an instant
// that a snapshot gives as time left; it is told when it has moved by a second or more.
type field struct {
	key    string
	value  any     // nil, string, bool, int64, float64, or ending
	step   float64 // > 0 makes it a figure
	digits int     // of a figure, after the point
	pause  int64   // of a figure, milliseconds
}

// ending is an instant in milliseconds since the program started.
type ending int64

func fact(key string, v any) field { return field{key: key, value: v} }

// figure is told once a second at most: a hub draws no finer, and a noisy clamp must not fill the network.
func figure(key string, v *float64, step float64, digits int) field {
	f := field{key: key, step: step, digits: digits, pause: 1000}
	if v != nil && !math.IsNaN(*v) && !math.IsInf(*v, 0) {
		f.value = *v
	}
	return f
}

// hours is a running total from milliseconds, told in steps of a hundredth of an hour.
func hours(key string, ms int64) field {
	return field{key: key, value: float64(ms) / 3600e3, step: 0.01, digits: 2, pause: 1000}
}

// end is when something is over; nothing is left, nothing is told.
func end(key string, atMS, leftMS int64) field {
	if leftMS <= 0 {
		return fact(key, nil)
	}
	return field{key: key, value: ending(atMS + leftMS)}
}

// news tells how two values of one field differ: not at all, as a figure that may wait, or at once.
type news uint8

const (
	same news = iota
	moved
	changed
)

func (f field) differs(was any) news {
	switch now := f.value.(type) {
	case float64:
		old, ok := was.(float64)
		if !ok {
			return changed
		}
		if f.step > 0 && math.Abs(now-old) < f.step*(1-1e-9) || now == old {
			return same
		}
		return moved
	case ending:
		old, ok := was.(ending)
		if ok && now-old < 1000 && old-now < 1000 {
			return same
		}
		return changed
	}
	if f.value == was {
		return same
	}
	return changed
}

// text is the value as it stands in a document and, without quotes, on a plain topic.
func (f field) text(m Moment) string {
	switch v := f.value.(type) {
	case nil:
		return "null"
	case bool:
		return strconv.FormatBool(v)
	case int64:
		return strconv.FormatInt(v, 10)
	case float64:
		return strconv.FormatFloat(v, 'f', f.digits, 64)
	case ending:
		return `"` + m.At(int64(v)).UTC().Format("2006-01-02T15:04:05Z") + `"`
	case string:
		b, err := json.Marshal(v)
		if err != nil { // Marshal of a string replaces what is not UTF-8 and cannot fail
			return `""`
		}
		return string(b)
	}
	return "null"
}

// plain is the value alone; nothing for one that is not known, which clears the topic.
func (f field) plain(m Moment) string {
	switch v := f.value.(type) {
	case nil:
		return ""
	case string:
		return v
	case ending:
		return m.At(int64(v)).UTC().Format("2006-01-02T15:04:05Z")
	}
	return f.text(m)
}

// document writes the fields as one flat JSON object behind the keys that every document has.
func document(fields []field, seq uint64, m Moment) []byte {
	b := make([]byte, 0, 64+32*len(fields))
	b = append(b, `{"v":1,"seq":`...)
	b = strconv.AppendUint(b, seq, 10)
	b = append(b, `,"ts":"`...)
	b = append(b, m.stamp()...)
	b = append(b, `","mono_ms":`...)
	b = strconv.AppendInt(b, m.MonoMS, 10)
	for _, f := range fields {
		b = append(b, ',', '"')
		b = append(b, f.key...)
		b = append(b, '"', ':')
		b = append(b, f.text(m)...)
	}
	return append(b, '}')
}

// longest is what a hub takes as a state.
const longest = 255

// brief cuts a sentence to what a hub takes, at a whole character.
func brief(s string) string {
	if len(s) <= longest {
		return s
	}
	cut := 0
	for i := range s {
		if i > longest-len("…") {
			break
		}
		cut = i
	}
	return s[:cut] + "…"
}
