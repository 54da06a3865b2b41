package advice

import "ductwarden/controller/airflow"

// filter finds how far the filter may load: its loss between clean and loaded.
func (j *job) filter() []Remedy {
	f := j.shop.Network.Filter
	if f.Clean == f.Loaded {
		return nil
	}
	cleaner := func(x float64) Remedy {
		n := copied(&j.shop.Network)
		n.Filter.Loaded = airflow.Loss{
			Linear:    f.Clean.Linear + float64(x*(f.Loaded.Linear-f.Clean.Linear)),
			Quadratic: f.Clean.Quadratic + float64(x*(f.Loaded.Quadratic-f.Clean.Quadratic)),
		}
		return Remedy{Kind: Filter, net: n, Filter: &FilterLimit{}}
	}
	if r := cleaner(0); !j.mends(&r) {
		return nil
	}
	lo, hi := 0.0, 1.0
	for hi-lo > 0.01 {
		mid := (lo + hi) / 2
		if r := cleaner(mid); j.mends(&r) {
			lo = mid
		} else {
			hi = mid
		}
	}
	r := cleaner(lo)
	if !j.mends(&r) {
		return nil
	}
	t, err := try(&j.shop, r.net)
	if err != nil {
		return nil
	}
	q := t.solver.Solve(r.After.open, airflow.Loaded).FanFlow
	r.Filter = &FilterLimit{Loss: digits(r.net.Filter.Loaded.At(q)), Flow: digits(q), Loaded: digits(f.Loaded.At(q))}
	return []Remedy{r}
}
