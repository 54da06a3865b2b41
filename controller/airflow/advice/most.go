package advice

import "cmp"

// MendsMost finds among many pieces of advice the one change of ducts, hoses or gates that mends most demands and
// spoils none: asked demands count before others. false where none mends more than the demand that it was found for.
func MendsMost(all []Advice) (Remedy, []Effect, bool) {
	var best Remedy
	var mended []Effect
	found := false
	for _, a := range all {
		for _, r := range a.Remedies {
			if r.Kind == Fan || r.Kind == Filter || len(r.Breaks) > 0 || len(r.Mends) == 0 {
				continue
			}
			m := append([]Effect{{Machines: a.Machines, Asked: a.Asked, Before: a.Before, After: r.After}}, r.Mends...)
			if !found || cmp.Or(cmp.Compare(harm(m, true), harm(mended, true)), cmp.Compare(len(m), len(mended))) > 0 {
				best, mended, found = r, m, true
			}
		}
	}
	return best, mended, found
}
