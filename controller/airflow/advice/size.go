package advice

import (
	"cmp"
	"slices"

	"ductwarden/controller/airflow"
)

// How many remedies of sizes are told, and how many ducts one of them may change.
const (
	mostSizes   = 2
	mostChanges = 4
	mostRounds  = 8
)

// sizes looks for other standard sizes. First one duct at a time, nearest sizes first; the one that spoils least
// elsewhere comes first, and the nearest after it where that is another. Where no single duct will do, the best
// single step is taken again and again.
func (j *job) sizes() []Remedy {
	var found []Remedy
	for _, d := range j.carrying() {
		for _, p := range near(j.shop.ladder(d), j.shop.Network.Ducts[d].Diameter) {
			r := Remedy{Kind: Size, net: j.shop.Network}
			if r.resize(d, p); fits(&r.net, d) && j.mends(&r) {
				found = append(found, r)
				break
			}
		}
	}
	if len(found) == 0 {
		if r, ok := j.stepwise(); ok {
			return []Remedy{r}
		}
		return nil
	}
	for k := range found {
		j.effects(&found[k], j.crew)
	}
	slices.SortStableFunc(found, func(a, b Remedy) int {
		return cmp.Or(cmp.Compare(harm(a.Breaks, true), harm(b.Breaks, true)), boolean(j.short(a.After.verdict))-boolean(j.short(b.After.verdict)),
			cmp.Compare(harm(a.Breaks, false), harm(b.Breaks, false)), cmp.Compare(a.Sizes[0].far(), b.Sizes[0].far()))
	})
	return found[:min(len(found), mostSizes)]
}

// far is how far a size lies from the one that is there.
func (c *SizeChange) far() float64 {
	if c.To > c.From {
		return c.To / c.From
	}
	return c.From / c.To
}

// resize works another size into the remedy's network and notes it.
func (r *Remedy) resize(duct int, p airflow.Pipe) {
	r.net = copied(&r.net)
	d := &r.net.Ducts[duct]
	i := slices.IndexFunc(r.Sizes, func(c SizeChange) bool { return c.at == duct })
	if i < 0 {
		r.Sizes = append(slices.Clone(r.Sizes), SizeChange{Duct: d.Name, From: d.Diameter, at: duct})
		i = len(r.Sizes) - 1
	} else {
		r.Sizes = slices.Clone(r.Sizes)
	}
	r.Sizes[i].To, r.Sizes[i].Pipe = p.Inside, p.Name
	was := d.Diameter
	d.Diameter = p.Inside
	// A closed gate's slit is as long as the pipe is round.
	for k := range r.net.Gates {
		if g := &r.net.Gates[k]; g.Duct == duct {
			g.Leak *= p.Inside / was
		}
	}
}

// stepwise takes the single step of one size that helps most, until the demand is mended or no step helps.
func (j *job) stepwise() (Remedy, bool) {
	r := Remedy{Kind: Size, net: j.shop.Network}
	at := j.was.verdict
	ducts := j.carrying()
	for range mostRounds {
		var best *Remedy
		for _, d := range ducts {
			if len(r.Sizes) == mostChanges && !slices.ContainsFunc(r.Sizes, func(c SizeChange) bool { return c.at == d }) {
				continue
			}
			for _, p := range steps(j.shop.ladder(d), r.net.Ducts[d].Diameter) {
				next := r
				if next.resize(d, p); !fits(&next.net, d) {
					continue
				}
				if j.mends(&next) {
					return next.tidy(), true
				}
				if next.After.Transport != "" && j.worse(at, next.After.verdict) {
					at, best = next.After.verdict, &next
				}
			}
		}
		if best == nil {
			break
		}
		r = *best
	}
	return Remedy{}, false
}

// fits reports whether a duct is no wider than the one that it flows into, and no narrower than any that flows into
// it: a main gets wider downstream. What the person laid otherwise does not count.
func fits(n *airflow.Network, duct int) bool {
	d := &n.Ducts[duct]
	if d.Into >= 0 && d.Diameter > n.Ducts[d.Into].Diameter*1.005 {
		return false
	}
	return !slices.ContainsFunc(n.Ducts, func(o airflow.Duct) bool { return o.Into == duct && o.Diameter > d.Diameter*1.005 })
}

// tidy leaves out ducts that came back to their own size.
func (r Remedy) tidy() Remedy {
	r.Sizes = slices.DeleteFunc(slices.Clone(r.Sizes), func(c SizeChange) bool { return c.far() < 1.005 })
	return r
}

// steps is the next smaller and the next larger size.
func steps(ladder []airflow.Pipe, diameter float64) []airflow.Pipe {
	var out []airflow.Pipe
	for k := len(ladder) - 1; k >= 0; k-- {
		if ladder[k].Inside < diameter*0.995 {
			out = append(out, ladder[k])
			break
		}
	}
	for _, p := range ladder {
		if p.Inside > diameter*1.005 {
			return append(out, p)
		}
	}
	return out
}
