package plan

import "ductwarden/gates"

// remembered is how many results are kept: singles and pairs of 40 machines with room to spare.
const remembered = 4096

// memo keeps results, the oldest making room for the newest. It changes no answer: a result is a pure function
// of its key, and what a search cost is charged again when it is recalled.
type memo struct {
	results map[key]result
	order   []key
	oldest  int
}

func (m *memo) init() { m.results = map[key]result{} }

func (m *memo) recall(k key) (result, bool) {
	r, ok := m.results[k]
	return r, ok
}

func (m *memo) keep(k key, r result) {
	if len(m.order) < remembered {
		m.order = append(m.order, k)
	} else {
		delete(m.results, m.order[m.oldest])
		m.order[m.oldest] = k
		m.oldest = (m.oldest + 1) % remembered
	}
	m.results[k] = r
}

// handovers is up to how many machines Prepare also looks at every machine after every other.
const handovers = 16

// Prepare works out the answers for every machine alone and every pair, with all gates in order, so that such a
// question is a look-up: from nothing open, and in a shop of few machines for each alone from another's pattern.
// The filter counts as loaded; in a shop that senses it (Options.FilterSensor) as clean too.
func (t *Tree) Prepare() {
	if t.air == nil {
		return
	}
	states := []bool{true}
	if t.options.FilterSensor {
		states = append(states, false)
	}
	usable := t.all &^ t.hand
	for _, loaded := range states {
		for a := range t.mine.All() {
			first := t.Choose(Question{Running: gates.Of(a), Usable: usable, Loaded: loaded})
			for b := range t.mine.Without(a).All() {
				if t.mine.Len() <= handovers {
					t.Choose(Question{Running: gates.Of(b), Usable: usable, Loaded: loaded, Open: first.Open})
				}
				if b > a {
					t.Choose(Question{Running: gates.Of(a, b), Usable: usable, Loaded: loaded})
				}
			}
		}
	}
}
