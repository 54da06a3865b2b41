package airflow

import "fmt"

// Problem is one thing that is wrong with a network, and where, so that a shop file can be pointed at.
type Problem struct {
	In    string // "ducts", "ports", "gates", "fan", "filter", "separator", "exhaust", "air", "transport"
	Place int    // index in that list; -1 where it is no list
	Name  string // the thing's name
	Field string // the key it is about, as in the shop file
	Text  string // what is wrong and what to do
}

// Error says where and what.
func (p Problem) Error() string {
	if p.Place < 0 {
		return p.In + ": " + p.Text
	}
	one := map[string]string{"ducts": "duct", "ports": "port", "gates": "gate"}[p.In]
	if one == "" {
		return fmt.Sprintf("%s, entry %d: %s", p.In, p.Place+1, p.Text)
	}
	return fmt.Sprintf("%s %q: %s", one, p.Name, p.Text)
}
