package advice

import (
	"math"

	"ductwarden/controller/airflow"
)

// shortest is as short as a hose can be between a machine and its pipe. Common practice.
const shortest = 0.3 // m

// mostHoses is how many remedies of one hose are told.
const mostHoses = 2

// hoses tries each hose on the way, least effort first: pulled straight, a smooth one, shorter, rigid pipe.
func (j *job) hoses() []Remedy {
	var out []Remedy
	for _, i := range j.carrying() {
		d := j.shop.Network.Ducts[i]
		if !isHose(d.Wall) {
			continue
		}
		told := 0
		add := func(how string, change func(*airflow.Duct)) bool {
			r := Remedy{Kind: Hose, Hose: &HoseChange{Duct: d.Name, How: how}, net: copied(&j.shop.Network)}
			c := &r.net.Ducts[i]
			change(c)
			r.Hose.Wall = c.Wall
			if c.Length != d.Length {
				r.Hose.Length, r.Hose.From = c.Length, d.Length
			}
			if told == mostHoses || !j.mends(&r) {
				return false
			}
			out = append(out, r)
			told++
			return true
		}
		if d.Friction > 1 {
			add("straight", func(c *airflow.Duct) { c.Friction = 1 })
		}
		if d.Wall != "smooth_hose" {
			add("smooth", func(c *airflow.Duct) { c.Wall, c.Roughness, c.Friction = "smooth_hose", 0, 0 })
		}
		if l := j.longest(i); l > 0 {
			add("shorter", func(c *airflow.Duct) { c.Length = l })
		}
		add("rigid", func(c *airflow.Duct) { c.Wall, c.Roughness, c.Friction = "galvanized", 0, 0 })
	}
	return out
}

// longest is the greatest length of a hose with which the demand is mended, rounded down to 5 cm; 0 when even the
// shortest does not.
func (j *job) longest(i int) float64 {
	long := j.shop.Network.Ducts[i].Length
	ok := func(l float64) bool {
		r := Remedy{Kind: Hose, Hose: &HoseChange{Duct: j.shop.Network.Ducts[i].Name, How: "shorter", Length: l, From: long}, net: copied(&j.shop.Network)}
		r.net.Ducts[i].Length = l
		return j.mends(&r)
	}
	if long <= shortest || !ok(shortest) {
		return 0
	}
	lo, hi := shortest, long
	for hi-lo > 0.01 {
		if mid := (lo + hi) / 2; ok(mid) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Max(shortest, math.Floor(lo*20)/20)
}
