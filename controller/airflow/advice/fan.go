package advice

import (
	"math"

	"ductwarden/controller/airflow"
)

// fastest bounds the search for a fan: with one three times as fast the shop wants other ducts instead.
const fastest = 3.0

// fan finds the least fan that mends a demand: the shop's own curve carried along the fan laws.
func (j *job) fan() []Remedy {
	lo, hi := 1.0, fastest
	top := j.faster(hi)
	if !j.mends(&top) {
		return nil
	}
	for hi-lo > 1e-3 {
		mid := (lo + hi) / 2
		r := j.faster(mid)
		if j.mends(&r) {
			hi = mid
		} else {
			lo = mid
		}
	}
	k := math.Ceil(hi*100) / 100
	r := j.faster(k)
	if !j.mends(&r) {
		return nil
	}
	t, err := try(&j.shop, r.net)
	if err != nil {
		return nil
	}
	res := t.solver.Solve(r.After.open, airflow.Loaded)
	w := &FanWanted{Flow: digits(res.FanFlow), Pressure: digits(res.FanPressure), Now: digits(j.now.model.FanStaticAt(res.FanFlow)), Faster: k}
	_, _, power := airflow.FanLaws(0, 0, 1, k, 1)
	w.PowerTimes = digits(power)
	if !math.IsNaN(res.MotorPower) {
		p := digits(res.MotorPower)
		w.Power = &p
	}
	w.NowFlow = digits(j.now.solver.Solve(j.was.open, airflow.Loaded).FanFlow)
	r.Fan = w
	return []Remedy{r}
}

// faster is the shop with its fan turned so many times as fast.
func (j *job) faster(k float64) Remedy {
	n := copied(&j.shop.Network)
	for i, p := range n.Fan.Curve {
		n.Fan.Curve[i].Flow, n.Fan.Curve[i].Pressure, _ = airflow.FanLaws(p.Flow, p.Pressure, 0, k, 1)
	}
	for i, p := range n.Fan.Power {
		n.Fan.Power[i].Flow, _, n.Fan.Power[i].Pressure = airflow.FanLaws(p.Flow, 0, p.Pressure, k, 1)
	}
	return Remedy{Kind: Fan, net: n, Fan: &FanWanted{Faster: k}}
}
