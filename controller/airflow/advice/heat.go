package advice

import "ductwarden/controller/airflow"

// HeatCapacity is that of dry air at constant pressure, J/(kg K): seven halves of the gas constant. Source: US
// Standard Atmosphere 1976, ratio of the specific heats 1.4.
const HeatCapacity = 3.5 * airflow.GasConstant

// MakeUp is the air that a collector blows out of the building, which must come in again.
type MakeUp struct {
	Collector string   `json:"collector"`
	Machines  []string `json:"machines"` // the demand with which it is most
	Flow      float64  `json:"flow_m3_s"`
	HeatPerK  float64  `json:"heat_w_per_k"` // to warm as much by one kelvin
	Colder    *float64 `json:"colder_k"`     // how much colder it is outside, where that was said
	Heat      *float64 `json:"heat_w"`       // for that difference
	Caution   string   `json:"caution"`
}

// Heat is what it takes (W) to bring a flow of outside air (m3/s, counted in the shop's own air) up by a temperature
// difference (K): mass flow times heat capacity times difference, the usual formula of sensible heat.
func Heat(air airflow.Air, flow, difference float64) float64 {
	return air.Density * flow * HeatCapacity * difference
}
