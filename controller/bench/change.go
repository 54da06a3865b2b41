package bench

import (
	"fmt"
	"slices"
	"strings"
)

// Diff shows what changes from one text to another: the changed lines with - and +, one line around them for the eye,
// and their numbers.
func Diff(before, after []byte) string {
	a, b := lines(before), lines(after)
	var out strings.Builder
	i, j, shown := 0, 0, 0 // shown: lines of a that have been written or passed
	for i < len(a) || j < len(b) {
		if i < len(a) && j < len(b) && a[i] == b[j] {
			i, j = i+1, j+1
			continue
		}
		toA, toB := rejoin(a[i:], b[j:])
		if i > 0 && i-1 >= shown {
			fmt.Fprintf(&out, "%4d   %s\n", i, a[i-1])
		}
		for k := range toA {
			fmt.Fprintf(&out, "%4d - %s\n", i+k+1, a[i+k])
		}
		for k := range toB {
			fmt.Fprintf(&out, "%4d + %s\n", j+k+1, b[j+k])
		}
		i, j = i+toA, j+toB
		shown = i
		if i < len(a) && j < len(b) && a[i] == b[j] {
			fmt.Fprintf(&out, "%4d   %s\n", j+1, b[j])
			shown = i + 1
		}
	}
	return out.String()
}

// rejoin finds the least numbers of lines to drop from the heads of two texts so that they go on alike.
func rejoin(a, b []string) (fromA, fromB int) {
	for sum := 1; sum <= len(a)+len(b); sum++ {
		// as many lines out as in first: a changed value is the usual thing
		for _, x := range nearMiddle(sum) {
			y := sum - x
			if x > len(a) || y > len(b) {
				continue
			}
			if x == len(a) && y == len(b) || x < len(a) && y < len(b) && alike(a[x:], b[y:]) {
				return x, y
			}
		}
	}
	return len(a), len(b)
}

// alike reports whether two texts go on with the same two lines, or the same last one.
func alike(a, b []string) bool {
	n := min(2, len(a), len(b))
	return slices.Equal(a[:n], b[:n])
}

// nearMiddle lists 0 to sum, the nearest to the middle first.
func nearMiddle(sum int) []int {
	out := make([]int, 0, sum+1)
	for d := sum % 2; d <= sum; d += 2 {
		out = append(out, (sum-d)/2)
		if d > 0 {
			out = append(out, (sum+d)/2)
		}
	}
	return out
}

// lines splits a text; an ending newline makes no further line.
func lines(text []byte) []string {
	s := strings.TrimSuffix(strings.ReplaceAll(string(text), "\r\n", "\n"), "\n")
	if s == "" {
		return nil
	}
	return strings.Split(s, "\n")
}
