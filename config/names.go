package config

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// noun is a sort of thing that has names.
type noun string

// The things with names.
const (
	aCollector noun = "collector"
	aDuct      noun = "duct"
	aPort      noun = "port"
	aGate      noun = "gate"
	aMachine   noun = "machine"
	aTap       noun = "pressure tap"
	aBus       noun = "bus"
)

// register holds the names and ids of one sort of thing.
type register struct {
	names  []string // in the order of entering
	byName map[string]entry
	byID   map[string]entry
}

// entry is a thing's place in its list and where its name stands.
type entry struct {
	place int
	at    Position
}

func (r *reader) register(n noun) *register {
	if r.names[n] == nil {
		r.names[n] = &register{byName: map[string]entry{}, byID: map[string]entry{}}
	}
	return r.names[n]
}

// Bounds of names and ids, for pages and topics.
const (
	longestName = 60
	longestID   = 40
)

// enter gives the thing at place its name and its id, and refuses doubles. whole is the value of the thing, g
// its keys.
func (r *reader) enter(n noun, place int, whole value, g given, name, id *string) {
	if *name == "" {
		return
	}
	reg := r.register(n)
	at, ok := g["name"]
	if !ok {
		at = whole
	}
	if first, twice := reg.byName[*name]; twice {
		at.problem(fmt.Sprintf("two things of the sort %s have this name, the first in line %d; names must differ", n, first.at.Line), quote(*name), "a name of its own")
		return
	}
	reg.names = append(reg.names, *name)
	reg.byName[*name] = entry{place, at.at}
	from, made := g["id"]
	if !made {
		from = at
		*id = makeID(*name)
		if *id == "" {
			at.problem("no id can be made from this name; give the "+string(n)+" an id", quote(*name), "id: with a-z, 0-9 and -")
			return
		}
	}
	if *id == "" {
		return
	}
	if first, twice := reg.byID[*id]; twice {
		from.problem(fmt.Sprintf("the id %s is already that of the %s in line %d; give this one an id of its own", *id, n, first.at.Line), quote(*id), "id: with a-z, 0-9 and -")
		return
	}
	reg.byID[*id] = entry{place, from.at}
}

// id reads a stable id.
func id(dst *string) func(value) {
	return func(v value) {
		ok := func(c rune) bool { return c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '-' }
		accepted := fmt.Sprintf("1 to %d of a-z, 0-9 and -", longestID)
		var s string
		if !v.wellFormed(&s, longestID, ok, "an id has only small letters, digits and -", accepted) {
			return
		}
		if strings.Trim(s, "-") != s {
			v.problem("an id neither begins nor ends with -", quote(s), accepted)
			return
		}
		*dst = s
	}
}

// letters spells letters outside a-z, as far as they have a common spelling.
var letters = strings.NewReplacer("ä", "ae", "ö", "oe", "ü", "ue", "ß", "ss", "æ", "ae", "ø", "o", "å", "a",
	"á", "a", "à", "a", "â", "a", "ã", "a", "é", "e", "è", "e", "ê", "e", "ë", "e", "í", "i", "ì", "i", "î", "i", "ï", "i",
	"ó", "o", "ò", "o", "ô", "o", "õ", "o", "ú", "u", "ù", "u", "û", "u", "ñ", "n", "ç", "c", "ý", "y", "ł", "l", "š", "s", "ž", "z", "č", "c")

// makeID makes an id from a name: small letters, everything else a single -.
func makeID(name string) string {
	var b strings.Builder
	for _, c := range letters.Replace(strings.ToLower(name)) {
		switch {
		case c >= 'a' && c <= 'z' || c >= '0' && c <= '9':
			b.WriteRune(c)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-") && !unicode.IsMark(c):
			b.WriteByte('-')
		}
	}
	s := b.String()
	if len(s) > longestID {
		s = s[:longestID]
	}
	return strings.Trim(s, "-")
}

// refer looks a name up once everything is read; set gets the place.
func (v value) refer(name string, set func(s *Shop, n noun, place int), among ...noun) {
	v.r.later = append(v.r.later, func(s *Shop) {
		var all []string
		for _, n := range among {
			reg := v.r.register(n)
			if e, ok := reg.byName[name]; ok {
				set(s, n, e.place)
				return
			}
			all = append(all, reg.names...)
		}
		for _, n := range among {
			if e, ok := v.r.register(n).byID[name]; ok {
				set(s, n, e.place)
				return
			}
		}
		nouns := make([]string, len(among))
		for i, n := range among {
			nouns[i] = string(n)
		}
		slices.Sort(all)
		accepted := strings.Join(all, ", ")
		if accepted == "" {
			accepted = "none: the file has no " + oneOf(nouns)
		}
		sentence := fmt.Sprintf("there is no %s of this name", oneOf(nouns))
		if near := nearest(name, all); near != "" {
			sentence += "; did you mean " + near + "?"
		}
		v.problem(sentence, quote(name), accepted)
	})
}

// reference reads the name of a thing and stores its place in dst.
func reference(dst *int, n noun) func(value) {
	*dst = -1
	return func(v value) {
		var s string
		if v.text(&s, longestName) {
			v.refer(s, func(_ *Shop, _ noun, place int) { *dst = place }, n)
		}
	}
}

// references reads a list of names and appends their places to dst, each once.
func references(dst *[]int, n noun, limit int) func(value) {
	return func(v value) {
		v.texts(limit, func(item value, name string) {
			item.refer(name, func(_ *Shop, _ noun, place int) {
				if slices.Contains(*dst, place) {
					item.problem("this "+string(n)+" is named twice in the list", quote(name), "each name once")
					return
				}
				*dst = append(*dst, place)
			}, n)
		})
	}
}
