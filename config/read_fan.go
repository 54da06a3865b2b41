package config

import (
	"fmt"

	"ductwarden/controller/airflow"
)

func fan(dst **Fan) func(value) {
	return func(v value) {
		f := &Fan{Density: 1.2, Pressure: airflow.FanStatic}
		*dst = f
		g := v.mapping(
			need("inlet", quantity(Length, &f.Inlet, 0.02, 1)),
			may("outlet", quantity(Length, &f.Outlet, 0.02, 1)),
			may("pressure", choice(&f.Pressure, option[airflow.PressureKind]{"inlet_static", airflow.InletStatic},
				option[airflow.PressureKind]{"fan_static", airflow.FanStatic}, option[airflow.PressureKind]{"fan_total", airflow.FanTotal})),
			may("includes", includes(&f.Includes)),
			may("density", quantity(Density, &f.Density, 0.6, 1.6)),
			may("between", choice(&f.Straight, option[bool]{"curve", false}, option[bool]{"lines", true})),
			may("curve", curve(&f.Curve, "pressure", Pressure, -50_000, 50_000)),
			may("guess", func(v value) {
				f.Guess = true
				v.mapping(
					need("shutoff", quantity(Pressure, &f.Shutoff, 50, 50_000)),
					need("free_flow", quantity(Flow, &f.FreeFlow, 0.005, 10)),
				)
			}),
			may("power", curve(&f.Power, "power", Power, 1, 50_000)),
			may("least_flow", quantity(Flow, &f.LeastFlow, 0, 5)),
		)
		if v.r.listing != nil || g == nil {
			return
		}
		switch {
		case g.has("curve") && g.has("guess"):
			g["guess"].problem("a curve is given too; the guess is only for a fan without one", "both", "curve or guess")
		case !g.has("curve") && !g.has("guess"):
			v.problem("the fan has neither a curve nor a guess from its nameplate", "", "curve: [{flow, pressure}, ...] or guess: {shutoff, free_flow}")
		}
		falling(f, g)
	}
}

// falling refuses a curve that rises: with it the air in a duct has no single answer.
func falling(f *Fan, g given) {
	for i := 1; i < len(f.Curve); i++ {
		if f.Curve[i].Pressure > f.Curve[i-1].Pressure {
			at := g["curve"].point(i)
			at.problem("the fan's curve rises here; the model needs one that falls as the flow grows: leave the points left of the hump out, or level them",
				fmt.Sprintf("%s after %s", FormatQuantity(Pressure, f.Curve[i].Pressure, Metric), FormatQuantity(Pressure, f.Curve[i-1].Pressure, Metric)),
				"at most "+FormatQuantity(Pressure, f.Curve[i-1].Pressure, Metric))
		}
	}
	if n := len(f.Curve); n > 0 && f.Curve[0].Pressure <= 0 {
		g["curve"].point(0).problem("the curve begins without pressure; this fan could not move any air", FormatQuantity(Pressure, f.Curve[0].Pressure, Metric), "more than 0 Pa at the least flow")
	}
}

// point is the value of a list's item by number, for messages.
func (v value) point(i int) value {
	p := fmt.Sprintf("%s[%d]", v.path, i)
	return value{r: v.r, at: v.r.positions[p], path: p}
}

func includes(dst *airflow.Includes) func(value) {
	return func(v value) {
		v.list(3, func(_ int, v value) {
			var what *bool
			choice(&what, option[*bool]{"filter", &dst.Filter}, option[*bool]{"separator", &dst.Separator}, option[*bool]{"exhaust", &dst.Exhaust})(v)
			if what != nil {
				*what = true
			}
		})
	}
}

// curve reads points {flow, <key>} with rising flow.
func curve(dst *[]airflow.Point, key string, kind Kind, low, high float64) func(value) {
	return func(v value) {
		if v.isList() && len(v.node.Content) < 2 {
			v.problem("a curve needs two points at least", count(len(v.node.Content), "point"), "2 to 60 points")
		}
		*dst = make([]airflow.Point, v.items(60))
		good := true
		v.list(60, func(i int, v value) {
			p := &(*dst)[i]
			before := len(v.r.problems)
			v.mapping(need("flow", quantity(Flow, &p.Flow, 0, 20)), need(key, quantity(kind, &p.Pressure, low, high)))
			good = good && len(v.r.problems) == before
			if i > 0 && good && p.Flow <= (*dst)[i-1].Flow {
				v.problem("the flow of this point does not rise above the one before", FormatQuantity(Flow, p.Flow, Metric), "more than "+FormatQuantity(Flow, (*dst)[i-1].Flow, Metric))
			}
		})
		if !good {
			*dst = nil // what follows would only repeat the problems
		}
	}
}
