package config

import "strings"

// nearest finds the known word that a slip of the hand would turn into key; "" when none is near.
func nearest(key string, known []string) string {
	norm := func(s string) string {
		return strings.NewReplacer("-", "_", " ", "_").Replace(strings.ToLower(s))
	}
	k := norm(key)
	best, least := "", len(k)/3+1
	for _, w := range known {
		if d := slips(k, norm(w), least); d < least || d == least && best == "" && d <= 3 {
			best, least = w, d
		}
	}
	return best
}

// slips counts insertions, deletions, changes and swaps of neighbours between a and b (Damerau's distance with
// each place edited once), giving up above limit.
func slips(a, b string, limit int) int {
	x, y := []rune(a), []rune(b)
	if len(x)-len(y) > limit || len(y)-len(x) > limit || len(x) > 64 || len(y) > 64 {
		return limit + 1
	}
	var rows [3][65]int
	for j := range y {
		rows[0][j+1] = j + 1
	}
	for i := range x {
		prev, cur, before := &rows[i%3], &rows[(i+1)%3], &rows[(i+2)%3]
		cur[0] = i + 1
		for j := range y {
			cost := 1
			if x[i] == y[j] {
				cost = 0
			}
			d := min(prev[j]+cost, prev[j+1]+1, cur[j]+1)
			if i > 0 && j > 0 && x[i] == y[j-1] && x[i-1] == y[j] {
				d = min(d, before[j-1]+1)
			}
			cur[j+1] = d
		}
	}
	return rows[len(x)%3][len(y)]
}
