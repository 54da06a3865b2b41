package plan

import (
	"fmt"
	"strings"

	"ductwarden/controller/airflow"
	"ductwarden/gates"
)

func (e *explainer) machines(s gates.Set) string {
	return list(s, func(i int) string { return e.t.machines[i].Name })
}

func (e *explainer) gates(s gates.Set) string {
	return list(s, func(i int) string {
		for _, g := range e.t.net.Gates {
			if g.Number == i {
				return g.Name
			}
		}
		return fmt.Sprintf("gate %d", i+1)
	})
}

// list is "a", "a and b", "a, b and c".
func list(s gates.Set, name func(int) string) string {
	var names []string
	for i := range s.All() {
		names = append(names, name(i))
	}
	switch n := len(names); n {
	case 0:
		return "nothing"
	case 1:
		return names[0]
	default:
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
}

func verb(s gates.Set, one, more string) string {
	if s.Len() == 1 {
		return one
	}
	return more
}

// percent rounds a ratio to whole percent, halves away from zero.
func percent(r airflow.Ratio, sign bool) string {
	p := (int(r) + 50) / 100
	if r < 0 {
		p = (int(r) - 50) / 100
	}
	if sign {
		return fmt.Sprintf("%+d %%", p)
	}
	return fmt.Sprintf("%d %%", p)
}
