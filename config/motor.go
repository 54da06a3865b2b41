package config

import (
	"fmt"
	"time"

	"ductwarden/controller"
)

func motor(m *Motor) func(value) {
	return func(v value) {
		v.mapping(
			may("power", quantity(Power, &m.Power, 50, 75_000)),
			may("poles", func(v value) {
				choice(&m.Poles, option[int]{"2", 2}, option[int]{"4", 4})(v)
			}),
			may("phases", func(v value) {
				choice(&m.Phases, option[int]{"1", 1}, option[int]{"3", 3})(v)
			}),
			may("starts_per_hour", integer(&m.StartsPerHour, 1, controller.MostStarts, "the number of starts an hour")),
			may("rest", span(&m.Rest, 5*time.Second, time.Hour)),
			may("least_run", span(&m.LeastRun, 0, time.Hour)),
			may("spin_up", span(&m.SpinUp, 0, time.Minute)),
			may("coast", span(&m.Coast, 0, 10*time.Minute)),
		)
	}
}

// settle fills starts per hour and rest from the table of NEMA MG 10 where the person gave none.
func (m *Motor) settle(v value) {
	if m.StartsPerHour > 0 && m.Rest > 0 {
		return
	}
	m.FromTable = true
	poles := m.Poles
	if poles > 0 && m.Phases != 3 {
		poles = 2 // the table covers polyphase motors: a single-phase one is given no more than the 2-pole row
	}
	budget, covered := controller.DefaultBudget(m.Power, poles)
	if _, at2 := controller.DefaultBudget(m.Power, 2); !covered && m.Power > 0 && !at2 {
		v.problem("the motor is larger than the table of starts reaches; ask its maker for starts an hour and rest", FormatQuantity(Power, m.Power, Metric), "starts_per_hour: and rest: beside power:")
		return
	}
	if m.StartsPerHour == 0 {
		m.StartsPerHour = int(budget.StartsPerHour)
	}
	if m.Rest == 0 {
		m.Rest = of(budget.Rest)
	}
}

// Covered says where starts and rest come from when the person gave none; "" otherwise.
func (m Motor) Covered() string {
	if !m.FromTable {
		return ""
	}
	return fmt.Sprintf("%d starts an hour and %s of rest: %s",
		m.StartsPerHour, FormatQuantity(Time, m.Rest.Seconds(), Metric), controller.BudgetNotice)
}
